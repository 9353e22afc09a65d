"""What a run says of each well: where its water comes from, setbacks, viruses."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from riskmap.action.zone_reasons import ZoneSettings
from riskmap.contract.arrays import Floats
from riskmap.contract.rules import Rules
from riskmap.contract.units import YEAR_D
from riskmap.groundwater.screens import is_public
from riskmap.groundwater.setbacks import distance_beside_time, setback_violations, virus_aquifer
from riskmap.groundwater.settings import GroundwaterSettings
from riskmap.groundwater.zones import Zones, capture_zones, systems_inside
from riskmap.stages.groundwater import Groundwater

MOST_LOG10: Final = 20.0
"""Reductions of viruses beyond this say no more than this."""


def well_capture(
    groundwater: Groundwater,
    *,
    well_setback_m: float,
    water: GroundwaterSettings,
    settings: ZoneSettings,
) -> gpd.GeoDataFrame:
    """Capture area of every drinking-water well along the curved flow path.

    Where the water table has no direction a circle of fixed radius is used. The circle of the
    region's setback round the well is part of every area.

    Parameters
    ----------
    groundwater
        The stage's wells (with their draw, ``flow_l_d``), systems and flow.
    well_setback_m
        The region's setback.
    water
        Thickness of the aquifer, and the doubt of the flow's direction, by which areas are widened.
    settings
        Travel times.

    Returns
    -------
    GeoDataFrame
        One row per well, in the order of ``groundwater.wells``: ``well_id``, ``use``, ``method``
        ("curved path", "fixed radius", "unknown"), ``capture_yr``, ``pumping_l_d`` with evidence,
        ``area_m2``, ``systems``, ``nitrogen_kg_yr`` (of the systems inside), shape.
    """
    wells, systems = groundwater.wells, groundwater.systems
    public = is_public(wells)
    pumped = wells["flow_l_d"].to_numpy(float)
    years = np.where(public, settings.public_capture_yr, settings.capture_yr)
    x, y = wells["x_m"].to_numpy(float), wells["y_m"].to_numpy(float)
    rings: list[Floats] = [np.empty((0, 2))] * len(wells)
    method = np.full(len(wells), "unknown", object)
    for chosen, time_yr in ((public, settings.public_capture_yr), (~public, settings.capture_yr)):
        if not chosen.any():
            continue
        found = capture_zones(
            x[chosen], y[chosen], pumping_m3_d=pumped[chosen] / 1000.0, field=groundwater.flow,
            thickness_m=water.thickness_m, time_d=time_yr * YEAR_D,
            widen_deg=water.direction_sd_deg, water_id=groundwater.water_id,
        )  # fmt: skip
        method[chosen] = found.method
        for place, ring in zip(np.flatnonzero(chosen), found.rings, strict=True):
            rings[place] = ring
    shapes = _with_setback(rings, x, y, well_setback_m)
    owner, inside = systems_inside(
        Zones([shapely.get_coordinates(shape) for shape in shapes], method),
        systems["x_m"], systems["y_m"],
    )  # fmt: skip
    load = systems["nitrogen_load_kg_yr"].to_numpy(float)[inside]
    table = {
        "well_id": wells["well_id"].to_numpy(object),
        "use": wells["use"].to_numpy(object) if "use" in wells else None,
        "method": method,
        "capture_yr": years,
        "pumping_l_d": pumped,
        "pumping_l_d_evidence": wells["flow_l_d_evidence"].to_numpy(object),
        "area_m2": shapely.area(shapes),
        "systems": np.bincount(owner, minlength=len(wells)),
        "nitrogen_kg_yr": np.bincount(owner, load, minlength=len(wells)),
    }
    return gpd.GeoDataFrame(table, geometry=shapes, crs=wells.crs)


def _with_setback(
    rings: list[Floats], x: Floats, y: Floats, setback_m: float
) -> NDArray[np.object_]:
    """Polygon of each ring joined with the setback circle: one part without holes, always."""
    areas = np.array(
        [shapely.Polygon(ring) if len(ring) >= 4 else shapely.Polygon() for ring in rings], object
    )
    circles = shapely.buffer(shapely.points(x, y), setback_m, quad_segs=8)
    joined = shapely.union(shapely.make_valid(areas), circles)
    return np.array([_largest(shape) for shape in np.atleast_1d(joined)], object)


def _largest(shape: shapely.Geometry) -> shapely.Geometry:
    parts = shapely.get_parts(shape)
    largest = parts[int(np.argmax(shapely.area(parts)))] if len(parts) else shapely.Polygon()
    return shapely.Polygon(shapely.get_exterior_ring(largest))


def setback_table(groundwater: Groundwater, parcels: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """Systems that are nearer to a well or to surface water than the region's rules ask.

    Parameters
    ----------
    groundwater
        Its wells and systems.
    parcels
        All parcels with the distance to streams and lakes; index ``parcel_id``.
    rules
        Setbacks, m.

    Returns
    -------
    DataFrame
        ``parcel_id``, ``to`` ("well", "stream", "lake or river"), ``well_id`` (missing for water),
        ``distance_m``, ``required_m``, ``short_by_m``; sorted by parcel, then distance. Measured
        from the middle of the likely treatment area.
    """
    wells, systems = groundwater.wells, groundwater.systems
    near = setback_violations(
        systems["x_m"], systems["y_m"], well_x_m=wells["x_m"], well_y_m=wells["y_m"],
        required_m=rules.well_setback_m,
    )  # fmt: skip
    parts = [
        pd.DataFrame(
            {
                "parcel_id": systems.index.to_numpy(object)[near["system"]],
                "to": "well",
                "well_id": wells["well_id"].to_numpy(object)[near["well"]],
                "distance_m": near["distance_m"],
                "required_m": rules.well_setback_m,
            }
        )
    ]
    onsite = parcels.loc[systems.index]
    for name, column in (
        ("stream", "stream_distance_m"), ("lake or river", "waterbody_distance_m")
    ):  # fmt: skip
        close = onsite[onsite[column] < rules.water_setback_m]
        parts.append(
            pd.DataFrame(
                {
                    "parcel_id": close.index.to_numpy(object),
                    "to": name,
                    "well_id": None,
                    "distance_m": close[column].to_numpy(float),
                    "required_m": rules.water_setback_m,
                }
            )
        )
    table = pd.concat([part for part in parts if len(part)] or parts[:1], ignore_index=True)
    table["short_by_m"] = table["required_m"] - table["distance_m"]
    return table.sort_values(["parcel_id", "distance_m", "to"], ignore_index=True, kind="stable")


def well_columns(
    groundwater: Groundwater,
    capture: gpd.GeoDataFrame,
    setbacks: pd.DataFrame,
    settings: GroundwaterSettings,
) -> gpd.GeoDataFrame:
    """Give ``groundwater.wells`` the capture, setback and virus columns.

    ``leading_system``, a row of the run, becomes ``leading_parcel_id``, which people can look up.
    Adds ``capture_method``, ``capture_yr``, ``capture_m2``, ``capture_systems``,
    ``capture_nitrogen_kg_yr``; ``setback_short_systems``, ``nearest_short_m``; and of the system
    whose water is there first: ``virus_distance_m``, ``virus_time_d``, ``virus_log10`` (20 or more
    reads as 20), ``virus_needed_d`` (seven log), ``published_low_m``, ``published_high_m`` (twelve
    log), ``against_published``.

    Parameters
    ----------
    groundwater
        Its wells, systems and pairs.
    capture
        Capture area of each well, in the wells' order.
    setbacks
        From :func:`setback_table`.
    settings
        Temperature of the ground water, and the aquifer of wells that name none.
    """
    wells = groundwater.wells.copy()
    if "leading_system" in wells:
        leader = wells.pop("leading_system").to_numpy(np.int64)
        parcels = groundwater.systems.index.to_numpy(object)
        named = [parcels[row] if row >= 0 else None for row in leader]
        wells["leading_parcel_id"] = pd.array(named, dtype="string")
    for name, source in (
        ("capture_method", "method"), ("capture_yr", "capture_yr"), ("capture_m2", "area_m2"),
        ("capture_systems", "systems"), ("capture_nitrogen_kg_yr", "nitrogen_kg_yr"),
    ):  # fmt: skip
        wells[name] = capture[source].to_numpy()
    short = setbacks[setbacks["to"] == "well"].groupby("well_id")["distance_m"]
    wells["setback_short_systems"] = wells["well_id"].map(short.size()).fillna(0).astype(np.int64)
    wells["nearest_short_m"] = wells["well_id"].map(short.min()).astype(float)
    first = (
        groundwater.pairs.sort_values(["travel_time_d", "distance_m", "system"], kind="stable")
        .drop_duplicates("well")
        .set_index("well")
        .reindex(np.arange(len(wells)))
    )
    unnamed = pd.Series(pd.NA, wells.index, dtype="string")
    known = wells["aquifer"].astype("string") if "aquifer" in wells else unnamed
    compared = distance_beside_time(
        first["distance_m"],
        first["travel_time_d"],
        temperature_c=settings.temperature_c,
        aquifer=virus_aquifer(known.fillna(settings.aquifer).to_numpy(object)),
    )
    for name, source in (
        ("virus_distance_m", "distance_m"), ("virus_time_d", "travel_time_d"),
        ("virus_log10", "virus_log10"), ("virus_needed_d", "needed_time_d"),
        ("published_low_m", "published_low_m"), ("published_high_m", "published_high_m"),
        ("against_published", "against_published"),
    ):  # fmt: skip
        wells[name] = compared[source].to_numpy()
    wells["virus_log10"] = wells["virus_log10"].clip(upper=MOST_LOG10)
    return wells
