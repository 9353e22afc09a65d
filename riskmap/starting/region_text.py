"""Writes the region file of a first day: every guess marked, every open question asked."""

from __future__ import annotations

import datetime
import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from data_pipelines.source_catalog import catalog_of, read_catalog
from riskmap.contract.layers import LAYERS, PRIVATE
from riskmap.region.layers import NEEDED, SOIL_SURVEY
from riskmap.starting.columns import LIKELY, Guess
from riskmap.starting.coordinates import Place
from riskmap.starting.opening import Sheet
from riskmap.starting.parcel_shapes import Recognized
from riskmap.starting.systems import DEGREES, System

CHECK: Final = "CHECK"
"""Mark of a line that is a guess."""
ASK: Final = "ASK"
"""Mark of a question that only the county can answer."""
MOST_CODES_SHOWN: Final = 12


def region_text(
    layers: Sequence[Recognized],
    *,
    day: datetime.date,
    compute: System,
    folder: Path,
    systems: dict[str, System],
    notes: Sequence[str] = (),
) -> str:
    """Write the region file.

    Parameters
    ----------
    layers
        What was recognized.
    day
        The day of the run.
    compute
        The system to compute in.
    folder
        Where the file will lie; names of files are relative to it.
    systems
        Layer -> system to declare, where its file has none or a wrong one.
    notes
        What to say at the top.
    """
    names = {one.layer for one in layers}
    lines = [
        "# Made by `riskmap new`. It runs as it stands, as far as its answers are right:",
        f"# - a line with {CHECK} is a guess; look at it, correct it, take the mark away;",
        f"# - {ASK} is a question that only you can answer;",
        "# - a line without either was clear from both the name and the values.",
        "# Every key: docs/region_file.md. Units: docs/layers/units.md.",
        *(f"# {note}" for note in notes),
        "",
        "[county]",
        f'name = "Our county"  # {ASK}: the name that every page shows',
        f"date = {day.isoformat()}  # the day of the run; ages count to it",
        f"crs = {quoted(compute.code)}  # {compute.evidence}",
        'units = "us"',
        f'contact = ""  # {ASK}: office and telephone for lists and letters',
    ]
    if "sewer_area" not in names:
        lines += [
            f'# sewers = "none"  # {ASK}: take the # away if the county has no public sewers. With',
            "#   sewers but no sewer map, buildings without a record are not ranked.",
        ]
    for one in layers:
        lines += ["", *_layer(one, folder, systems.get(one.layer))]
    for name in NEEDED:
        if name not in names:
            lines += [
                "",
                f"# {ASK}: [layers.{name}] is needed; see checklist.md for where to get it.",
                f"# [layers.{name}]",
                f'# file = "{"parcels.gpkg" if name == "parcels" else "soils"}"',
            ]
    return "\n".join(lines) + "\n"


def quoted(text: str) -> str:
    """Write text as a TOML string."""
    plain = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else " " for c in plain) + '"'


def _path(sheet: Sheet, folder: Path) -> str:
    path = sheet.path.resolve()
    try:
        shown = Path(os.path.relpath(path, folder.resolve())).as_posix()
    except ValueError:
        shown = path.as_posix()
    return quoted(shown)


def _layer(one: Recognized, folder: Path, system: System | None) -> Iterator[str]:
    mark = f"  # {CHECK}: is it this layer?" if one.confidence < LIKELY + 0.2 else ""
    yield f"[layers.{one.layer}]{mark}"
    if one.more or one.layer == SOIL_SURVEY:
        files = ", ".join(_path(sheet, folder) for sheet in (one.sheet, *one.more))
        yield f"files = [{files}]"
    else:
        yield f"file = {_path(one.sheet, folder)}"
    if one.sheet.table and one.layer != SOIL_SURVEY:
        yield f"table = {quoted(one.sheet.table)}"
    if one.form and one.form != "auto":
        yield f"form = {quoted(one.form)}  # told by its columns"
    if one.records is not None and one.join_on is not None:
        yield from _records(one, folder)
    if system is not None:
        yield _marked(f"crs = {quoted(system.code)}", system.evidence, sure=system.sure)
    yield from _places(one, system)
    if one.sheet.kind == "raster":
        yield _raster_unit(one.sheet)
    yield from _private(one.guesses)
    yield from _columns(one)


def _records(one: Recognized, folder: Path) -> Iterator[str]:
    if one.records is None or one.join_on is None or one.joined is None:
        return
    yield f"attributes = {_path(one.records, folder)}"
    if one.records.table:
        yield f"attributes_table = {quoted(one.records.table)}"
    found = one.joined.as_they_stand + one.joined.respelled
    said = f"{found:,} of {one.joined.keys:,} parcels have a record"
    if one.joined.respelled:
        said += f", {one.joined.respelled:,} of them in another spelling (done on reading)"
    sure = found > 0.8 * one.joined.keys
    left, right = map(quoted, one.join_on)
    yield _marked(f"join_on = [{left}, {right}]", said, sure=sure)


def _places(one: Recognized, system: System | None) -> Iterator[str]:
    if not one.places:
        if one.sheet.kind == "table" and LAYERS[one.layer].kind == "point" and not one.form:
            yield f'# {ASK}: which columns hold the place? x = "", y = "", crs = "EPSG:4326"'
        return
    first = one.places[0]
    swapped = "longitude and latitude stand in each other's column" if first.swapped else ""
    yield _marked(f"x = {quoted(first.x)}", swapped, sure=not first.swapped)
    yield _marked(f"y = {quoted(first.y)}", "", sure=not first.swapped)
    for other in one.places[1:2]:
        if other.degrees == first.degrees and one.layer == "permits":
            yield f"second_x = {quoted(other.x)}"
            yield f"second_y = {quoted(other.y)}"
    if system is None and first.degrees:
        yield f"crs = {quoted(DEGREES)}  # degrees"
    elif system is None:
        yield f'# {ASK}: in which reference system? crs = "EPSG:..."'


def _raster_unit(sheet: Sheet) -> str:
    """Line with the unit: known of a file that was fetched, else a guess by its name."""
    catalog = catalog_of(sheet.path)
    if catalog is not None:
        for entry in read_catalog(catalog)["files"]:
            if (catalog.parent / entry["file"]).resolve() == sheet.path.resolve():
                return f'unit = "m"  # {entry["service"]} gives meters'
    feet = any(word in sheet.path.stem.lower() for word in ("_ft", "feet"))
    return f'unit = "{"ft" if feet else "m"}"  # {CHECK}: the file does not say meters or feet'


def _private(guesses: Sequence[Guess]) -> Iterator[str]:
    found = [guess.column.name for guess in guesses if guess.column.name in PRIVATE]
    if found:
        wanted = ", ".join(map(quoted, found))
        yield f"# keep_private = [{wanted}]  # {ASK}: letters need them; else they are not read"


def _columns(one: Recognized) -> Iterator[str]:
    written = [guess for guess in one.guesses if guess.confidence >= LIKELY]
    offered = [guess for guess in one.guesses if guess.confidence < LIKELY]
    if one.guesses:
        yield f"[layers.{one.layer}.columns]"
    for guess in written:
        yield from _column(guess, one)
    for guess in offered:
        others = f", or {', '.join(guess.others)}" if guess.others else ""
        said = f"is it this{others}? {guess.column.meaning}".replace("\n", " ")
        yield f"# {guess.column.name} = {quoted(guess.source)}  # {ASK}: {said}"
    told = {guess.column.name for guess in one.guesses}
    by_name = one.form or one.layer == SOIL_SURVEY or one.layer not in LAYERS
    for column in () if by_name else LAYERS[one.layer].columns:
        if not column.nullable and column.name not in told and not _read_by_name(one):
            yield f'# {column.name} = ""  # {ASK}: {column.meaning}. It must be given.'
    used = {name for guess in one.guesses for name in (guess.source, *guess.and_columns)}
    used |= {name for place in one.places for name in (place.x, place.y)}
    frames = [one.sheet.frame] + ([one.records.frame] if one.records is not None else [])
    left = [str(n) for frame in frames for n in frame.columns if str(n) not in used]
    if left and one.guesses:
        yield f"# not used: {', '.join(dict.fromkeys(left))}"[:300]


def _read_by_name(one: Recognized) -> bool:
    return not one.guesses


def _column(guess: Guess, one: Recognized) -> Iterator[str]:
    parts = [f"column = {quoted(guess.source)}"]
    said = []
    if guess.and_columns:
        parts.append(f"and_columns = [{', '.join(map(quoted, guess.and_columns))}]")
    if guess.unit is not None:
        parts.append(f'unit = "{guess.unit.word}"')
        said.append(guess.unit.evidence)
    if guess.dates is not None and guess.dates.formats:
        formats = [quoted(one) for one in guess.dates.formats]
        listed = formats[0] if len(formats) == 1 else f"[{', '.join(formats)}]"
        parts.append(f"date_format = {listed}")
        said.append(guess.dates.evidence)
    if guess.codes is not None and guess.codes.needed:
        pairs = ", ".join(f"{quoted(k)} = {quoted(v)}" for k, v in guess.codes.values.items())
        parts.append(f"values = {{ {pairs} }}")
        said.append("; ".join(f"{code} {n:,}" for code, n in guess.codes.counts.items())[:120])
    if guess.column.name in one.pointed:
        found = one.pointed[guess.column.name]
        said.append(
            f"{found.as_they_stand + found.respelled:,} of {found.keys:,} are known, "
            f"{found.respelled:,} in another spelling"
        )
    if guess.codes is not None and guess.codes.unknown:
        yield from _ask_codes(guess)
    entry = parts[0].partition("= ")[2] if len(parts) == 1 else f"{{ {', '.join(parts)} }}"
    doubts = [mark for mark in guess.marks if not mark.endswith("codes are not known")]
    doubtful = "; ".join(doubts)
    sure = not doubts
    yield _marked(f"{guess.column.name} = {entry}", doubtful or "; ".join(said), sure=sure)


def _ask_codes(guess: Guess) -> Iterator[str]:
    if guess.codes is None:
        return
    unknown = list(guess.codes.unknown.items())
    shown = ", ".join(f"{quoted(code)} ({n:,} rows)" for code, n in unknown[:MOST_CODES_SHOWN])
    more = f" and {len(unknown) - MOST_CODES_SHOWN} more" if len(unknown) > MOST_CODES_SHOWN else ""
    words = ", ".join(guess.column.domain) or "true, false"
    yield f"# {ASK}: what do these mean? {shown}{more}".replace("\n", " ")
    yield f'#   Add values = {{ "code" = "word" }} to the next line. Words: {words}'


def _marked(line: str, said: str, *, sure: bool) -> str:
    if sure:
        return f"{line}  # {said}" if said else line
    return f"{line}  # {CHECK}: {said or 'a guess'}"


__all__ = ["ASK", "CHECK", "Place", "quoted", "region_text"]
