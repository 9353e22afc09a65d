"""Parses replies of the federal water-level services into one raw form.

Understood: RDB of levels, of daily values and of sites; the discrete-level table with one row per
measurement; OGC feature JSON; WaterML as JSON. All heights in those replies are in feet except
where a parameter code or a unit says otherwise.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

import pandas as pd

from data_pipelines.columns import find_column
from data_pipelines.tables import parse_delimited, read_text
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


def parse_reply(path: Path, *, layer: str) -> tuple[str, pd.DataFrame] | None:
    """Parse one file: ("levels", frame), ("sites", frame), or None if it is no federal reply.

    Raises
    ------
    SourceFormatError
        If it is a federal reply that holds no water levels (statistics, another service's error).
    """
    text = read_text(path, layer)
    if text.lstrip().startswith(("{", "[")):
        frame = _parse_json(text, layer, path.name)
        return None if frame is None else ("levels", frame)
    table = parse_delimited(text, layer=layer, name=path.name)
    names = [str(name) for name in table.columns]
    if find_column("lev_va", names) or find_column("sl_lev_va", names):
        return "levels", _pick(table, _RDB_LEVELS, LEVEL_FIELDS)
    if find_column("display_result", names):
        return "levels", _discrete(table)
    daily = table.columns.str.extract(_DAILY, expand=False).dropna()
    if len(daily) and find_column("site_no", names):
        return "levels", _daily(table)
    if find_column("dec_lat_va", names) and find_column("site_no", names):
        return "sites", _pick(table, _RDB_LEVELS, SITE_FIELDS)
    if find_column("decimal_latitude", names) and find_column(_DISCRETE["site_id"], names):
        return "sites", _pick(table, _DISCRETE, SITE_FIELDS)
    if find_column("site_no", names) and find_column("agency_cd", names):
        raise SourceFormatError(
            layer,
            f"{path.name} is a federal reply without water levels "
            f"(columns {', '.join(names[:8])}).",
            "Fetch the levels, not statistics or other parameters.",
        )
    return None


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


def _parse_json(text: str, layer: str, name: str) -> pd.DataFrame | None:
    """Measurements as rows; None for features that are none of a federal service."""
    try:
        content = json.loads(text)
    except json.JSONDecodeError as error:
        raise SourceFormatError(
            layer, f"{name} is not whole JSON: {error}.", "Fetch it again."
        ) from error
    series = content.get("value", {}).get("timeSeries") if isinstance(content, dict) else None
    rows = _waterml(series) if series is not None else _features(content)
    if not rows and series is None:
        collections = _collections(content)
        if not collections:
            raise SourceFormatError(layer, f"{name} holds no measurements.", "Check the request.")
        if any(part["features"] for part in collections):
            return None
    frame = pd.DataFrame(rows, columns=list(LEVEL_FIELDS), dtype="string")
    return frame.set_axis(pd.RangeIndex(1, len(frame) + 1).astype(str).rename("row"), axis=0)


def _collections(content: Any) -> list[dict[str, Any]]:
    """One feature collection, or several under their own names."""
    if not isinstance(content, dict):
        return []
    parts = [content] if "features" in content else list(content.values())
    return [part for part in parts if isinstance(part, dict) and "features" in part]


def _features(content: Any) -> list[dict[str, object]]:
    features = [feature for part in _collections(content) for feature in part["features"]]
    rows = []
    for feature in features:
        properties = feature.get("properties") or {}
        if "parameter_code" not in properties or "value" not in properties:
            continue
        place = (feature.get("geometry") or {}).get("coordinates") or (None, None)
        rows.append(
            {
                "site_id": properties.get("monitoring_location_id"),
                "date": properties.get("time"),
                "parameter": properties["parameter_code"],
                "value": properties["value"],
                "unit": properties.get("unit_of_measure"),
                "datum": properties.get("vertical_datum"),
                "status": _listed(properties.get("qualifier")),
                "x": place[0],
                "y": place[1],
                "horizontal_datum": "WGS84",
            }
        )
    return rows


def _listed(value: Any) -> str | None:
    if value is None:
        return None
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)


def _waterml(series: list[dict[str, Any]]) -> list[dict[str, object]]:
    rows = []
    for one in series:
        place = one["sourceInfo"].get("geoLocation", {}).get("geogLocation", {})
        variable = one["variable"]
        empty = float(variable.get("noDataValue", -999999.0))
        common = {
            "site_id": one["sourceInfo"]["siteCode"][0]["value"],
            "parameter": variable["variableCode"][0]["value"],
            "unit": variable.get("unit", {}).get("unitCode"),
            "x": place.get("longitude"),
            "y": place.get("latitude"),
            "horizontal_datum": "WGS84",
        }
        for block in one.get("values", []):
            for value in block.get("value", []):
                known = float(value["value"]) != empty
                rows.append(
                    {
                        **common,
                        "date": value["dateTime"],
                        "value": value["value"] if known else None,
                    }
                )
    return rows
