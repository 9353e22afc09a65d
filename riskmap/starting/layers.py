"""Which layer each table, map layer, raster or folder is; sheets that none fits are told."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import pandas as pd

from data_pipelines.columns import find_column
from data_pipelines.keys import count_matches
from data_pipelines.values import as_text
from riskmap.contract.layers import LAYERS
from riskmap.region.layers import SOIL_SURVEY
from riskmap.starting.aliases import FILE_WORDS
from riskmap.starting.columns import match_columns
from riskmap.starting.coordinates import find_places
from riskmap.starting.names import words_of
from riskmap.starting.opening import Sheet
from riskmap.starting.parcel_shapes import FITS_NONE, LEAST, Recognized, look_for_shapes, parcels_of

FEW: Final = 3
"""Columns of an assessor from one more on which a table is taken for records of parcels."""
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
                "wellhead_areas", "public_areas", "places"),
    "line": ("streams", "roads"),
    "point": ("permits", "wells", "inspections", "water_levels", "places"),
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
    look_for_shapes(records, unused)
    parcels = parcels_of(records, unused)
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
