"""Which layer each table, map layer, raster or folder is; sheets that none fits are told."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import pandas as pd

from data_pipelines.columns import find_column
from data_pipelines.keys import Matched, count_matches
from data_pipelines.values import as_text
from riskmap.contract.layers import LAYERS
from riskmap.region.layers import SOIL_SURVEY
from riskmap.starting.aliases import FILE_WORDS
from riskmap.starting.columns import LIKELY, SURE, Guess, match_columns
from riskmap.starting.coordinates import Place, find_places
from riskmap.starting.names import words_of
from riskmap.starting.opening import Sheet
from riskmap.starting.systems import square_meters

FEW: Final = 3
"""Columns of an assessor from one more on which a table is taken for records of parcels."""
FITS_NONE: Final = "it fits no layer"
LEAST: Final = 0.5
"""Score from which a sheet is taken for a layer."""
JOINS: Final = 0.6
"""Share of polygons with a record of a parcel from which they are taken for the parcels."""
OWN_WELLS_FIRST: Final = 0.6
"""Score of a federal site file as wells: a county's own well records go before it."""
BY_FOLDER: Final = 0.6
"""How much the name of the folder counts against the name of the file."""
KEYS: Final = {
    "parcels": ("parcel_id",),
    "permits": ("permit_id",),
    "inspections": ("parcel_id", "date"),
    "wells": ("well_id",),
    "well_samples": ("well_id", "nitrate_mg_l"),
    "water_levels": ("site_id", "depth_to_water_m"),
}
"""Columns without which a table is not the layer."""
TELLING: Final = {
    "parcels": ("land_use", "year_built", "owner", "living_area_m2", "bedrooms", "improved",
                "recorded_area_m2", "address"),
    "permits": ("action", "kind", "issued", "tank_volume_l", "design_flow_l_d", "field_area_m2"),
    "inspections": ("stage", "reason", "ponding_cm"),
    "wells": ("depth_m", "casing_m", "static_level_m", "screen_top_m", "drilled", "use"),
    "well_samples": ("date", "coliform"),
    "water_levels": ("date", "water_elevation_m"),
}  # fmt: skip
"""Columns that tell a table for the layer, the more the surer."""
SHAPES: Final = {
    "polygon": ("parcels", "buildings", "waterbodies", "floodplain", "sewer_area",
                "wellhead_areas", "public_areas"),
    "line": ("streams", "roads"),
    "point": ("permits", "wells", "inspections", "water_levels"),
    "table": tuple(KEYS),
    "raster": ("elevation", "water_table"),
}  # fmt: skip
FORMS: Final = {
    "water_levels": (
        ("rdb", ("site_no", "lev_dt")),
        ("auto", ("monitoring_location_id", "parameter_code", "value")),
    ),
    "well_samples": (
        ("quality_portal", ("MonitoringLocationIdentifier", "CharacteristicName")),
        ("quality_portal", ("Location_Identifier", "Result_Characteristic")),
    ),
    "wells": (
        ("auto", ("site_no", "dec_lat_va")),
        ("auto", ("MonitoringLocationTypeName", "LatitudeMeasure")),
    ),
}
"""Layer -> form of a federal service and the columns that tell it; these need no mapping."""


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


@dataclass(frozen=True)
class Findings:
    """What was found: layers, and sheets that are none (with the reason)."""

    layers: tuple[Recognized, ...]
    unused: tuple[tuple[Sheet, str], ...]


def recognize(sheets: Sequence[Sheet]) -> Findings:
    """Take each sheet for the layer that it fits best.

    Parameters
    ----------
    sheets
        As opened.
    """
    unused = [(sheet, sheet.trouble) for sheet in sheets if not sheet.kind]
    readable = [sheet for sheet in sheets if sheet.kind]
    scored = {id(sheet): _scores(sheet) for sheet in readable}
    found: dict[str, list[tuple[float, Sheet]]] = {}
    for sheet in readable:
        scores = scored[id(sheet)]
        layer = max(scores, key=lambda name: scores[name], default="")
        if not layer or scores[layer] < LEAST:
            unused.append((sheet, FITS_NONE))
            continue
        found.setdefault(layer, []).append((scores[layer], sheet))
    sites = [one for one in found.get("wells", []) if "site_no" in one[1].frame]
    if sites and any(_form(sheet, "water_levels") for _, sheet in found.get("water_levels", [])):
        found["water_levels"] += [(LEAST, sheet) for _, sheet in sites]
        found["wells"] = [one for one in found["wells"] if all(one is not site for site in sites)]
    records = found.pop("parcels", [])
    _look_for_shapes(records, unused)
    parcels = _parcels(records, unused)
    keys = None if parcels is None else _column_of(parcels, "parcel_id")
    _look_again(found, unused, keys)
    layers = [] if parcels is None else [parcels]
    wells: pd.Series | None = None
    for layer in (SOIL_SURVEY, *LAYERS):
        if not found.get(layer):
            continue
        one = _layer(layer, found[layer], unused, parcels=keys, wells=wells)
        if layer == "wells":
            wells = _column_of(one, "well_id")
        layers.append(one)
    return Findings(tuple(layers), tuple(unused))


def _look_for_shapes(records: list[tuple[float, Sheet]], unused: list[tuple[Sheet, str]]) -> None:
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


def _look_again(
    found: dict[str, list[tuple[float, Sheet]]],
    unused: list[tuple[Sheet, str]],
    parcels: pd.Series | None,
) -> None:
    """Look again at tables that fitted nothing: a column may hold the parcels' numbers."""
    for sheet, why in list(unused):
        if parcels is None or why != FITS_NONE or sheet.kind not in ("table", "point"):
            continue
        scores = {name: s for name, s in _scores(sheet, parcels).items() if name != "parcels"}
        layer = max(scores, key=lambda name: scores[name], default="")
        if layer and scores[layer] >= LEAST:
            found.setdefault(layer, []).append((scores[layer], sheet))
            unused.remove((sheet, why))


def _scores(sheet: Sheet, parcels: pd.Series | None = None) -> dict[str, float]:
    """Score of a sheet for each layer that its kind allows."""
    if sheet.kind == "survey":
        return {SOIL_SURVEY: 1.0}
    scores = {}
    for layer in SHAPES[sheet.kind]:
        named = _named(sheet, layer)
        if _form(sheet, layer) is not None:
            scores[layer] = 1.0 if layer != "wells" else OWN_WELLS_FIRST
        elif layer in KEYS:
            scores[layer] = _table_score(sheet, layer, named, parcels)
        elif sheet.kind == "raster":
            scores[layer] = _raster_score(sheet, layer, named)
        elif layer == "floodplain":
            told = find_column("FLD_ZONE", map(str, sheet.frame.columns)) is not None
            scores[layer] = 1.0 if told else 0.8 * named
        elif layer == "roads":
            told = find_column("MTFCC", map(str, sheet.frame.columns)) is not None
            scores[layer] = 1.0 if told else 0.9 * named
        elif layer == "streams":
            told = find_column("FTYPE", map(str, sheet.frame.columns)) is not None
            scores[layer] = 1.0 if told or named else 0.0
        else:
            scores[layer] = 0.9 * named
    return scores


def _words(*names: str) -> str:
    """Lower-case words of names, one blank between."""
    return " " + " ".join(" ".join((*words_of(name), name.lower())) for name in names) + " "


def _named(sheet: Sheet, layer: str) -> float:
    """How well its names say that a sheet is a layer: by its own, or only by its folder's."""
    own, folder = _words(sheet.path.stem, sheet.table or ""), _words(sheet.path.parent.name)
    said = FILE_WORDS.get(layer, ())
    if any(words in own for words in said):
        return 1.0
    return BY_FOLDER * any(words in folder for words in said)


def _table_score(sheet: Sheet, layer: str, named: float, parcels: pd.Series | None) -> float:
    matched = match_columns(
        sheet.frame.head(500),
        LAYERS[layer],
        pointers={} if parcels is None else {"parcel_id": parcels},
        key_repeats=layer != "permits",
    )
    guesses = {guess.column.name: guess.confidence for guess in matched}
    if layer == "parcels" and (named if sheet.kind == "polygon" else len(guesses) > FEW):
        guesses.setdefault("parcel_id", 0.5)  # found by what joins
    needed = [guesses.get(name, 0.0) for name in KEYS[layer]]
    if min(needed) < 0.3:
        return 0.0
    telling = sum(guesses.get(name, 0.0) for name in TELLING[layer])
    base = 0.35 if sheet.kind == "polygon" else 0.15
    return min(0.99, base * max(needed) + 0.3 * named + 0.13 * min(telling, 4.0))


def _raster_score(sheet: Sheet, layer: str, named: float) -> float:
    table = _named(sheet, "water_table")
    if layer == "water_table":
        return 0.95 * table
    return 0.0 if table else 0.6 + 0.35 * named


def _form(sheet: Sheet, layer: str) -> str | None:
    """Form of a federal service's reply, if the sheet is one."""
    names = {str(name) for name in sheet.frame.columns}
    return next((form for form, told in FORMS.get(layer, ()) if set(told) <= names), None)


def _parcels(
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


def _tiles(sheet: Sheet) -> tuple[str, str | None]:
    """Give what tiles of one terrain share: the name without its last numbers, and the system.

    >>> from pathlib import Path
    >>> _tiles(Sheet(Path("dem_10m_0_12.tif"), "raster"))[0]
    'dem_10m'
    """
    return re.sub(r"(_\d+)+$", "", sheet.path.stem), sheet.crs


def _column_of(one: Recognized, column: str) -> pd.Series | None:
    for guess in one.guesses:
        if guess.column.name == column and guess.source in one.sheet.frame:
            return as_text(one.sheet.frame[guess.source])
    known = {"wells": ("site_no", "MonitoringLocationIdentifier")}.get(one.layer, ())
    name = next((name for name in known if name in one.sheet.frame), None)
    return None if name is None else as_text(one.sheet.frame[name])


def _layer(
    layer: str,
    found: list[tuple[float, Sheet]],
    unused: list[tuple[Sheet, str]],
    *,
    parcels: pd.Series | None,
    wells: pd.Series | None,
) -> Recognized:
    """Describe the best sheet of a layer; more soil surveys and more of the same form go along."""
    found = sorted(found, key=lambda one: -one[0])
    confidence, sheet = found[0]
    form = _form(sheet, layer) or ""
    alike = [
        other
        for _, other in found[1:]
        if layer == SOIL_SURVEY or (form and _form(other, layer) == form)
        or (form == "rdb" and "site_no" in other.frame)
        or (sheet.kind == "raster" and _tiles(sheet) == _tiles(other))
        or (sheet.kind not in ("table", "raster") and list(other.frame) == list(sheet.frame)
            and other.table is None)
    ]  # fmt: skip
    unused += [
        (other, f"{sheet.label} fits {layer} better")
        for _, other in found[1:]
        if all(other is not one for one in alike)
    ]
    read_by_name = find_column("FLD_ZONE", map(str, sheet.frame.columns)) is not None
    if layer == SOIL_SURVEY or sheet.kind == "raster" or form or read_by_name:
        return Recognized(layer, sheet, confidence, form=form, more=tuple(alike))
    places = tuple(find_places(sheet.frame)) if sheet.kind == "table" else ()
    pointers = {}
    if "parcel_id" in LAYERS[layer].column_names and layer != "parcels" and parcels is not None:
        pointers["parcel_id"] = parcels
    if layer == "well_samples" and wells is not None:
        pointers["well_id"] = wells
    guesses = match_columns(
        sheet.frame,
        LAYERS[layer],
        pointers=pointers,
        key_repeats=layer not in ("permits", "wells"),
        taken=[name for place in places for name in (place.x, place.y)],
        ask=True,
    )
    pointed = {
        guess.column.name: count_matches(
            as_text(sheet.frame[guess.source]), pointers[guess.column.name]
        )
        for guess in guesses
        if guess.column.name in pointers
    }
    return Recognized(
        layer, sheet, confidence, tuple(guesses), places, form, tuple(alike), pointed=pointed
    )
