"""The first day as a whole: look into files, write region file, checklist and findings."""

from __future__ import annotations

import csv
import datetime
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from riskmap.contract.errors import OutputError, RegionError, reason
from riskmap.contract.quantities import percent
from riskmap.publish.words.text_safety import plain_text
from riskmap.region.read import read_region
from riskmap.starting.checklist import checklist_text
from riskmap.starting.columns import LIKELY
from riskmap.starting.layers import Findings, recognize
from riskmap.starting.opening import Bounds, open_all
from riskmap.starting.parcel_shapes import Recognized
from riskmap.starting.region_text import region_text
from riskmap.starting.systems import System, apart, compute_in, fitting_systems

REGION: Final = "region.toml"
CHECKLIST: Final = "checklist.md"
FOUND: Final = "found.csv"
FOLDERS: Final = ("parcels", "soils", "permits", "wells", "terrain", "water", "sewer")
"""Folders that are made where no files are given."""


@dataclass(frozen=True)
class Started:
    """What was found and written: the findings, warnings, and what the region file still lacks."""

    folder: Path
    findings: Findings
    warnings: tuple[str, ...]
    lacking: str


def start(folder: Path, files: Sequence[Path], *, day: datetime.date) -> Started:
    """Look into files and write a region file, a checklist and a list of what was found.

    Parameters
    ----------
    folder
        Where to write; a region file that is there already is never replaced.
    files
        Files and folders to look into.
    day
        The day of the run.

    Raises
    ------
    OutputError
        If there is a region file already, or the folder cannot be written.
    """
    if (folder / REGION).exists():
        raise OutputError(f"{folder / REGION} is there already. Name another folder.")
    findings = recognize(open_all(files))
    place = _place(findings.layers)
    systems, warnings = _systems(findings.layers)
    parcels = next((one for one in findings.layers if one.layer == "parcels"), None)
    own = None if parcels is None or "parcels" in systems else parcels.sheet.crs
    text = region_text(
        findings.layers,
        day=day,
        compute=compute_in(own, place),
        folder=folder,
        systems=systems,
        notes=warnings,
    )
    written = {
        REGION: text,
        CHECKLIST: checklist_text(findings, place=place, warnings=warnings),
        FOUND: _table(findings),
    }
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if not files:
            for name in FOLDERS:
                (folder / name).mkdir(exist_ok=True)
        for name, content in written.items():
            (folder / name).write_text(content, encoding="utf-8", newline="\n")
    except OSError as error:
        raise OutputError(f"{folder} cannot be written: {reason(error)}.") from error
    return Started(folder, findings, tuple(warnings), _lacking(folder / REGION))


def _lacking(path: Path) -> str:
    try:
        read_region(path)
    except RegionError as error:
        return str(error)
    return ""


def _place(layers: Sequence[Recognized]) -> Bounds | None:
    """Extent of the parcels in degrees, or else of the soil survey or another layer."""
    order = sorted(layers, key=lambda one: (one.layer != "parcels", one.layer != "soil_survey"))
    return next((one.sheet.degrees for one in order if one.sheet.degrees is not None), None)


def _systems(layers: Sequence[Recognized]) -> tuple[dict[str, System], list[str]]:
    """Systems for layers that have none or lie elsewhere than the soils, and what to say of it."""
    soils = next((one for one in layers if one.layer == "soil_survey"), None)
    parcels = next((one for one in layers if one.layer == "parcels"), None)
    anchor = soils or next((one for one in layers if one.sheet.degrees is not None), None)
    near = None if anchor is None else anchor.sheet.degrees
    systems: dict[str, System] = {}
    warnings: list[str] = []
    first = [] if parcels is None or parcels.sheet.crs is None else [parcels.sheet.crs]
    for one in layers:
        place, bounds = one.sheet.degrees, one.sheet.bounds
        if one.layer == "soil_survey" or bounds is None or near is None or one is anchor:
            continue
        if place is not None and not apart(place, near):
            continue
        codes = fitting_systems(bounds, near, first)
        if codes:
            said = f"its coordinates then lie at the {anchor.layer if anchor else ''}"
            said += f"; {len(codes)} systems fit" if len(codes) > 1 else ""
            systems[one.layer] = System(codes[0], sure=False, evidence=said)
        what = "has no reference system" if place is None else "does not lie where the soils are"
        cure = f"{codes[0]} would fit." if codes else "is it of this county?"
        warnings.append(f"{one.layer} ({one.sheet.label}) {what}: {cure}")
    for one in layers:
        if one.places and not one.places[0].degrees and near is not None:
            codes = _point_systems(one, near, first)
            if codes:
                said = f"the points then lie in the county; {len(codes)} systems fit"
                systems[one.layer] = System(codes[0], sure=False, evidence=said)
    return systems, warnings


def _point_systems(one: Recognized, near: Bounds, first: Sequence[str]) -> list[str]:
    from data_pipelines.points import coordinate_pair

    pair = coordinate_pair(one.sheet.frame, one.places[0].x, one.places[0].y, layer=one.layer)
    pair = pair.dropna()
    if pair.empty:
        return []
    low, high = pair.quantile(0.05), pair.quantile(0.95)
    return fitting_systems((low["x"], low["y"], high["x"], high["y"]), near, first)


def _table(findings: Findings) -> str:
    """Write every match with its confidence as CSV."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["layer", "file", "column", "source", "confidence", "look_at"])
    for one in findings.layers:
        label = plain_text(one.sheet.label)
        writer.writerow([one.layer, label, "", "", f"{one.confidence:.2f}", ""])
        for guess in one.guesses:
            row = [guess.column.name, plain_text(guess.source), f"{guess.confidence:.2f}"]
            writer.writerow([one.layer, label, *row, plain_text("; ".join(guess.marks))])
    for sheet, why in findings.unused:
        writer.writerow(["", plain_text(sheet.label), "", "", "", plain_text(why)])
    return out.getvalue()


def summary(started: Started) -> list[str]:
    """Say on the screen what was found, in lines of at most 100 letters."""
    lines = []
    for one in started.findings.layers:
        sure = sum(not guess.marks for guess in one.guesses)
        marked = sum(bool(guess.marks) and guess.confidence >= LIKELY for guess in one.guesses)
        asked = len(one.guesses) - sure - marked
        said = f"{sure} columns matched, {marked} to check, {max(asked, 0)} asked"
        said = said if one.guesses else ""
        line = f"{one.layer:<15} {one.sheet.label[:34]:<35}{percent(one.confidence):>5}  {said}"
        lines.append(line[:100].rstrip())
    lines += [
        f"{'not used':<15} {s.label[:34]:<35} {why}"[:100] for s, why in started.findings.unused
    ]
    lines += [line for warning in started.warnings for line in _wrapped(f"Look at this: {warning}")]
    return lines


def _wrapped(text: str) -> list[str]:
    import textwrap

    return textwrap.wrap(text, 98)
