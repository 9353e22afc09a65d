"""Planners' zones as files: a table for a plan document, and layers for a GIS."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.action.zones import LABELS, ZONE_COLUMNS
from riskmap.publish.gis.files import fixed_moment, one_kind, plain_column
from riskmap.publish.lists.list_columns import ListColumn
from riskmap.publish.lists.workbook import Worklist, write_workbook
from riskmap.publish.words.cautions import WATER
from riskmap.publish.words.display import Units, readable
from riskmap.publish.words.text_safety import csv_text, plain_text

LAYERS: Final = ("zones", "capture_zones", "wells")
"""Layers of the zones' GeoPackage, in this order."""

_SHOWN: Final = {
    "zone_id": ("Zone", 7),
    "kind": ("Kind", 18),
    "why": ("Why", 60),
    "area_m2": ("Area", 9),
    "systems": ("Systems", 9),
    "wells": ("Wells", 7),
    "people": ("People", 8),
    "systems_per_km2": ("Systems", 10),
    "mean_age_yr": ("Mean age (years)", 9),
    "mean_failure_score": ("Mean failure score", 9),
    "mean_groundwater_score": ("Mean groundwater score", 12),
    "failing_expected": ("Systems expected to fail", 10),
    "mean_nitrate_mg_l": ("Mean nitrate predicted (mg/L as N)", 11),
    "worst_nitrate_mg_l": ("Highest nitrate predicted (mg/L as N)", 11),
    "nitrogen_kg_yr": ("Nitrogen to groundwater", 12),
    "setback_short": ("Systems short of a setback", 10),
}
_DECIMALS: Final = {
    "area_m2": 2, "mean_failure_score": 0, "mean_groundwater_score": 0, "failing_expected": 1,
    "mean_nitrate_mg_l": 1, "worst_nitrate_mg_l": 1, "mean_age_yr": 0, "nitrogen_kg_yr": 0,
}  # fmt: skip
_IN_UNITS: Final = ("area_m2", "systems_per_km2")
_WRAPPED: Final = {"kind", "why"}

NOTES: Final = (
    ("What a zone is", "Land with the same leading reason. Zones do not overlap: land with several "
     "reasons belongs to the first of capture area, predicted nitrate, dense old systems, hot "
     "spot, vulnerable ground; further reasons stand under Why."),
    ("Systems, wells, people", "Counted by place; each in one zone at most. People live there, "
     "sewered or not; on record or estimated from bedrooms."),
    ("Nitrate", "A mass balance of the neighborhood, not a measurement. The limit for public "
     "water is 10 mg/L as N (40 CFR 141.62); half of it is the level for action."),
    ("Systems expected to fail", "Sum of the chances within the run's horizon."),
    ("Use", "Screening for a plan. A well head protection area or an ordinance needs local data, "
     "a licensed hydrogeologist and the law of the state."),
    ("Caution", WATER),
)  # fmt: skip


def write_zone_list(
    folder: Path,
    zones: pd.DataFrame,
    *,
    county: str,
    date: datetime.date,
    units: Units = "us",
    notes: Sequence[str] = (),
) -> list[Path]:
    """Write ``lists/zones.csv`` and ``lists/zones.xlsx``; returns the files written.

    Parameters
    ----------
    folder
        The result folder.
    zones
        Columns of :data:`riskmap.action.zones.ZONE_COLUMNS`.
    county, date, units
        Heading; acres or square meters.
    notes
        What was decided in this run, in words; they stand on the workbook's second sheet.
    """
    place = folder / "lists"
    place.mkdir(parents=True, exist_ok=True)
    table, names = _in_units(pd.DataFrame(zones), units)
    path = place / "zones.csv"
    path.write_bytes(csv_text(table.rename(columns=names)).encode("utf-8"))
    worklist = Worklist(
        name="Zones",
        heading=f"{plain_text(county)}: zones for planning, {date.isoformat()}",
        table=table,
        columns=[_column(name, units) for name in table.columns],
        notes=[*NOTES, *((f"This run ({i})", text) for i, text in enumerate(notes, start=1))],
        units=units,
        decimals={name: "0." + "0" * n if n else "0" for name, n in _DECIMALS.items()},
        frozen=2,
    )
    return [path, write_workbook(place / "zones.xlsx", worklist)]


def write_zone_layers(
    folder: Path,
    zones: gpd.GeoDataFrame,
    capture_zones: gpd.GeoDataFrame,
    wells: gpd.GeoDataFrame,
) -> Path:
    """Write ``zones.gpkg`` with the layers :data:`LAYERS`; returns its path.

    Values are SI. The same county gives the same bytes.
    """
    path = folder / "zones.gpkg"
    path.unlink(missing_ok=True)
    with fixed_moment():
        for name, layer in zip(LAYERS, (zones, capture_zones, wells), strict=True):
            _plain(layer).to_file(path, driver="GPKG", layer=name, engine="pyogrio", index=False)
    return path


def _plain(layer: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    table = layer.reset_index(drop=True).copy()
    for name in table.columns.drop(table.geometry.name):
        table[name] = plain_column(table[name])
    return table.set_geometry(one_kind(table.geometry))


def _in_units(zones: pd.DataFrame, units: Units) -> tuple[pd.DataFrame, dict[str, str]]:
    """Columns as people read them; names for the CSV file that say the unit."""
    table = zones[list(_SHOWN)].copy()
    table["kind"] = table["kind"].map(LABELS).astype(object)
    names: dict[str, str] = {}
    for name in _IN_UNITS:
        factor, _, names[name] = _reading(name, units)
        table[name] = np.round(table[name].astype(float) * factor, _DECIMALS.get(name, 0))
    for name, decimals in _DECIMALS.items():
        if name not in _IN_UNITS:
            table[name] = table[name].astype(float).round(decimals)
    return table, names


def _reading(name: str, units: Units) -> tuple[float, str, str]:
    if name == "area_m2":
        reading = readable("area_m2", units="us")
        return (reading.factor, "acres", "acres") if units == "us" else (1e-4, "ha", "area_ha")
    reading = readable("systems_per_km2", units=units)
    short = "per_square_mile" if units == "us" else "per_km2"
    return reading.factor, reading.unit, f"systems_{short}"


def _column(name: str, units: Units) -> ListColumn:
    title, width = _SHOWN[name]
    if name == "area_m2":
        title = f"{title} ({_reading(name, units)[1]})"
    elif name == "systems_per_km2":
        title = f"{title} {_reading(name, units)[1]}"
    elif name == "nitrogen_kg_yr":
        title = f"{title} (kg/year)"
    return ListColumn(name, title, width, ZONE_COLUMNS[name], "this run", name in _WRAPPED)
