"""Fetches the layers of one county, one service after the other, into a folder with a catalogue."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from data_pipelines.source_catalog import CATALOG, read_catalog, write_catalog
from riskmap.contract.errors import FetchError, OutputError, reason
from riskmap.fetching.client import Client
from riskmap.fetching.places import Place
from riskmap.fetching.services import SERVICES, Fetched, Service

KEPT: Final = ".replies"
"""Folder, among the fetched files, of the replies that are kept to go on from."""


@dataclass(frozen=True)
class Haul:
    """What came: files by layer, layers of which the service has nothing here, and troubles."""

    files: dict[str, list[str]]
    nothing: tuple[str, ...]
    troubles: dict[str, str]


def fetch(
    folder: Path,
    place: Place,
    layers: Sequence[str] = tuple(SERVICES),
    *,
    client: Client | None = None,
    tell: Callable[[str], None] = lambda _: None,
) -> Haul:
    """Fetch layers into a folder; what fails is told, and the others are fetched all the same.

    Parameters
    ----------
    folder
        Where files and catalogue go; a run into the same folder goes on from what is there.
    place
        The county.
    layers
        Names of :data:`riskmap.fetching.services.SERVICES`.
    client
        Asks the services; one that keeps replies in the folder if not given.
    tell
        Called with a line for each layer.

    Raises
    ------
    OutputError
        If the folder cannot be written, or holds files of another place.
    """
    catalog = read_catalog(folder / CATALOG)
    if catalog.get("place", place.name) != place.name:
        raise OutputError(f"{folder} holds files of {catalog['place']}. Name another folder.")
    files: dict[str, list[str]] = {}
    troubles: dict[str, str] = {}
    with client or Client(folder / KEPT) as asked:
        for layer in layers:
            try:
                came = list(SERVICES[layer].give(asked, place))
            except FetchError as error:
                troubles[layer] = str(error)
                tell(f"{layer}: {error.problem}")
                continue
            entries = _write(folder, SERVICES[layer], came)
            files[layer] = [entry["file"] for entry in entries]
            tell(f"{layer}: {_said(entries)}")
            others = [e for e in catalog["files"] if e["layer"] != layer]
            catalog = {
                "place": place.name, "codes": list(place.codes),
                "box_deg": [round(side, 5) for side in place.box],
                "files": sorted(others + entries, key=lambda e: (e["layer"], e["file"])),
            }  # fmt: skip
            write_catalog(folder / CATALOG, catalog)
    nothing = tuple(layer for layer, names in files.items() if not names)
    return Haul(files, nothing, troubles)


def forget(folder: Path) -> None:
    """Throw kept replies away, so that all is asked for again."""
    shutil.rmtree(folder / KEPT, ignore_errors=True)


def _write(folder: Path, service: Service, came: Sequence[Fetched]) -> list[dict[str, Any]]:
    entries = []
    for one in came:
        target = folder / one.file
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            new = target.with_name(f".{target.name}")
            new.write_bytes(one.content)
            new.replace(target)
        except OSError as error:
            raise OutputError(f"{folder} cannot be written: {reason(error)}.") from error
        entries.append(_entry(service, one))
    return entries


def _entry(service: Service, one: Fetched) -> dict[str, Any]:
    day = one.reply.fetched[:10]
    edition = f" Edition of {one.vintage}." if one.vintage else ""
    return {
        "layer": service.layer, "file": one.file, "service": service.name,
        "address": one.reply.address, "license": service.license,
        "citation": f"{service.citation}{edition} Accessed {day}.", "vintage": one.vintage,
        "fetched": one.reply.fetched, "rows": one.rows, "bytes": len(one.content),
        "sha256": hashlib.sha256(one.content).hexdigest(),
    }  # fmt: skip


def _said(entries: Sequence[dict[str, Any]]) -> str:
    if not entries:
        return "the service has nothing here"
    size = sum(entry["bytes"] for entry in entries) / 1e6
    rows = sum(entry["rows"] or 0 for entry in entries)
    return f"{len(entries)} files, {size:,.1f} MB" + (f", {rows:,} rows" if rows else "")
