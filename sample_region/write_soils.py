"""Writes a soil-survey export folder: polygons as a shapefile, tables as text without header."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely

from sample_region.plan import Plan
from sample_region.soil_columns import COLUMNS, STEMS
from sample_region.soil_map import SoilMap
from sample_region.soil_tables import AREA, Row, mukey, soil_rows
from sample_region.soil_units import UNITS
from sample_region.write_shapes import write_shapefile

ACRE_M2 = 4046.8564224
VERSION = "2.3.3"
EMPTY = ("chtexturemod", "chfrags", "chtext", "cotext", "mutext")


def write_soil_survey(folder: Path, plan: Plan, soils: SoilMap) -> None:
    """Write ``spatial`` and ``tabular`` below `folder`.

    Parameters
    ----------
    folder
        Must not hold them yet.
    plan
        Place of the local corner.
    soils
        Polygons and their map units.
    """
    tabular, spatial = folder / "tabular", folder / "spatial"
    tabular.mkdir(parents=True)
    spatial.mkdir(parents=True)
    area = np.bincount(soils.unit, shapely.area(soils.shapes), minlength=len(UNITS))
    acres = {k: round(a / ACRE_M2) for k, a in enumerate(area)}
    rows = soil_rows(acres) | {name: [] for name in EMPTY}
    rows["mdstattabs"], rows["mdstattabcols"] = _table_rows(), _column_rows()
    for table, lines in rows.items():
        (tabular / f"{STEMS[table]}.txt").write_text(_as_text(table, lines), encoding="utf-8")
    for place in (tabular, spatial):
        (place / "version.txt").write_text(VERSION + "\n", encoding="utf-8")
    _write_polygons(spatial, plan, soils)


def _write_polygons(spatial: Path, plan: Plan, soils: SoilMap) -> None:
    table = pd.DataFrame(
        {
            "AREASYMBOL": AREA,
            "SPATIALVER": 3,
            "MUSYM": [UNITS[k].symbol for k in soils.unit],
            "MUKEY": [mukey(k) for k in soils.unit],
        }
    )
    name = f"soilmu_a_{AREA.lower()}"
    write_shapefile(spatial / f"{name}.shp", soils.shapes, table, plan, crs="EPSG:4326")
    whole = np.array([shapely.union_all(soils.shapes)])
    edge = pd.DataFrame({"AREASYMBOL": [AREA], "SPATIALVER": [3], "LKEY": ["990001"]})
    name = f"soilsa_a_{AREA.lower()}"
    write_shapefile(spatial / f"{name}.shp", whole, edge, plan, crs="EPSG:4326")


def _table_rows() -> list[Row]:
    return [
        {
            "tabphyname": table,
            "tablogname": table,
            "tablabel": table,
            "tabdesc": f'Table "{table}" of an invented survey.',
            "iefilename": stem,
        }
        for table, stem in STEMS.items()
    ]


def _column_rows() -> list[Row]:
    return [
        {
            "tabphyname": table,
            "colsequence": place,
            "colphyname": column,
            "collogname": column,
            "collabel": column,
            "logicaldatatype": kind,
            "notnull": column.endswith("key"),
        }
        for table, columns in COLUMNS.items()
        for place, (column, kind) in enumerate(columns, 1)
    ]


def _as_text(table: str, rows: list[Row]) -> str:
    """Lines of a table: text in quotes, numbers bare, booleans padded to three, empty for null."""
    columns = COLUMNS[table]
    unknown = {name for row in rows for name in row} - {name for name, _ in columns}
    if unknown:
        raise KeyError(f"{table} has no column {', '.join(sorted(unknown))}")
    lines = ["|".join(_cell(row.get(name), kind) for name, kind in columns) for row in rows]
    return "".join(line + "\n" for line in lines)


def _cell(value: Any, kind: str) -> str:
    if value is None:
        return ""
    if kind == "Boolean":
        return "Yes" if value else "No "
    if kind in ("Integer", "Float"):
        return f"{value:g}" if isinstance(value, float) else str(value)
    if kind == "Date/Time":
        return str(value)
    quoted = str(value).replace('"', '""')
    return f'"{quoted}"'
