"""What a scenario's steps change at each parcel, before anything is drawn."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyogrio.errors import DataLayerError, DataSourceError

from riskmap.action.aims import on_file_as_failed
from riskmap.contract.arrays import Floats
from riskmap.contract.errors import RegionError
from riskmap.contract.suggest import nearest
from riskmap.stages.result import Result
from riskmap.whatif.steps import Plan, Step

Flags = np.ndarray


@dataclass
class Changes:
    """Changes by parcel (n,), in the order of the parcels; what is not changed is neutral.

    ``connected`` to a sewer; ``renewed``: a new system today; ``saved``: a stressed field made
    sound. ``removed_frac`` of the nitrogen by treatment, ``interval_yr`` within which tanks are
    pumped, ``times`` the water use, ``rise_m`` of all water and ``wet_rise_m`` of seasonal water.
    ``lots``: rows of the parcels that get a new house, ``persons`` in each of these; ``cost`` of
    everything, ``touched`` by step.
    """

    connected: Flags
    renewed: Flags
    saved: Flags
    removed_frac: Floats
    interval_yr: Floats
    times: Floats
    rise_m: Floats
    wet_rise_m: Floats
    lots: list[int] = field(default_factory=list)
    persons: list[float] = field(default_factory=list)
    cost: float = 0.0
    touched: list[int] = field(default_factory=list)

    def built(self) -> Flags:
        """Flag the new houses that have a system of their own: those without a sewer."""
        return ~self.connected[self.lots]


def changes_of(plan: Plan, result: Result) -> Changes:
    """Work out what a scenario changes at each parcel.

    Raises
    ------
    RegionError
        If a step names a zone, a neighborhood, a lot or a file that there is not.
    """
    parcels = result.parcels
    n = len(parcels)
    changes = Changes(
        connected=np.zeros(n, bool),
        renewed=np.zeros(n, bool),
        saved=np.zeros(n, bool),
        removed_frac=np.zeros(n),
        interval_yr=np.full(n, np.inf),
        times=np.ones(n),
        rise_m=np.zeros(n),
        wet_rise_m=np.zeros(n),
    )
    for step in plan.steps:
        touched = _apply(step, changes, result, _inside(step, plan, result))
        changes.touched.append(touched)
        changes.cost += step.cost + step.cost_each * touched
    return changes


def _apply(step: Step, changes: Changes, result: Result, inside: Flags) -> int:
    """Add a step to the changes; returns how many systems it touches."""
    ranked = result.parcels["rank"].notna().to_numpy(bool)
    if step.do == "new houses":
        changes.lots += _free_lots(step, changes, result)
        changes.persons += [step.persons] * len(step.parcels)
        return len(step.parcels)
    if step.do in ("replace oldest", "replace most harmful", "save stressed"):
        chosen = _first(step, result, inside & ranked)
        flags = changes.saved if step.do == "save stressed" else changes.renewed
        flags |= chosen
        return int(chosen.sum())
    if step.do == "sewer":
        changes.connected |= inside
    elif step.removed_frac is not None:
        changes.removed_frac[inside] = np.maximum(changes.removed_frac[inside], step.removed_frac)
    elif step.interval_yr is not None:
        changes.interval_yr[inside] = np.minimum(changes.interval_yr[inside], step.interval_yr)
    elif step.times is not None:
        changes.times[inside] *= step.times
    elif step.rise_m is not None:
        rise = changes.rise_m if step.do == "higher water" else changes.wet_rise_m
        rise[inside] += step.rise_m
    return int((inside & ranked).sum())


def _first(step: Step, result: Result, eligible: Flags) -> Flags:
    """Flag the systems that come first for a step that takes a number of them."""
    parcels = result.parcels
    by = {
        "replace oldest": "age_yr",
        "replace most harmful": "reaching",
        "save stressed": "chance_stressed_frac",
    }[step.do]
    if by not in parcels:
        raise RegionError(f"{step.title}: the county gives no elevation, so that harm is not told.")
    worth = parcels[by].to_numpy(float, na_value=np.nan)
    eligible = eligible & ~np.isnan(worth)
    if step.do == "save stressed":
        eligible &= ~on_file_as_failed(pd.DataFrame(parcels))
    order = np.lexsort((parcels["rank"].to_numpy(float, na_value=np.inf), -worth))
    chosen = np.zeros(len(parcels), bool)
    chosen[order[eligible[order]][: step.number]] = True
    return chosen


def _free_lots(step: Step, changes: Changes, result: Result) -> list[int]:
    """Rows of the parcels that get a house."""
    parcels = result.parcels
    for name in step.parcels:
        if name not in parcels.index:
            hint = nearest(name, parcels.index)
            raise RegionError(f"{step.title}: there is no parcel {name!r}.{hint}")
        if pd.notna(parcels.at[name, "rank"]):
            raise RegionError(f"{step.title}: the lot {name} has a system already.")
    lots: list[int] = parcels.index.get_indexer(pd.Index(step.parcels)).tolist()
    if len({*changes.lots, *lots}) < len(changes.lots) + len(lots):
        raise RegionError(f"{step.title}: a lot is named twice.")
    return lots


def _inside(step: Step, plan: Plan, result: Result) -> Flags:
    """Flag the parcels where a step is done; all of them where it names no place."""
    parcels = result.parcels
    if step.area:
        return _in_polygons(plan.folder / step.area, step, parcels)
    inside = np.ones(len(parcels), bool)
    if step.zones:
        if result.planning is None:
            raise RegionError(f"{step.title}: the county gives no elevation, so there is no zone.")
        zones = result.planning.zones.set_index("zone_id")
        for name in step.zones:
            if name not in zones.index:
                hint = nearest(name, zones.index)
                raise RegionError(f"{step.title}: there is no zone {name!r}.{hint}")
        inside &= _holds(zones.loc[list(step.zones)].geometry, parcels)
    if step.neighborhoods:
        areas = parcels["neighborhood"].astype(object)
        for name in step.neighborhoods:
            if name not in set(areas.dropna()):
                hint = nearest(name, sorted(set(areas.dropna())))
                raise RegionError(f"{step.title}: there is no neighborhood {name!r}.{hint}")
        inside &= areas.isin(list(step.neighborhoods)).to_numpy()
    return inside


def _in_polygons(path: Path, step: Step, parcels: gpd.GeoDataFrame) -> Flags:
    try:
        layer = gpd.read_file(path)
    except (OSError, DataSourceError, DataLayerError) as error:
        raise RegionError(
            f"{step.title}: {path.name} cannot be read as a layer of polygons. Check its name and "
            "its form (GeoJSON, GeoPackage or shapefile)."
        ) from error
    kinds = set(layer.geometry.geom_type)
    if layer.empty or not kinds <= {"Polygon", "MultiPolygon"}:
        raise RegionError(
            f"{step.title}: {path.name} holds no polygons. Draw the area as polygons."
        )
    if layer.crs is None:
        raise RegionError(
            f"{step.title}: {path.name} does not say its reference system. Save it with one."
        )
    inside = _holds(layer.to_crs(parcels.crs).geometry, parcels)
    if not inside.any():
        raise RegionError(
            f"{step.title}: no system lies inside the polygons of {path.name}. Check its "
            "reference system."
        )
    return inside


def _holds(shapes: gpd.GeoSeries, parcels: gpd.GeoDataFrame) -> Flags:
    """Flag parcels whose system lies inside."""
    x, y = places_of(parcels)
    reached = shapes[np.isfinite(shapes.bounds).all(axis=1)]  # what the system cannot hold is inf
    whole = shapely.make_valid(shapely.union_all(shapely.make_valid(reached.to_numpy())))
    shapely.prepare(whole)
    return np.asarray(shapely.contains_xy(whole, x, y))


def places_of(parcels: gpd.GeoDataFrame) -> tuple[Floats, Floats]:
    """Easting and northing of each system; where its place is not known, of the lot's middle."""
    middle = parcels.geometry.representative_point()
    x, y = (
        parcels[name].astype(float).fillna(other).to_numpy()
        for name, other in (("x_m", middle.x), ("y_m", middle.y))
    )
    return x, y
