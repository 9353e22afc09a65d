"""Runs the groundwater models on a county: surface, plumes, wells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from riskmap.contract.arrays import Floats
from riskmap.contract.features import GROUNDWATER
from riskmap.contract.grid import Grid
from riskmap.contract.units import YEAR_D
from riskmap.contract.vocabulary import may_be_onsite
from riskmap.failure.flow import persons
from riskmap.failure.geometry import across_flow_m
from riskmap.groundwater.assess import (
    GroundwaterAssessment,
    assess_groundwater,
)
from riskmap.groundwater.gradient import FlowField
from riskmap.groundwater.nitrogen import neighborhood_nitrate_mg_l, present_frac
from riskmap.groundwater.rerun import Rerun, prepare_rerun
from riskmap.groundwater.settings import GroundwaterSettings
from riskmap.groundwater.water_table import WaterTable, reconcile_seasonal_high
from riskmap.inventory.soils import SURVEY_DEPTH_CM
from riskmap.inventory.wells import drinking_wells
from riskmap.spatial.cells import written_in
from riskmap.spatial.neighbors import sum_within
from riskmap.stages.county import County
from riskmap.stages.vulnerability import system_vulnerability
from riskmap.stages.water_table import WaterSurface

FARMED_WITHIN_M: Final = 500.0
"""Circle round a well in which land use counts (own choice)."""


@dataclass(frozen=True)
class Groundwater:
    """What the stage gives besides the parcels' features.

    ``wells``: one row per drinking-water well, with its risk. ``pairs``: system and well numbers
    with distance, travel time and nitrate added. ``surface``: the water table as used.
    ``notes``: how it was found, in words.
    ``land``, ``flow``, ``water_id``: terrain, flow and surface water on the grid; streams are water
    1, and waterbodies count on from there in their order. ``systems``: what was followed, index
    ``parcel_id``, in the order that ``pairs`` counts: place, persons, load, the water reached.
    ``rerun``: the same systems made ready to be assessed again under other numbers and records;
    None where no doubt is computed.
    """

    wells: gpd.GeoDataFrame
    pairs: pd.DataFrame
    surface: WaterTable
    notes: tuple[str, ...]
    land: Grid
    flow: FlowField
    water_id: NDArray[np.int64]
    systems: pd.DataFrame
    rerun: Rerun | None = None


def groundwater_features(
    county: County,
    inventory: pd.DataFrame,
    failing: pd.DataFrame,
    room: pd.DataFrame,
    chance: pd.DataFrame,
    water_surface: WaterSurface | None,
) -> tuple[pd.DataFrame, Groundwater | None]:
    """Columns of :data:`riskmap.contract.features.GROUNDWATER`, and what they rest on.

    Parameters
    ----------
    county
        Gives elevation, water levels or a water table, wells and surface water, and the settings.
    inventory, failing, room, chance
        Features of all parcels so far; index ``parcel_id``.

    Returns
    -------
    tuple
        Without an elevation raster, or without a system, all columns are unknown and the second is
        None.
    """
    features = inventory.join([failing, room, chance])
    served = may_be_onsite(features["service"])
    if water_surface is None or not served.any():
        return _unknown(features), None
    region = county.region
    land, surface = water_surface.land, water_surface.table
    systems = _systems(features[served], county)
    wells, water = _wells(county), _water_cells(county, land)
    found = assess_groundwater(
        systems, wells, surface.head, region.groundwater, region.wells, water_id=water
    )
    table = _columns(features, systems, found, region.groundwater, surface.evidence)
    table = table.join(seasonal_depth(features))
    pairs = found.pairs.assign(
        parcel_id=systems.index.to_numpy()[found.pairs["system"]],
        well_id=wells["well_id"].to_numpy()[found.pairs["well"]],
    )
    both = found.wells.columns.intersection(wells.columns)
    risk = wells.join(found.wells.rename(columns={name: f"{name}_found" for name in both}))
    reached = ["nitrogen_load_kg_yr", "water_id", "water_distance_m"]
    systems = systems.join(found.systems[reached]).assign(
        daily_flow_l_d=systems["present_frac"]
        * features["daily_flow_l_d"].reindex(systems.index).astype(float)
    )
    again = None if region.run.draws == 0 else _rerun(found, systems, wells, county, water)
    return table, Groundwater(
        risk, pairs, surface, water_surface.notes, land, found.flow, water, systems, again
    )


def _rerun(
    found: GroundwaterAssessment,
    systems: pd.DataFrame,
    wells: pd.DataFrame,
    county: County,
    water: NDArray[np.int64],
) -> Rerun:
    return prepare_rerun(
        found,
        systems,
        wells,
        county.region.groundwater,
        county.region.wells,
        daily_flow_l_d=systems["daily_flow_l_d"],
        water_id=water,
    )


def seasonal_depth(features: pd.DataFrame) -> pd.DataFrame:
    """Depth to seasonal high water: the shallower of the soil survey's and the regional surface's.

    Both are kept too, as ``wet_depth_cm`` and ``water_table_m``. A survey that saw no water down
    to its full depth does not exclude water below, so the regional depth is used then.
    """
    soil = features["wet_depth_cm"].to_numpy(float) / 100.0
    regional = features["water_table_m"].to_numpy(float)
    unseen = (soil >= SURVEY_DEPTH_CM / 100.0) & (regional > soil)
    joined = reconcile_seasonal_high(np.where(unseen, np.nan, soil), regional).set_index(
        features.index
    )
    by_soil = joined["governing"] == "soil"
    marks = features["wet_depth_cm_evidence"].where(by_soil, features["water_table_m_evidence"])
    depth = joined["seasonal_high_depth_m"]
    return pd.DataFrame(
        {
            "seasonal_depth_m": depth,
            "seasonal_depth_m_evidence": marks.where(depth.notna(), "unknown"),
            "seasonal_depth_by": joined["governing"],
        }
    )


def _unknown(features: pd.DataFrame) -> pd.DataFrame:
    seasonal = seasonal_depth(features)
    names = [f.name for f in GROUNDWATER if f.evidence and f.name not in seasonal]
    table = pd.DataFrame(np.nan, index=features.index, columns=names)
    marks = pd.DataFrame("unknown", features.index, [f"{name}_evidence" for name in names])
    return table.join(marks).join(seasonal)


def _water_cells(county: County, land: Grid) -> NDArray[np.int64]:
    """Write the number of the surface water in each cell, 0 on land; streams are one water."""
    shapes: list[tuple[Any, int]] = []
    bodies, streams = county.tables.get("waterbodies"), county.tables.get("streams")
    if isinstance(streams, gpd.GeoDataFrame):
        shapes += [(shape, 1) for shape in streams.geometry]
    if isinstance(bodies, gpd.GeoDataFrame):
        shapes += [(shape, number) for number, shape in enumerate(bodies.geometry, start=2)]
    cells = written_in(shapes, land, dtype="int32", all_touched=True)
    return np.asarray(cells, np.int64)


def _systems(features: pd.DataFrame, county: County) -> pd.DataFrame:
    people, _ = persons(
        features["occupants"].to_numpy(float),
        features["bedrooms"].to_numpy(float),
        dwellings=features["dwellings"].to_numpy(float),
        rules=county.region.rules,
    )
    year, built = county.region.county.date.year, county.tables["parcels"]
    first = built.groupby("parcel_id")["year_built"].min().astype(float).reindex(features.index)
    house_yr = np.asarray(year - first, np.float64)
    present = present_frac(features["land_use"].to_numpy(object), county.region.groundwater)
    return pd.DataFrame(
        {
            "x_m": features["x_m"],
            "y_m": features["y_m"],
            "persons": people * present,
            "present_frac": present,
            "kind": features["kind"].fillna("unknown"),
            "house_yr": house_yr,
            "age_yr": fed_yr(features["age_yr"].to_numpy(float), np.asarray(house_yr, np.float64)),
            "chance_failing_frac": features["chance_failing_frac"],
            "vulnerability_frac": system_vulnerability(features, county),
            "treatment_removal_frac": features["nitrogen_removed_frac"],
            "field_width_m": across_flow_m(
                features["kind"].fillna("unknown").to_numpy(object),
                features["field_area_used_m2"].to_numpy(float),
                length_to_width=county.region.rules.length_to_width,
            ),
        },
        index=features.index,
    )


def fed_yr(age_yr: Floats, house_yr: Floats) -> Floats:
    """Years since a plume has been fed: since the first house stood, whatever was repaired since.

    Parameters
    ----------
    age_yr, house_yr
        Age of the present system and of the house (n,), NaN where unknown.
    """
    return np.asarray(np.fmax(age_yr, house_yr), float)


def _wells(county: County) -> gpd.GeoDataFrame:
    table = county.tables.get("wells")
    if not isinstance(table, gpd.GeoDataFrame):
        empty: dict[str, list[float]] = {name: [] for name in ("well_id", "x_m", "y_m")}
        return gpd.GeoDataFrame(empty, geometry=gpd.GeoSeries([], crs=county.crs))
    wells = drinking_wells(table).reset_index(drop=True)
    drilled = wells["drilled"].dt.year.astype(float)
    return wells.assign(
        x_m=wells.geometry.x,
        y_m=wells.geometry.y,
        age_yr=county.region.county.date.year - drilled,
        farmed_frac=farmed_frac(county.tables["parcels"], wells),
    )


def farmed_frac(parcels: pd.DataFrame, wells: gpd.GeoDataFrame) -> Floats:
    """Share of the land around each well that is farmed, by the parcels' use; NaN where unknown.

    Parameters
    ----------
    parcels
        The canonical parcels; each counts whole where its middle lies.
    wells
        Points (w,).
    """
    used = parcels[parcels["land_use"].notna().to_numpy()] if "land_use" in parcels else parcels[:0]
    if not isinstance(used, gpd.GeoDataFrame) or not len(used) or not len(wells):
        return np.full(len(wells), np.nan)
    middle, area = used.geometry.centroid, used.geometry.area.to_numpy()
    farmed = np.where((used["land_use"] == "farm").to_numpy(bool), area, 0.0)
    sums = sum_within(
        middle.x, middle.y, np.column_stack([farmed, area]),
        target_x_m=wells.geometry.x, target_y_m=wells.geometry.y, radius_m=FARMED_WITHIN_M,
    )  # fmt: skip
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(sums[:, 0] / sums[:, 1], float)


def _columns(
    features: pd.DataFrame,
    systems: pd.DataFrame,
    found: GroundwaterAssessment,
    settings: GroundwaterSettings,
    evidence: str,
) -> pd.DataFrame:
    each = found.systems
    balance = neighborhood_nitrate_mg_l(
        systems["x_m"],
        systems["y_m"],
        load_kg_yr=each["nitrogen_load_kg_yr"],
        flow_l_d=systems["present_frac"] * features["daily_flow_l_d"].reindex(systems.index),
        target_x_m=systems["x_m"],
        target_y_m=systems["y_m"],
        settings=settings,
    )
    values = {
        "nitrogen_kg_yr": each["nitrogen_load_kg_yr"],
        "vulnerability": systems["vulnerability_frac"],
        "reaching": each["groundwater_score_frac"],
        "wells_soon": each["wells_soon"],
        "wells_reached": each["wells_reached"],
        "nearest_reached_m": each["nearest_well_m"],
        "travel_time_yr": each["nearest_well_d"] / YEAR_D,
        "nitrate_given_mg_l": each["largest_added_mg_l"],
        "water_travel_time_yr": each["water_travel_time_d"] / YEAR_D,
        "lot_nitrate_mg_l": pd.Series(balance, index=systems.index),
    }
    table = pd.DataFrame(values).astype(float).reindex(features.index)
    mark = "assumed" if evidence == "assumed" else "inferred"
    for name in list(table):
        table[f"{name}_evidence"] = np.where(table[name].notna(), mark, "unknown")
    ordered = [column for name in values for column in (name, f"{name}_evidence")]
    return table[ordered]
