"""What made a result: the version of the code behind it and of the packages it runs on."""

from __future__ import annotations

import hashlib
import platform
import re
from collections.abc import Iterable, Iterator
from functools import cache
from importlib.metadata import PackageNotFoundError, requires, version
from importlib.util import find_spec
from pathlib import Path
from typing import Final

PACKAGES: Final = ("riskmap", "data_pipelines")
"""Packages whose source is the code of a run."""

_IMPORT: Final = re.compile(
    r"^[ \t]*(?:from\s+([\w.]+)\s+import\s+(\([^)]*\)|[^\n]*)|import\s+([^\n]*))", re.MULTILINE
)
_TYPES_ONLY: Final = re.compile(r"^if TYPE_CHECKING:\n(?:[ \t]+[^\n]*\n|\n)+", re.MULTILINE)


@cache
def package_versions() -> dict[str, str]:
    """Versions of Python, of this program and of every package it declares that it needs.

    >>> {"python", "riskmap", "numpy"} <= package_versions().keys()
    True
    """
    required = [text for text in requires("riskmap") or [] if "extra ==" not in text]
    names = [re.split(r"[^\w.-]", text, maxsplit=1)[0] for text in required]
    found = {name: _version(name) for name in ("riskmap", *sorted(names, key=str.lower))}
    return {"python": platform.python_version(), **found}


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"


@cache
def code_version(module: str) -> str:
    """Hash of a module's source and of all of this project that it imports, data files included.

    What is imported for type checking only does not count. Reading the source says enough: nothing
    is imported for it.
    """
    digest = hashlib.sha256()
    for path in sorted(_behind(module)):
        digest.update(_sha256(path).encode())
    return digest.hexdigest()


def _behind(module: str) -> set[Path]:
    """Files that `module` rests on: sources of all it imports, and data next to each."""
    seen: set[str] = set()
    waiting = [module]
    while waiting:
        name = waiting.pop()
        if name not in seen:
            seen.add(name)
            waiting += _imports(name)
    sources = {path for name in seen if (path := _source(name)) is not None}
    return sources | {data for folder in {p.parent for p in sources} for data in _data(folder)}


@cache
def _imports(module: str) -> tuple[str, ...]:
    """Modules of this project that a module imports, and the packages around it."""
    source = _source(module)
    if source is None:
        return ()
    text = _TYPES_ONLY.sub("", source.read_text(encoding="utf-8"))
    named = {name for found in _IMPORT.findall(text) for name in _named(*found)}
    around = module.rpartition(".")[0]
    return tuple(name for name in {*named, around} if _source(name) is not None)


def _named(origin: str, names: str, plain: str) -> Iterator[str]:
    """Names that one import statement may mean; those of no module are harmless."""
    if plain:
        yield from (part.split()[0] for part in plain.split(",") if part.split())
    elif origin.partition(".")[0] in PACKAGES:
        yield origin
        yield from (f"{origin}.{name}" for name in re.findall(r"\w+", names))


@cache
def _source(module: str) -> Path | None:
    """Source file of a module below one of :data:`PACKAGES`; None for all else."""
    top, _, rest = module.partition(".")
    if top not in PACKAGES or not rest:
        return None
    place = _root(top).joinpath(*rest.split("."))
    choices = (place.with_name(f"{place.name}.py"), place / "__init__.py")
    return next((path for path in choices if path.is_file()), None)


@cache
def _root(package: str) -> Path:
    spec = find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError(package)
    return Path(next(iter(spec.submodule_search_locations)))


@cache
def _data(folder: Path) -> frozenset[Path]:
    """Files of a package other than its modules, also in folders that are no packages."""
    return frozenset(_data_files(folder))


def _data_files(folder: Path) -> Iterable[Path]:
    for path in folder.iterdir():
        if path.is_dir() and path.name != "__pycache__" and not (path / "__init__.py").exists():
            yield from _data_files(path)
        elif path.is_file() and path.suffix not in {".py", ".pyc"}:
            yield path


@cache
def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
