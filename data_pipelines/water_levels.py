"""Reads measured water levels: federal replies, or a county's own table of points."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from data_pipelines.dates import to_date
from data_pipelines.defect_log import DefectLog
from data_pipelines.points import coordinate_pair, points_of, to_datum
from data_pipelines.shapes import canonical_shapes
from data_pipelines.tables import demand_files, is_text_table, log_of_file, stack_files
from data_pipelines.values import SET_MISSING, plain_number, within_bounds
from data_pipelines.vector import Bounds, canonical_layer, parse_shapes
from data_pipelines.water_replies import DEPTH, SITE_FIELDS, Reply, cut_short, parse_reply
from data_pipelines.well_checks import report_datums
from riskmap.contract.errors import SourceFormatError
from riskmap.contract.layers import WATER_LEVELS
from riskmap.contract.sources import ColumnSource, Reading, Source
from riskmap.contract.units import FOOT_M

DEPTH_CODES: Final = {DEPTH: FOOT_M, "30210": 1.0}
"""Parameter code of a depth to water below land surface -> factor to meters."""

ELEVATION_CODES: Final = {"62610": "NGVD29", "62611": "NAVD88", "72020": "NGVD29"}
"""Parameter code of a water-level elevation (feet) -> its datum."""

BELOW_MEASURING_POINT: Final = "61055"

UNITS_M: Final = {"ft": FOOT_M, "feet": FOOT_M, "foot": FOOT_M, "m": 1.0, "meters": 1.0}
"""Unit of a reply, in small letters -> factor to meters."""

STATUS_CODES: Final = {
    "D": "dry",
    "G": "nearby well flowing",
    "H": "nearby well flowed recently",
    "I": "injecting nearby",
    "J": "injecting",
    "M": "plugged",
    "N": "measurement discontinued",
    "O": "obstruction",
    "P": "pumping",
    "R": "pumped recently",
    "S": "nearby well pumping",
    "T": "nearby well pumped recently",
    "V": "foreign substance",
    "W": "destroyed",
    "X": "affected by surface water",
    "Z": "other",
}
"""Status codes that make a level unusable (codes from memory; tide, air pressure and a flowing
well - A, B, F - leave it usable)."""

_STATUS_WORDS: Final = {
    "obstruct": "obstruction",
    "dry": "dry",
    "recently pump|pumped recently": "pumped recently",
    "pump": "pumping",
    "destroy": "destroyed",
    "plugged": "plugged",
    "discontinued": "measurement discontinued",
    "foreign": "foreign substance",
}
_DATUM_WORDS: Final = {
    "NATIONAL GEODETIC VERTICAL DATUM OF 1929": "NGVD29",
    "NORTH AMERICAN VERTICAL DATUM OF 1988": "NAVD88",
}


def read_water_levels(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read water levels.

    Federal replies need no mapping. Site files (for their coordinates) may stand among ``files``
    or be named as ``attributes``.
    """
    log = DefectLog(WATER_LEVELS.name)
    files = [*demand_files(source), *([source.attributes] if source.attributes else [])]
    told = {path: DefectLog(WATER_LEVELS.name) for path in files}
    replies = [_reply(path, source.layer, told[path]) for path in files]
    if all(reply is None for reply in replies):
        plain = replace(source, attributes=None, join_on=None)
        raw = parse_shapes(plain, WATER_LEVELS, crs, log, bounds=bounds)
        return canonical_points(raw, plain, crs, log)
    found = {path: reply for path, reply in zip(files, replies, strict=True) if reply is not None}
    if len(found) < len(files):
        strange = ", ".join(path.name for path in files if path not in found)
        raise SourceFormatError(
            source.layer,
            f"{strange} is no reply of a water-level service, other files of this layer are.",
            "Give replies only, or a table of your own only.",
        )
    levels = {path: reply.rows for path, reply in found.items() if reply.kind == "levels"}
    if not levels:
        raise SourceFormatError(
            source.layer,
            f"there are sites ({', '.join(path.name for path in found)}) but no levels.",
            "Add the file with the measured levels.",
        )
    _refuse_parts(found, source.layer, log)
    sites = {path: reply.rows for path, reply in found.items() if reply.kind == "sites"}
    for path in found:
        group = list(levels) if path in levels else files
        with log_of_file(log, group, group.index(path)) as part:
            part.extend(told[path].table())
    raw = stack_files(list(levels.values()), list(levels))
    if raw.empty:
        log.note("", "no_rows", "0", "the layer is empty")
    return canonical_levels(raw, list(sites.values()), crs, log, day=source.day)


def _reply(path: Path, layer: str, log: DefectLog) -> Reply | None:
    if not is_text_table(path) and path.suffix.lower() != ".json":
        return None
    return parse_reply(path, layer=layer, log=log)


def _refuse_parts(found: Mapping[Path, Reply], layer: str, log: DefectLog) -> None:
    """Raise if every reply says that there is more; of several pages the last says nothing."""
    cuts = [f"{path.name}: {reply.kept_back}" for path, reply in found.items() if reply.kept_back]
    levels = [reply for reply in found.values() if reply.kind == "levels"]
    if cuts and len(cuts) == len(levels):
        raise cut_short(layer, cuts)
    for cut in cuts:
        log.note("", "page_of_several", cut, "taken with the other files")


def canonical_points(raw: gpd.GeoDataFrame, source: Source, crs: CRS, log: DefectLog) -> Reading:
    """Canonical levels of a county's own table or point layer."""
    frame = canonical_layer(raw, source, WATER_LEVELS, crs, log)
    _report_flowing(frame, log)
    with_elevation = frame["water_elevation_m"].notna()  # a depth alone rests on no datum
    report_datums(frame["vertical_datum"].where(with_elevation), log)
    return Reading(frame, log.table())


def canonical_levels(
    raw: pd.DataFrame,
    sites: Sequence[pd.DataFrame],
    crs: CRS,
    log: DefectLog,
    *,
    day: datetime.date | None = None,
) -> Reading:
    """Canonical levels of federal replies in the form of :mod:`data_pipelines.water_replies`.

    Dates after `day` are missing; see :func:`data_pipelines.dates.to_date`.
    """
    raw = raw.assign(site_id=_number_only(raw["site_id"]))
    raw = _water_levels_only(raw, log)
    raw = _with_sites(raw, sites)
    frame = _measurements(raw, log, day)
    again = frame.join(raw[["x", "y", "parameter"]]).duplicated()
    log.add("site_id", "repeated_row", frame.loc[again, "site_id"].fillna(""), "left out")
    raw, frame = raw[~again], frame[~again]
    pair = coordinate_pair(raw, "x", "y", layer=log.layer)
    nad83 = CRS("EPSG:4269")
    pair = to_datum(pair, raw["horizontal_datum"].fillna("NAD83"), nad83, log)
    shapes = gpd.GeoDataFrame(raw, geometry=points_of(pair), crs=nad83)
    frame = canonical_shapes(shapes, frame, log, kind="point", crs=crs)
    return Reading(frame, log.table())


def _number_only(site: pd.Series) -> pd.Series:
    """Station number without the agency's prefix."""
    return site.astype("string").str.replace(r"^[A-Za-z]{2,}-(?=\d)", "", regex=True)


def _water_levels_only(raw: pd.DataFrame, log: DefectLog) -> pd.DataFrame:
    """Leave out other parameters (stream flow ...); a reply without codes is all levels.

    A row without a value keeps its place whatever its code, so that its status is seen.
    """
    code = raw["parameter"].fillna(DEPTH)
    known = code.isin([*DEPTH_CODES, *ELEVATION_CODES, BELOW_MEASURING_POINT])
    known |= raw["status"].map(_status_of, na_action="ignore").notna()
    for other, count in code[~known].value_counts().sort_index().items():
        log.note("", "other_parameter", f"{other}: {count} rows", "left out")
    return raw[known]


def _with_sites(raw: pd.DataFrame, sites: Sequence[pd.DataFrame]) -> pd.DataFrame:
    if not sites:
        return raw
    table = pd.concat(sites)
    table = table.assign(site_id=_number_only(table["site_id"])).dropna(subset=["site_id"])
    table = table.drop_duplicates("site_id").set_index("site_id")
    found = table.reindex(raw["site_id"].to_numpy()).set_axis(raw.index, axis=0)
    return raw.assign(**{n: raw[n].fillna(found[n]) for n in SITE_FIELDS if n != "site_id"})


def _measurements(raw: pd.DataFrame, log: DefectLog, day: datetime.date | None) -> pd.DataFrame:
    code = raw["parameter"].fillna(DEPTH)
    value = _read_number(raw["value"], "depth_to_water_m", log)
    height = _read_number(raw["elevation"], "water_elevation_m", log)
    bottom_m = _read_number(raw["well_depth"], "depth_to_water_m", log) * FOOT_M
    to_m = _factor_to_m(raw, code, log)
    status = raw["status"].map(_status_of, na_action="ignore").astype("string")
    below = code.eq(BELOW_MEASURING_POINT)
    log.add("depth_to_water_m", "below_measuring_point", raw.loc[below, "value"], "not used")
    depth = (value * to_m).where(code.isin(DEPTH_CODES)).mask(status.notna())
    elevation = (height * FOOT_M).fillna((value * to_m).where(code.isin(ELEVATION_CODES)))
    silent = depth.isna() & elevation.isna() & status.isna() & raw["value"].isna()
    log.add("depth_to_water_m", "no_value", raw.loc[silent, "site_id"].fillna(""), "kept")
    log.add("date", "no_date", raw.loc[raw["date"].isna(), "site_id"].fillna(""), "kept")
    log.add("site_id", "no_site", raw.loc[raw["site_id"].isna(), "value"].fillna(""), "kept")
    datum = raw["datum"].fillna(code.map(ELEVATION_CODES)).str.upper()
    frame = pd.DataFrame(
        {
            "site_id": raw["site_id"],
            "date": to_date(raw["date"], WATER_LEVELS.column("date"), ColumnSource(), log, day=day),
            "depth_to_water_m": _possible(depth, "depth_to_water_m", raw["value"], log),
            "water_elevation_m": _possible(
                elevation.mask(status.notna()), "water_elevation_m", raw["value"], log
            ),
            "vertical_datum": datum.replace(_DATUM_WORDS).mask(datum.eq("NONE")).astype("string"),
            "status": status,
        }
    )
    frame = _not_below_bottom(frame, bottom_m, log)
    frame["vertical_datum"] = frame["vertical_datum"].where(frame["water_elevation_m"].notna())
    log.add("status", "unusable_level", status.dropna(), "kept without a value")
    _report_flowing(frame, log)
    report_datums(frame["vertical_datum"], log)
    return frame


def _read_number(text: pd.Series, column: str, log: DefectLog) -> pd.Series:
    number = plain_number(text)
    log.add(column, "not_a_number", text[number.isna() & text.notna()], SET_MISSING)
    return number


def _factor_to_m(raw: pd.DataFrame, code: pd.Series, log: DefectLog) -> pd.Series:
    """Factor from the reply's unit to meters; where it gives none, by the parameter code."""
    unit = raw["unit"].str.lower()
    factor = unit.map(UNITS_M).astype("float64")
    unknown = unit.notna() & factor.isna() & raw["value"].notna()
    log.add("depth_to_water_m", "unknown_unit", raw.loc[unknown, "unit"], SET_MISSING)
    by_code = code.map({**DEPTH_CODES, **dict.fromkeys(ELEVATION_CODES, FOOT_M)}).astype("float64")
    return factor.fillna(by_code.where(unit.isna()))


def _possible(number: pd.Series, name: str, raw: pd.Series, log: DefectLog) -> pd.Series:
    column = WATER_LEVELS.column(name)
    return within_bounds(number.astype("float64"), column, log, raw=raw)


def _not_below_bottom(frame: pd.DataFrame, bottom_m: pd.Series, log: DefectLog) -> pd.DataFrame:
    """Blank a water level below the bottom of its well: no such level can be measured."""
    below = frame["depth_to_water_m"] > bottom_m
    log.add(
        "depth_to_water_m",
        "level_below_bottom",
        frame.loc[below, "depth_to_water_m"].round(3),
        "set to missing",
    )
    return frame.assign(depth_to_water_m=frame["depth_to_water_m"].mask(below))


def _report_flowing(frame: pd.DataFrame, log: DefectLog) -> None:
    level = frame["depth_to_water_m"]
    log.add("depth_to_water_m", "flowing", level[level < 0], "kept: it flows")


def _status_of(status: str) -> str | None:
    """Word for a status code or sentence that makes the level unusable, else None."""
    text = status.strip()
    if len(text) <= 1:
        return STATUS_CODES.get(text.upper())
    for pattern, word in _STATUS_WORDS.items():
        if any(part in text.lower() for part in pattern.split("|")):
            return word
    return None
