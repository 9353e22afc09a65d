"""Planners' zones as files: a table for a plan document, and layers for a GIS."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import geopandas as gpd
import pandas as pd

from riskmap.action.zones import LABELS
from riskmap.contract.quantities import Units, shown
from riskmap.contract.results import ZONES
from riskmap.publish.gis.files import fixed_moment, one_kind, plain_column
from riskmap.publish.lists.list_columns import file_name_of
from riskmap.publish.lists.workbook import Worklist, write_workbook
from riskmap.publish.words.cautions import WATER
from riskmap.publish.words.imprint import Imprint, imprint_of
from riskmap.publish.words.text_safety import csv_text, plain_text
from riskmap.stages.result import Result

LAYERS: Final = ("zones", "capture_zones", "wells")
"""Layers of the zones' GeoPackage, in this order."""

_LISTED: Final = [column for column in ZONES.columns if column.listed is not None]

NOTES: Final = (
    ("What a zone is", "Land with the same leading reason. Zones do not overlap: land with several "
     "reasons belongs to the first of capture area, predicted nitrate, dense old systems, hot "
     "spot, vulnerable ground; further reasons are under Why."),
    ("Systems, wells, people", "Counted by place; each in one zone at most. People live there, "
     "sewered or not; on record or estimated from bedrooms."),
    ("Nitrate", "A mass balance of the neighborhood, not a measurement. The limit for public "
     "water is 10 mg/L as N (40 CFR 141.62); half of it is the level for action."),
    ("Systems expected to fail", "Sum of the chances within the run's horizon."),
    ("Use", "Screening for a plan. A well head protection area or an ordinance needs local data, "
     "a licensed hydrogeologist and the law of the state."),
    ("Caution", WATER),
)  # fmt: skip


def zone_list(folder: Path, result: Result) -> None:
    """Write the list of zones of a run that drew some."""
    plan = result.planning
    if plan is not None:
        write_zone_list(folder, plan.zones, imprint_of(result.region), notes=plan.notes)


def write_zone_list(
    folder: Path,
    zones: pd.DataFrame,
    imprint: Imprint,
    *,
    notes: Sequence[str] = (),
) -> list[Path]:
    """Write ``lists/zones.csv`` and ``lists/zones.xlsx``; returns the files written.

    Parameters
    ----------
    folder
        The result folder.
    zones
        Columns of :data:`riskmap.contract.results.ZONES`.
    imprint
        Printed at the head; acres or square meters.
    notes
        What was decided in this run, in words; they are on the workbook's second sheet.
    """
    place = folder / "lists"
    place.mkdir(parents=True, exist_ok=True)
    table, names = _in_units(pd.DataFrame(zones), imprint.units)
    path = place / "zones.csv"
    path.write_bytes(csv_text(table.rename(columns=names)).encode("utf-8"))
    worklist = Worklist(
        name="Zones",
        heading=f"{plain_text(imprint.county)}: zones for planning, {imprint.date.isoformat()}",
        table=table,
        columns=_LISTED,
        notes=[*NOTES, *((f"This run ({i})", text) for i, text in enumerate(notes, start=1))],
        units=imprint.units,
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

    Parameters
    ----------
    folder
        The result folder.
    zones, capture_zones, wells
        Layers of the run, in the county's reference system.
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
    table = zones[[column.name for column in _LISTED]].copy()
    table["kind"] = table["kind"].map(LABELS).astype(object)
    for column in _LISTED:
        if column.dtype == "number":
            table[column.name] = shown(table[column.name], column.quantity, units)
    return table, {column.name: file_name_of(column, units=units) for column in _LISTED}
