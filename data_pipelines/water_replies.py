"""Parses replies of the federal water-level services into one raw form.

Understood: RDB of levels, of daily values and of sites; the discrete-level table with one row per
measurement; OGC feature JSON; WaterML as JSON. All heights in those replies are in feet except
where a parameter code or a unit says otherwise.
"""

from __future__ import annotations

import itertools
import json
import re
from collections.abc import Sequence
from math import isnan
from pathlib import Path
from typing import Any, Final, Literal, NamedTuple

import pandas as pd

from data_pipelines.columns import find_column
from data_pipelines.defect_log import DefectLog
from data_pipelines.tables import demand_file, parse_delimited, read_text
from data_pipelines.values import as_text
from riskmap.contract.errors import SourceFormatError

LEVEL_FIELDS: Final = (
    "site_id",
    "date",
    "parameter",
    "value",
    "unit",
    "elevation",
    "datum",
    "status",
    "x",
    "y",
    "horizontal_datum",
    "well_depth",
)
SITE_FIELDS: Final = ("site_id", "x", "y", "horizontal_datum", "well_depth")
DEPTH: Final = "72019"

_RDB_LEVELS: Final = {
    "site_id": "site_no",
    "date": "lev_dt",
    "parameter": "parameter_code",
    "value": "lev_va",
    "elevation": "sl_lev_va",
    "datum": "sl_datum_cd",
    "status": "lev_status_cd",
    "x": "dec_long_va",
    "y": "dec_lat_va",
    "horizontal_datum": "dec_coord_datum_cd",
    "well_depth": "well_depth_va",
}
_DISCRETE: Final = {
    "site_id": "site_identification_number",
    "date": "date_measured",
    "parameter": "parameter_code",
    "value": "display_result",
    "x": "decimal_longitude",
    "y": "decimal_latitude",
    "horizontal_datum": "decimal_latitude_longitude_datum",
    "well_depth": "well_depth",
}
_STATUS_PLACES: Final = ("site_status", "measuring_agency", "measuring_agency_code")
_DATUM_PLACES: Final = ("vertical_datum", "vertical_datum_code", "site_status")
"""Where discrete tables really hold status and datum: a header may not fit its rows."""

_STATUS_WORDS: Final = r"obstruct|\bdry\b|pump|destroy|plugged|discontinued|foreign"
_DATUM_WORDS: Final = r"^(?:NGVD|NAVD|L?MSL|National Geodetic|North American Vertical)"
_DAILY: Final = r"^\d+_(\d{5})_\d{5}$"
NO_CODE: Final = "none"
"""Parameter of a measurement whose reply gives codes, but none for it."""
_PAGE_MARKS: Final = ("<!doctype", "<html", "<?xml", "<error")


class Reply(NamedTuple):
    """One reply: its rows, and in words what the service kept back (empty: nothing)."""

    kind: Literal["levels", "sites"]
    rows: pd.DataFrame
    kept_back: str = ""


def parse_reply(path: Path, *, layer: str, log: DefectLog | None = None) -> Reply | None:
    """Parse one file; None if it is no federal reply. `log` tells the rows that are set aside.

    Raises
    ------
    SourceFormatError
        If it is a federal reply that holds no water levels (statistics, another service's error),
        a page of words instead of data, or a county's own features cut at a page limit.
    """
    refuse_page(path, layer)
    text = read_text(path, layer, log)
    if text.lstrip().startswith(("{", "[")):
        return _parse_json(text, layer, path.name)
    table = parse_delimited(text, layer=layer, name=path.name, log=log)
    names = [str(name) for name in table.columns]
    if find_column("lev_va", names) or find_column("sl_lev_va", names):
        return Reply("levels", _pick(table, _RDB_LEVELS, LEVEL_FIELDS))
    if find_column("display_result", names):
        return Reply("levels", _discrete(table))
    daily = table.columns.str.extract(_DAILY, expand=False).dropna()
    if len(daily) and find_column("site_no", names):
        return Reply("levels", _daily(table))
    if find_column("dec_lat_va", names) and find_column("site_no", names):
        return Reply("sites", _pick(table, _RDB_LEVELS, SITE_FIELDS))
    if find_column("decimal_latitude", names) and find_column(_DISCRETE["site_id"], names):
        return Reply("sites", _pick(table, _DISCRETE, SITE_FIELDS))
    if find_column("site_no", names) and find_column("agency_cd", names):
        raise SourceFormatError(
            layer,
            f"{path.name} is a federal reply without water levels "
            f"(columns {', '.join(names[:8])}).",
            "Fetch the levels, not statistics or other parameters.",
        )
    return None


def refuse_page(path: Path, layer: str) -> None:
    """Raise SourceFormatError if a service answered with a page of words instead of data."""
    demand_file(path, layer)
    if not path.is_file():
        return
    with path.open("rb") as file:
        start = file.read(2000).decode("utf-8", "replace").lstrip("\ufeff \t\r\n")
    if start.casefold().startswith(_PAGE_MARKS):
        words = " ".join(re.sub(r"<[^>]*>", " ", start).split())[:200]
        raise SourceFormatError(
            layer,
            f"{path.name} is a page of the service, not data: {words or 'no words'}.",
            "Fetch it again later.",
        )


def _pick(table: pd.DataFrame, names: dict[str, str], fields: tuple[str, ...]) -> pd.DataFrame:
    columns = {}
    for field in fields:
        found = find_column(names[field], table.columns) if field in names else None
        columns[field] = (
            pd.Series(pd.NA, index=table.index, dtype="string")
            if found is None
            else as_text(table[found])
        )
    return pd.DataFrame(columns, index=table.index)


def _discrete(table: pd.DataFrame) -> pd.DataFrame:
    frame = _pick(table, _DISCRETE, LEVEL_FIELDS)
    status = _first_like(table, _STATUS_PLACES, _STATUS_WORDS)
    return frame.assign(status=status, datum=_first_like(table, _DATUM_PLACES, _DATUM_WORDS))


def _first_like(table: pd.DataFrame, places: tuple[str, ...], pattern: str) -> pd.Series:
    """First cell of each row, among the columns `places`, that matches `pattern`."""
    result = pd.Series(pd.NA, index=table.index, dtype="string")
    for name in places:
        if name in table:
            words = as_text(table[name])
            fits = words.str.contains(pattern, case=False).fillna(False).astype(bool)
            result = result.fillna(words.where(fits))
    return result


def _daily(table: pd.DataFrame) -> pd.DataFrame:
    parts = []
    for name in table.columns[table.columns.str.match(_DAILY)]:
        part = _pick(table, {**_RDB_LEVELS, "date": "datetime", "value": name}, LEVEL_FIELDS)
        parts.append(part.assign(parameter=name.split("_")[1]))
    return pd.concat(parts).astype("string")


def _parse_json(text: str, layer: str, name: str) -> Reply | None:
    """Measurements as rows; None for features that are none of a federal service."""
    try:
        content = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise SourceFormatError(
            layer, f"{name} is not whole JSON: {error}.", "Fetch it again."
        ) from error
    kept_back = _kept_back(content)
    series = _at(content, "value", "timeSeries")
    whole = isinstance(series, list)
    rows = _waterml(series, layer, name) if whole else _features(content)
    if not rows and not whole:
        collections = _collections(content)
        if not collections:
            raise SourceFormatError(layer, f"{name} holds no measurements.", "Check the request.")
        if any(part["features"] for part in collections):
            if kept_back:
                raise cut_short(layer, [f"{name}: {kept_back}"])
            return None
    frame = pd.DataFrame(rows, columns=list(LEVEL_FIELDS), dtype="string")
    labels = pd.RangeIndex(1, len(frame) + 1).astype(str).rename("row")
    return Reply("levels", frame.set_axis(labels, axis=0), kept_back)


def cut_short(layer: str, cuts: Sequence[str]) -> SourceFormatError:
    """Error for replies that hold a part only, each named with what is missing."""
    return SourceFormatError(
        layer,
        f"only a part of the answer is here ({'; '.join(cuts)}).",
        "Ask for all of it: a higher limit, or every page in a file of its own.",
    )


def _kept_back(content: Any) -> str:
    """Say what a reply left out: a page limit, a next page, more matches than it returned."""
    for part in [content, _at(content, "properties"), *_collections(content)]:
        if _at(part, "exceededTransferLimit") is True:
            return "the service's page limit was reached"
        links = _at(part, "links")
        pages = links if isinstance(links, list) else []
        if _at(part, "next") or any(_at(link, "rel") == "next" for link in pages):
            return "there is a next page"
        matched, features = _at(part, "numberMatched"), _at(part, "features")
        given = len(features) if isinstance(features, list) else 0
        if isinstance(matched, int) and matched > given:
            return f"{given} of {matched}"
        returned = _at(part, "numberReturned")
        if isinstance(returned, int) and returned > given:
            return f"{given} of {returned}"
    return ""


def _at(content: Any, *keys: str | int) -> Any:
    """Return what stands at a place of nested JSON; None where there is no such place.

    >>> _at({"a": [{"b": 1}]}, "a", 0, "b"), _at({"a": None}, "a", 0, "b")
    (1, None)
    """
    for key in keys:
        if isinstance(key, int):
            inside = isinstance(content, list) and len(content) > key
        else:
            inside = isinstance(content, dict) and key in content
        content = content[key] if inside else None
    return content


def _cell(value: Any) -> str | None:
    """Text of a JSON value; a list or table keeps its text, so that it is told as no number."""
    nothing = value is None or value == "" or (isinstance(value, float) and isnan(value))
    return None if nothing else str(value)


def _scalar(value: Any) -> Any:
    return None if isinstance(value, list | dict) else value


def _collections(content: Any) -> list[dict[str, Any]]:
    """One feature collection, or several under their own names."""
    if not isinstance(content, dict):
        return []
    parts = [content] if "features" in content else list(content.values())
    return [part for part in parts if isinstance(_at(part, "features"), list)]


def _features(content: Any) -> list[dict[str, str | None]]:
    """Rows of the collections that hold measurements: every feature of those makes a row."""
    rows = []
    for part in _collections(content):
        found = [_at(feature, "properties") for feature in part["features"]]
        measured = [_at(p, "parameter_code") and _at(p, "value") for p in found]
        if not any(measured):
            continue
        for feature, properties in zip(part["features"], found, strict=True):
            cells = {
                "site_id": _scalar(_at(properties, "monitoring_location_id")),
                "date": _at(properties, "time"),
                "parameter": _at(properties, "parameter_code") or NO_CODE,
                "value": _at(properties, "value"),
                "unit": _at(properties, "unit_of_measure"),
                "datum": _at(properties, "vertical_datum"),
                "status": _listed(_at(properties, "qualifier")),
                "x": _at(feature, "geometry", "coordinates", 0),
                "y": _at(feature, "geometry", "coordinates", 1),
                "horizontal_datum": "WGS84",
            }
            rows.append({name: _cell(value) for name, value in cells.items()})
    return rows


def _listed(value: Any) -> str | None:
    return ", ".join(map(str, value)) if isinstance(value, list) else _cell(value)


def _waterml(series: list[Any], layer: str, name: str) -> list[dict[str, str | None]]:
    rows = []
    for one in series:
        blocks = _at(one, "values")
        entries: list[Any] = [None]
        if isinstance(blocks, list):
            entries = [_at(block, "value") for block in blocks]
        if not all(isinstance(part, list) for part in entries):
            raise SourceFormatError(layer, f"{name} is no whole reply.", "Fetch it again.")
        place = _at(one, "sourceInfo", "geoLocation", "geogLocation")
        common = {
            "site_id": _scalar(_at(one, "sourceInfo", "siteCode", 0, "value")),
            "parameter": _at(one, "variable", "variableCode", 0, "value") or NO_CODE,
            "unit": _at(one, "variable", "unit", "unitCode"),
            "x": _at(place, "longitude"),
            "y": _at(place, "latitude"),
            "horizontal_datum": "WGS84",
        }
        nothing = _at(one, "variable", "noDataValue")
        for entry in itertools.chain.from_iterable(entries):
            value = _at(entry, "value")
            known = None if _number(value) == _number(nothing) else value
            cells = common | {"date": _at(entry, "dateTime"), "value": known}
            rows.append({field: _cell(cell) for field, cell in cells.items()})
    return rows


def _number(value: Any) -> float:
    try:
        return float(value)
    except (TypeError, ValueError):
        return float("nan")
