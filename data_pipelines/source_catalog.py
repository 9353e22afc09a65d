"""The catalogue of fetched files: where each came from, under which license, how it is cited.

``sources.json`` lies in the folder of the fetched files. A file is that of the catalogue only if it
still has the SHA-256 that is written there.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Final

CATALOG: Final = "sources.json"
FIELDS: Final = (
    "layer", "file", "service", "address", "license", "citation", "vintage", "fetched", "rows",
    "bytes", "sha256",
)  # fmt: skip
"""What is written of each file. ``vintage`` is the data's own date, empty where nobody says it."""
UPWARDS: Final = 2
"""So many folders above a file its catalogue may lie."""


def catalog_of(path: Path) -> Path | None:
    """Find the catalogue of a file: beside it or up to :data:`UPWARDS` folders above."""
    folder = path.resolve().parent
    for _ in range(UPWARDS + 1):
        if (folder / CATALOG).is_file():
            return folder / CATALOG
        folder = folder.parent
    return None


def read_catalog(path: Path) -> dict[str, Any]:
    """Read a catalogue; an empty one where it is damaged or not there."""
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        files = content["files"]
        if all(isinstance(entry, dict) and set(FIELDS) <= entry.keys() for entry in files):
            return dict(content)
    except (OSError, ValueError, LookupError, TypeError):
        pass
    return {"files": []}


def write_catalog(path: Path, content: Mapping[str, Any]) -> None:
    """Write a catalogue whole or not at all."""
    new = path.with_name(f".{path.name}")
    text = json.dumps(content, indent=1, ensure_ascii=False) + "\n"
    new.write_text(text, encoding="utf-8", newline="\n")
    new.replace(path)


def entries_of(hashes: Iterable[tuple[Path, str]]) -> list[dict[str, Any]]:
    """List the entries of files, each given with its SHA-256, that are as they were fetched."""
    wanted: dict[Path, dict[tuple[Path, str], None]] = {}
    for path, sha256 in hashes:
        catalog = catalog_of(path)
        if catalog is not None:
            wanted.setdefault(catalog, {})[path.resolve(), sha256] = None
    found = []
    for catalog, files in wanted.items():
        for entry in read_catalog(catalog)["files"]:
            if ((catalog.parent / entry["file"]).resolve(), entry["sha256"]) in files:
                found.append({name: entry[name] for name in FIELDS})
    return found
