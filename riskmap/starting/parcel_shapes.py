"""Which polygons are the parcels, and which table holds their records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import pandas as pd

from data_pipelines.keys import Matched, count_matches
from data_pipelines.values import as_text
from riskmap.contract.layers import LAYERS
from riskmap.starting.columns import LIKELY, SURE, Guess, match_columns
from riskmap.starting.coordinates import Place
from riskmap.starting.names import words_of
from riskmap.starting.opening import Sheet
from riskmap.starting.systems import square_meters

FITS_NONE: Final = "it fits no layer"
LEAST: Final = 0.5
"""Score from which a sheet is taken for a layer."""
JOINS: Final = 0.6
"""Share of polygons with a record of a parcel from which they are taken for the parcels."""


@dataclass(frozen=True)
class Recognized:
    """A sheet taken for a layer.

    ``records`` is the assessor's table of parcels with the columns that join them, and ``joined``
    how many keys of the one are found in the other. ``form`` is set for a federal service's reply.
    """

    layer: str
    sheet: Sheet
    confidence: float
    guesses: tuple[Guess, ...] = ()
    places: tuple[Place, ...] = ()
    form: str = ""
    more: tuple[Sheet, ...] = ()
    records: Sheet | None = None
    join_on: tuple[str, str] | None = None
    joined: Matched | None = None
    pointed: Mapping[str, Matched] = field(default_factory=dict)


def look_for_shapes(records: list[tuple[float, Sheet]], unused: list[tuple[Sheet, str]]) -> None:
    """Where no polygons are called parcels, take those whose numbers join the records of parcels.

    Parameters
    ----------
    records
        Sheets taken for parcels, with their scores; the polygons found are added.
    unused
        Sheets that fitted nothing; what is taken is taken out.
    """
    tables = [sheet for _, sheet in records if sheet.kind != "polygon"]
    if len(tables) < len(records):
        return
    for sheet, why in list(unused):
        if why != FITS_NONE or sheet.kind != "polygon":
            continue
        shares = [found[0] for table in tables if (found := _join(sheet, table)) is not None]
        if shares and max(shares) >= JOINS:
            records.append((LEAST, sheet))
            unused.remove((sheet, why))


def parcels_of(
    found: list[tuple[float, Sheet]],
    unused: list[tuple[Sheet, str]],
) -> Recognized | None:
    """Take the best polygons as parcels and the table that joins them best as records."""
    shapes = sorted((s for s in found if s[1].kind == "polygon"), key=lambda s: -s[0])
    tables = [sheet for _, sheet in found if sheet.kind != "polygon"]
    if not shapes:
        unused += [(sheet, "records of parcels, but no parcel polygons") for sheet in tables]
        return None
    confidence, sheet = shapes[0]
    unused += [(other, f"{sheet.label} fits parcels better") for _, other in shapes[1:]]
    best: tuple[float, Sheet, tuple[str, str], Matched] | None = None
    for table in tables:
        joined = _join(sheet, table)
        if joined is not None and (best is None or joined[0] > best[0]):
            best = (joined[0], table, joined[1], joined[2])
    unused += [
        (table, "it joins no parcels" if best is None else f"{best[1].label} joins better")
        for table in tables
        if best is None or table is not best[1]
    ]
    lot_m2 = None if sheet.area is None else square_meters(sheet.area, sheet.crs, sheet.bounds)
    own = match_columns(sheet.frame, LAYERS["parcels"], lot_m2=lot_m2, ask=not tables)
    if best is None:
        return Recognized("parcels", sheet, confidence, tuple(_with_number(own, sheet)))
    more = match_columns(
        best[1].frame, LAYERS["parcels"], key_repeats=True, lot_m2=lot_m2, ask=True
    )
    guesses = _together(own, more, best[2][0])
    return Recognized(
        "parcels", sheet, confidence, guesses, records=best[1], join_on=best[2], joined=best[3]
    )


def _with_number(own: list[Guess], sheet: Sheet) -> list[Guess]:
    """Offer a column of different values as the parcel number where none is named so."""
    if any(guess.column.name == "parcel_id" for guess in own):
        return own
    used = {guess.source for guess in own}
    number = LAYERS["parcels"].column("parcel_id")
    for name in _key_like(sheet.frame):
        if name not in used:
            marks = ("its values are all different; is it the parcel number?",)
            return [Guess(number, name, LIKELY, marks=marks), *own]
    return own


def _together(own: list[Guess], more: list[Guess], key: str) -> tuple[Guess, ...]:
    """Guesses of polygons and records: the number from the polygons, else the surer of the two."""
    by_name = {guess.column.name: guess for guess in own}
    for guess in more:
        name = guess.column.name
        if name == "parcel_id":
            continue
        if name not in by_name or guess.confidence >= by_name[name].confidence:
            by_name[name] = guess
    if "parcel_id" not in by_name or by_name["parcel_id"].source != key:
        number = LAYERS["parcels"].column("parcel_id")
        marks = () if "parcel_id" not in by_name else ("it joins the records best",)
        by_name["parcel_id"] = Guess(number, key, SURE, marks=marks)
    return tuple(by_name[name] for name in LAYERS["parcels"].column_names if name in by_name)


def _join(shapes: Sheet, table: Sheet) -> tuple[float, tuple[str, str], Matched] | None:
    """Find the pair of columns by which most different keys of the polygons are in the table."""
    best: tuple[float, tuple[str, str], Matched] | None = None
    for left in _key_like(shapes.frame):
        keys = as_text(shapes.frame[left])
        for right in _key_like(table.frame, repeats=True):
            found = count_matches(keys, as_text(table.frame[right]))
            share = (found.as_they_stand + found.respelled) / max(found.keys, 1)
            score = share + 0.001 * (found.as_they_stand > 0) + 0.01 * (left == right)
            score += 0.02 * (
                "parcel" in (*words_of(left), *words_of(right)) or "pin" in words_of(left)
            )
            if share > 0.3 and (best is None or score > best[0]):
                best = (score, (left, right), found)
    return best


def _key_like(frame: pd.DataFrame, *, repeats: bool = False) -> list[str]:
    """Columns that could be a key: text or whole numbers, mostly different."""
    found = []
    for name in frame.columns:
        text = as_text(frame[name]).dropna()
        if len(text) < 0.5 * len(frame) or not len(text):
            continue
        distinct = text.nunique() / len(text)
        if distinct < (0.2 if repeats else 0.6) or text.str.len().median() > 40:
            continue
        if text.head(200).str.contains(r"\d").mean() > 0.9:
            found.append(str(name))
    return found[:12]
