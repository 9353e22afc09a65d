"""Values as files, exactly, without pickles: JSON for the shape, Parquet and NumPy for the mass.

A value is a tree of plain things (texts, numbers, dates, lists, dicts, dataclasses of this
project) with tables and arrays in it. The tree becomes one JSON file, each table one Parquet file
(GeoParquet if it has shapes), all arrays together one ``.npz`` file. What is read back equals what
was written to the last bit, kinds of missing values included.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from importlib import import_module
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from riskmap.keeping.tables import read_table, write_table

OWN: Final = ("riskmap.", "data_pipelines.")
"""Packages whose dataclasses are kept."""
PLAIN: Final = (bool, int, str, type(None))


def write_value(value: object, folder: Path, name: str) -> list[Path]:
    """Write a value as ``<name>.json`` and what belongs to it; returns the files written.

    Parameters
    ----------
    value
        Plain things, arrays and tables, in any depth; dataclasses and named tuples only of this
        project.
    folder, name
        Where, and the first part of the file names.

    Raises
    ------
    TypeError
        If something in it has no exact form as a file, a function for example.
    """
    writer = _Writer(folder, name)
    tree = writer.tree(value)
    if writer.arrays:
        with writer.file(".npz").open("wb") as file:
            np.savez(file, **writer.arrays)
    text = json.dumps(tree, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    writer.file(".json").write_text(text, encoding="utf-8", newline="\n")
    return writer.files


def read_value(folder: Path, name: str) -> Any:
    """Read what :func:`write_value` wrote.

    Raises
    ------
    OSError, ValueError
        If a file is missing or damaged.
    """
    tree = json.loads((folder / f"{name}.json").read_text(encoding="utf-8"))
    place = folder / f"{name}.npz"
    if not place.exists():
        return _Reader(folder, {}).value(tree)
    with np.load(place, allow_pickle=False) as arrays:
        return _Reader(folder, arrays).value(tree)


class _Writer:
    """Turns a value into a tree for JSON and writes what is too large for it to extra files."""

    def __init__(self, folder: Path, name: str) -> None:
        self.folder, self.name = folder, name
        self.arrays: dict[str, Any] = {}
        self.files: list[Path] = []

    def file(self, ending: str) -> Path:
        """Name one more file of the value."""
        self.files.append(self.folder / f"{self.name}{ending}")
        return self.files[-1]

    def tree(self, value: object) -> Any:
        """Return the value's tree."""
        if type(value) in PLAIN:
            return value
        if isinstance(value, float) and type(value) is float:
            return value if np.isfinite(value) else {"is": "float", "of": repr(value)}
        if type(value) is list:
            return [self.tree(item) for item in value]
        for kind, (fits, write) in _FORMS.items():
            if fits(value):
                return {"is": kind, **write(self, value)}
        raise TypeError(f"{type(value).__qualname__} cannot be kept as a file: {value!r:.80}")

    def record(self, value: Any) -> dict[str, Any]:
        """Write a dataclass or a named tuple of this project."""
        kind = type(value)
        names = [f.name for f in fields(value)] if is_dataclass(value) else list(value._fields)
        if not f"{kind.__module__}.".startswith(OWN) or "<" in kind.__qualname__:
            raise TypeError(f"{kind.__module__}.{kind.__qualname__} is not of this project")
        content = {name: self.tree(getattr(value, name)) for name in names}
        return {"type": f"{kind.__module__}:{kind.__qualname__}", "of": content}

    def array(self, value: np.ndarray) -> dict[str, Any]:
        """Put an array with the others."""
        if value.dtype == object:
            return {"shape": list(value.shape), "of": [self.tree(item) for item in value.ravel()]}
        self.arrays[f"a{len(self.arrays)}"] = value
        return {"name": f"a{len(self.arrays) - 1}"}

    def table(self, value: pd.DataFrame) -> dict[str, Any]:
        """Write a table to a file of its own."""
        place = self.file(f".{len(self.files)}.parquet")
        return {"file": place.name, "of": self.tree(write_table(value, place))}


class _Reader:
    """Turns a tree back into the value."""

    def __init__(self, folder: Path, arrays: Mapping[str, np.ndarray]) -> None:
        self.folder, self.arrays = folder, arrays

    def value(self, tree: Any) -> Any:
        """Return the tree's value."""
        if isinstance(tree, list):
            return [self.value(item) for item in tree]
        if not isinstance(tree, dict):
            return tree
        return _MAKERS[tree["is"]](self, tree)

    def record(self, tree: dict[str, Any]) -> Any:
        module, _, name = tree["type"].partition(":")
        if not f"{module}.".startswith(OWN):
            raise ValueError(f"{module} is not of this project")
        kind: Any = import_module(module)
        for part in name.split("."):
            kind = getattr(kind, part)
        return kind(**{key: self.value(item) for key, item in tree["of"].items()})

    def array(self, tree: dict[str, Any]) -> np.ndarray:
        if "name" in tree:
            return self.arrays[tree["name"]]
        flat = np.empty(len(tree["of"]), object)
        flat[:] = [self.value(item) for item in tree["of"]]
        return flat.reshape(tree["shape"])

    def table(self, tree: dict[str, Any]) -> pd.DataFrame:
        return read_table(self.folder / tree["file"], self.value(tree["of"]))


def _of(text: Callable[[Any], Any]) -> Callable[[_Writer, Any], dict[str, Any]]:
    return lambda _, value: {"of": text(value)}


def _items(writer: _Writer, value: Any) -> dict[str, Any]:
    return {"of": [writer.tree(item) for item in value]}


def _pairs(writer: _Writer, value: Any) -> dict[str, Any]:
    return {"of": [[writer.tree(key), writer.tree(item)] for key, item in value.items()]}


def _frame(value: pd.Series | pd.Index) -> pd.DataFrame:
    return pd.DataFrame(index=value) if isinstance(value, pd.Index) else value.to_frame("value")


def _made(make: Callable[[Any], Any]) -> Callable[[_Reader, dict[str, Any]], Any]:
    return lambda reader, tree: make(reader.value(tree["of"]))


_FORMS: Final[Mapping[str, tuple[Callable[[Any], bool], Callable[[_Writer, Any], Any]]]] = {
    "NA": (lambda v: v is pd.NA, _of(lambda _: None)),
    "NaT": (lambda v: v is pd.NaT, _of(lambda _: None)),
    "record": (
        lambda v: (is_dataclass(v) and not isinstance(v, type)) or hasattr(v, "_fields"),
        _Writer.record,
    ),
    "tuple": (lambda v: type(v) is tuple, _items),
    "set": (lambda v: type(v) is set, lambda w, v: _items(w, sorted(v))),
    "frozenset": (lambda v: type(v) is frozenset, lambda w, v: _items(w, sorted(v))),
    "dict": (lambda v: isinstance(v, Mapping), _pairs),
    "timestamp": (lambda v: type(v) is pd.Timestamp, _of(lambda v: v.isoformat())),
    "datetime": (lambda v: type(v) is datetime, _of(lambda v: v.isoformat())),
    "date": (lambda v: type(v) is date, _of(lambda v: v.isoformat())),
    "path": (lambda v: isinstance(v, Path), _of(str)),
    "crs": (lambda v: isinstance(v, CRS), _of(lambda v: v.srs)),
    "shape": (lambda v: isinstance(v, shapely.Geometry), _of(lambda v: v.wkb_hex)),
    "scalar": (
        lambda v: isinstance(v, np.generic),
        lambda w, v: {"type": v.dtype.str, "of": w.tree(v.item())},
    ),
    "array": (lambda v: type(v) is np.ndarray, _Writer.array),
    "table": (lambda v: isinstance(v, pd.DataFrame), _Writer.table),
    "series": (
        lambda v: isinstance(v, pd.Series),
        lambda w, v: {"name": w.tree(v.name), **w.table(_frame(v))},
    ),
    "index": (lambda v: isinstance(v, pd.Index), lambda w, v: w.table(_frame(v))),
}
"""Kind of thing -> how it is known, how it is written."""

_MAKERS: Final[Mapping[str, Callable[[_Reader, dict[str, Any]], Any]]] = {
    "float": _made(float),
    "NA": lambda *_: pd.NA,
    "NaT": lambda *_: pd.NaT,
    "record": _Reader.record,
    "tuple": _made(tuple),
    "set": _made(set),
    "frozenset": _made(frozenset),
    "dict": _made(dict),
    "timestamp": _made(pd.Timestamp),
    "datetime": _made(datetime.fromisoformat),
    "date": _made(date.fromisoformat),
    "path": _made(Path),
    "crs": _made(CRS.from_user_input),
    "shape": _made(shapely.from_wkb),
    "scalar": lambda reader, tree: np.dtype(tree["type"]).type(reader.value(tree["of"])),
    "array": _Reader.array,
    "table": _Reader.table,
    "series": lambda r, t: r.table(t)["value"].rename(r.value(t["name"])),
    "index": lambda r, t: r.table(t).index,
}
"""Kind of thing -> how it is read."""
