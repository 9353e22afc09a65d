"""Planners' zones of a county: from what a run found to polygons with reasons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from riskmap.action.zone_reasons import ZoneSettings, reasons_of_cells, systems_per_cell
from riskmap.action.zones import ZoneShapes, draw_zones, in_order, zone_table
from riskmap.contract.arrays import Flags
from riskmap.contract.grid import Grid
from riskmap.contract.quantities import TRACT, text
from riskmap.contract.rules import Rules
from riskmap.failure.flow import persons
from riskmap.groundwater.screens import is_public
from riskmap.region.sections import Region
from riskmap.spatial.cells import written_in
from riskmap.spatial.scattered import boxes_around
from riskmap.stages.county import County
from riskmap.stages.groundwater import Groundwater
from riskmap.stages.vulnerability import vulnerability_grid
from riskmap.stages.wells import setback_table, well_capture, well_columns

ZONE_CELL_M: Final = 20.0
"""Side of the cells from which zones are made, about; a whole part of the groundwater's cell."""


@dataclass(frozen=True)
class Planning:
    """What planners get.

    ``zones``: polygons that do not overlap, columns of
    :data:`riskmap.contract.results.ZONES`. ``capture_zones``: one polygon per drinking-water
    well; ``chosen`` says whose area makes a zone. ``wells``: the groundwater's wells with capture,
    setback and virus columns and ``zone_id``. ``setbacks``: pairs nearer than the rules ask.
    ``settings`` used; ``notes`` in words.
    """

    zones: gpd.GeoDataFrame
    capture_zones: gpd.GeoDataFrame
    wells: gpd.GeoDataFrame
    setbacks: pd.DataFrame
    settings: ZoneSettings
    notes: tuple[str, ...]


def plan_zones(
    county: County,
    parcels: gpd.GeoDataFrame,
    groundwater: Groundwater | None,
    well_nitrate: pd.DataFrame | None,
    *,
    chosen: ArrayLike | None = None,
) -> Planning | None:
    """Draw a county's zones and complete its wells.

    Parameters
    ----------
    parcels
        The result's parcels (features and scores), index ``parcel_id``.
    groundwater
        Of the same run; None without terrain.
    well_nitrate
        What samples taught about its wells
        (:func:`riskmap.stages.well_samples.learn_from_samples`).
    chosen
        Wells (yes or no, in the order of ``groundwater.wells``) whose capture area makes a zone. By
        default public wells, and others with enough systems inside or predicted nitrate above the
        action level.

    Returns
    -------
    Planning or None
        The same input gives the same answer; None without terrain.
    """
    if groundwater is None or well_nitrate is None:
        return None
    region = county.region
    settings = region.zones
    capture = well_capture(
        groundwater,
        well_setback_m=region.rules.well_setback_m,
        water=region.groundwater,
        settings=settings,
    )
    setbacks = setback_table(groundwater, parcels, region.rules)
    wells = well_columns(groundwater, capture, setbacks, region.groundwater)
    wells = wells.assign(**well_nitrate)
    capture["chosen"] = (
        choose_wells(wells, settings) if chosen is None else np.asarray(chosen, bool)
    )
    systems = _systems(parcels, groundwater, setbacks, settings.hot_score)
    areas = county.tables.get("wellhead_areas"), capture[capture["chosen"]]
    parts = parts_with_reasons(groundwater.land, systems, areas, region)
    drawn = in_order(*(_zones_of_part(part, groundwater, systems, areas, county) for part in parts))
    table = zone_table(
        drawn,
        systems=systems,
        wells=wells,
        homes=_homes(parcels, region.rules),
        settings=settings,
        units=region.county.units,
    )
    zones = gpd.GeoDataFrame(table, geometry=drawn.shapes, crs=county.crs)
    wells = _with_zone(wells, zones)
    rule = _rule(settings) if chosen is None else "those that the planner chose"
    return Planning(
        zones,
        capture,
        wells,
        setbacks,
        settings,
        _notes(drawn, capture, rule, county),
    )


def parts_with_reasons(
    land: Grid, systems: pd.DataFrame, areas: Sequence[pd.DataFrame | None], region: Region
) -> list[tuple[slice, slice]]:
    """Find the parts of the land, as rows and columns, in which a cell may have a reason.

    Parameters
    ----------
    land
        The groundwater's cells.
    systems
        ``x_m``, ``y_m``.
    areas
        Shapes that are a reason themselves; None: there are none.
    region
        Its settings say how far from a system its reasons reach.

    Returns
    -------
    Parts that lie further from each other than any reason reaches; all land where nothing does.
    """
    zones = region.zones
    reach = max(
        zones.near_m, zones.dense_radius_m, zones.hexagon_m, region.groundwater.balance_radius_m
    )
    side = int(np.ceil((reach + zones.join_m) / land.cell_m))
    rows, columns = (-(-size // side) for size in land.values.shape)
    tile_m = side * land.cell_m
    tiles = Grid(np.zeros((rows, columns)), land.west_m, land.north_m, tile_m, tile_m)
    used = systems_per_cell(tiles, systems["x_m"], systems["y_m"]) > 0
    for shapes in areas:
        used |= _cells_of(shapes, tiles, all_touched=True)
    boxes = boxes_around(ndimage.binary_dilation(used, np.ones((3, 3), bool)))
    return [
        (slice(down.start * side, down.stop * side), slice(along.start * side, along.stop * side))
        for down, along in boxes
    ] or [(slice(0, None), slice(0, None))]


def _zones_of_part(
    part: tuple[slice, slice],
    groundwater: Groundwater,
    systems: pd.DataFrame,
    areas: tuple[pd.DataFrame | None, pd.DataFrame],
    county: County,
) -> ZoneShapes:
    land, head = groundwater.land.part(*part), groundwater.surface.head.part(*part)
    grid = zone_grid(land)
    wellhead, capture = (_cells_of(shapes, grid) for shapes in areas)
    reasons = reasons_of_cells(
        grid,
        systems,
        wellhead=wellhead,
        capture=capture,
        vulnerability_frac=_finer(vulnerability_grid(county, land, head), grid),
        water=county.region.groundwater,
        settings=county.region.zones,
        corner=(groundwater.land.west_m, groundwater.land.north_m),
    )
    return draw_zones(grid, reasons, county.region.zones, systems=systems)


def choose_wells(wells: pd.DataFrame, settings: ZoneSettings) -> Flags:
    """Wells whose capture area makes a zone, by default."""
    public = is_public(wells)
    crowded = wells["capture_systems"].to_numpy(float) >= settings.capture_systems
    bad = wells["nitrate_predicted_mg_l"].to_numpy(float) > settings.action_mg_l
    return np.asarray(public | crowded | bad, bool)


def zone_grid(land: Grid) -> Grid:
    """Cut the groundwater's cells into cells of about :data:`ZONE_CELL_M`, values carried over."""
    times = max(1, round(land.cell_m / ZONE_CELL_M))
    values = np.repeat(np.repeat(land.values, times, axis=0), times, axis=1)
    side = land.cell_m / times
    return replace(land, values=values, cell_x_m=side, cell_y_m=side)


def _finer(coarse: Grid, grid: Grid) -> NDArray[np.float64]:
    times = grid.values.shape[0] // coarse.values.shape[0]
    return np.repeat(np.repeat(coarse.values, times, axis=0), times, axis=1)


def _cells_of(areas: pd.DataFrame | None, grid: Grid, *, all_touched: bool = False) -> Flags:
    """Cells in some areas; none where there are none."""
    given = areas.geometry if isinstance(areas, gpd.GeoDataFrame) else []
    ones = ((shape, 1) for shape in given)
    cells = written_in(ones, grid, dtype="uint8", all_touched=all_touched)
    return np.asarray(cells, bool)


def _systems(
    parcels: pd.DataFrame, groundwater: Groundwater, setbacks: pd.DataFrame, score: str
) -> pd.DataFrame:
    own = parcels.loc[groundwater.systems.index]
    columns = (
        "x_m", "y_m", "age_yr", "failure_score", "groundwater_score",
        "lot_nitrate_mg_l", "chance_failing_frac",
    )  # fmt: skip
    names = dict.fromkeys((*columns, score))
    table = pd.DataFrame({name: own[name].astype(float) for name in names})
    return table.assign(
        daily_flow_l_d=groundwater.systems["daily_flow_l_d"].to_numpy(float),
        nitrogen_load_kg_yr=groundwater.systems["nitrogen_load_kg_yr"].to_numpy(float),
        setback_short=table.index.isin(setbacks["parcel_id"]),
    )


def _homes(parcels: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """Every lot with a dwelling, sewered or not, with the persons who live there."""
    homes = parcels[parcels["dwellings"].astype(float) > 0]
    people, _ = persons(
        homes["occupants"].to_numpy(float, na_value=np.nan),
        homes["bedrooms"].to_numpy(float, na_value=np.nan),
        dwellings=homes["dwellings"].to_numpy(float),
        rules=rules,
    )
    return pd.DataFrame({"x_m": homes["x_m"], "y_m": homes["y_m"], "persons": people})


def _with_zone(wells: gpd.GeoDataFrame, zones: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    well, zone = zones.sindex.query(wells.geometry, predicate="intersects")
    order = np.lexsort((-zone, well))
    names = np.full(len(wells), None, object)
    names[well[order]] = zones["zone_id"].to_numpy(object)[zone[order]]
    return wells.assign(zone_id=pd.array(names, dtype="string"))


def _rule(settings: ZoneSettings) -> str:
    return (
        f"public ones, and those with {settings.capture_systems} or more systems in their capture "
        f"area or predicted nitrate above {settings.action_mg_l:g} mg/L as N"
    )


def _notes(
    drawn: ZoneShapes, capture: gpd.GeoDataFrame, rule: str, county: County
) -> tuple[str, ...]:
    settings, units = county.region.zones, county.region.county.units
    given = county.tables.get("wellhead_areas")
    delineated = () if given is None else (
        f"{len(given):,} delineated protection areas of public wells, as the county gives them, "
        "make zones of their own.",
    )  # fmt: skip
    assumed = int((capture["pumping_l_d_evidence"] == "assumed").sum())
    return (
        *delineated,
        f"{int(capture['chosen'].sum()):,} of {len(capture):,} drinking-water wells make a capture "
        f"zone: {rule}.",
        f"The draw of {assumed:,} of {len(capture):,} wells is assumed.",
        f"Pieces smaller than {text(settings.least_area_m2, TRACT, units)} or with fewer than "
        f"{settings.least_systems} systems join a neighbor; those alone, "
        f"{text(drawn.left_out_m2, TRACT, units)} in all, are left out.",
        "Screening areas for planning. A delineation for regulation needs a licensed "
        "hydrogeologist and local data.",
    )
