"""Who lives where: parcels with houses, the year each was built, water and sewer, wells and fields.

Everything here is true in the invented county; what its offices recorded of it is in `records`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from sample_region.bend import Bend
from sample_region.dice import dice
from sample_region.districts import STYLES, Tiles, make_tiles
from sample_region.farms import farm_lots
from sample_region.lots import lattice_lots, shore_lots
from sample_region.names import neighborhood, street
from sample_region.plan import YEAR, Floats, Ints, Plan, Shapes
from sample_region.terrain import Terrain

KINDS = ("core", "fringe", "subdivision", "shore", "roadside", "farm")
VACANT = {"core": 0.05, "fringe": 0.06, "subdivision": 0.08, "shore": 0.07, "roadside": 0.03}
SETBACK_M = {"core": 6, "fringe": 8, "subdivision": 13, "shore": 22, "roadside": 24, "farm": 32}


Length = Floats | pd.Series


@dataclass(frozen=True)
class Settlement:
    """Parcels (local meters), their table, footprints and the county's land-use tiles."""

    shapes: Shapes
    table: pd.DataFrame
    footprints: Shapes
    footprint_parcel: Ints
    tiles: Tiles


def make_settlement(plan: Plan, terrain: Terrain) -> Settlement:
    """Settle the county."""
    bend = Bend(plan.seed)
    tiles = make_tiles(plan, terrain, bend)
    groups = [lattice_lots(plan, tiles, bend), shore_lots(plan), farm_lots(plan, tiles, bend)]
    shapes = np.concatenate([group.shapes for group in groups])
    table = pd.concat([group.table for group in groups], ignore_index=True)
    table["area_m2"] = shapely.area(shapes)
    shapes, table = _in_order(shapes, table)
    _build(table, plan)
    _serve(table, plan)
    _people(table, plan)
    _name(table, plan)
    _place(table, plan)
    footprints, owner = _footprints(table, plan)
    return Settlement(shapes, table, footprints, owner, tiles)


def point_in_lot(table: pd.DataFrame, inward_m: Length, along_m: Length) -> tuple[Floats, Floats]:
    """Ground position of a point so far in from the road and so far along it.

    Parameters
    ----------
    table
        Frames of the lots, see :class:`sample_region.lots.Lots`.
    inward_m, along_m
        Distance from the road into the lot, and along the road from the middle of the front, m.
    """
    x = table.front_x + table.in_x * inward_m - table.in_y * along_m
    y = table.front_y + table.in_y * inward_m + table.in_x * along_m
    return x.to_numpy(float), y.to_numpy(float)


def _in_order(shapes: Shapes, table: pd.DataFrame) -> tuple[Shapes, pd.DataFrame]:
    """Sort the parcels by section, like a real tax roll, not by how they were made."""
    x, y = shapely.get_x(shapely.centroid(shapes)), shapely.get_y(shapely.centroid(shapes))
    section = (np.maximum(y, 0) // 1600) * 1000 + np.maximum(x, 0) // 1600
    order = np.lexsort((x, np.round(y, -1), table.place, section))
    section = section[order].astype(int)
    table = table.iloc[order].reset_index(drop=True)
    rank = table.groupby(section).cumcount() + 1
    table["parcel_id"] = [
        f"{s // 1000 + 11:02d}-{s % 1000 + 21:02d}-{r:04d}"
        for s, r in zip(section, rank, strict=True)
    ]
    table["section"] = section
    return shapes[order], table


def _build(table: pd.DataFrame, plan: Plan) -> None:
    rng = dice(plan.seed, "built")
    count = len(table)
    style = table["style"].to_numpy()
    lattice = table.kind.isin(["core", "fringe", "subdivision"]).to_numpy()
    first = np.array([s.first_year for s in STYLES])[np.where(lattice, style, 0)]
    last = np.array([s.last_year for s in STYLES])[np.where(lattice, style, 0)]
    year = first + (last - first) * rng.beta(1.3, 1.6, count)
    late = lattice & (rng.random(count) < 0.07)
    year = np.where(late, year + rng.exponential(14, count), year)
    shore = (table.kind == "shore").to_numpy()
    rebuilt = rng.random(count) < 0.22
    cottage = np.where(
        rebuilt, rng.uniform(1985, YEAR, count), rng.triangular(1928, 1955, 1978, count)
    )
    year = np.where(shore, cottage, year)
    rural = table.kind.isin(["roadside", "farm"]).to_numpy()
    old_farm = (table.kind == "farm").to_numpy() & (rng.random(count) < 0.6)
    country = np.where(
        old_farm, rng.uniform(1885, 1945, count), rng.triangular(1945, 1985, YEAR, count)
    )
    year = np.where(rural, country, year)
    vacant = rng.random(count) < table.kind.map(VACANT).fillna(0.12).to_numpy()
    unbuilt = vacant | table.front_x.isna().to_numpy() | (year > YEAR)
    table["improved"] = ~unbuilt
    table["built"] = np.where(unbuilt, np.nan, np.floor(year))


def _serve(table: pd.DataFrame, plan: Plan) -> None:
    rng = dice(plan.seed, "served")
    share = table.kind.map({"core": 0.965, "fringe": 0.05}).fillna(0.0).to_numpy()
    sewered = rng.random(len(table)) < share
    service = np.where(table.improved, np.where(sewered, "sewer", "onsite"), "none")
    table["service"] = service
    public = (table.kind == "core").to_numpy() | (
        (table.kind == "fringe").to_numpy() & (rng.random(len(table)) < 0.4)
    )
    table["well"] = table.improved.to_numpy() & ~public


def _people(table: pd.DataFrame, plan: Plan) -> None:
    rng = dice(plan.seed, "people")
    count = len(table)
    shore = (table.kind == "shore").to_numpy()
    shift = np.where(shore, -0.7, 0.0) + np.where(table.built > 1990, 0.4, 0.0)
    bedrooms = np.clip(np.round(rng.normal(3.0 + shift, 0.8)), 1, 6)
    seasonal = shore & (rng.random(count) < 0.55)
    persons = 1 + rng.binomial(5, np.clip(0.09 + 0.07 * bedrooms, 0, 0.8))
    improved = table.improved.to_numpy()
    table["bedrooms"] = np.where(improved, bedrooms, np.nan)
    table["persons"] = np.where(improved, persons, 0)
    table["seasonal"] = seasonal & improved
    area = (28 + 38 * bedrooms) * rng.lognormal(0, 0.22, count)
    table["living_m2"] = np.where(improved, area, np.nan)
    table["absentee"] = rng.random(count) < np.where(seasonal, 0.85, 0.14)


def _name(table: pd.DataFrame, plan: Plan) -> None:
    rng = dice(plan.seed, "names")
    subdivision = table.kind.isin(["subdivision"]).to_numpy()
    code = np.unique(table.place.to_numpy() + 10, return_inverse=True)[1]
    shuffled = rng.permutation(int(code.max()) + 1) * 5
    name = neighborhood(shuffled[code])
    fixed = {"core": "Fenwick Nowhere Village", "fringe": "Old Nowhere Addition"}
    lake = np.array([f"Lake Mizzlemere {n + 1} Shores" for n in np.maximum(table.place, 0)], object)
    town = np.array([f"Unplatted Section {s}" for s in table.section], object)
    other = np.where(table.kind == "shore", lake, table.kind.map(fixed).fillna("").to_numpy())
    other = np.where(other == "", town, other)
    table["neighborhood"] = np.where(subdivision, name, other)
    road = street(
        (table.section * 7 + np.maximum(table.place, 0) * 3 + table.index // 40).to_numpy()
    )
    number = 100 + (np.arange(len(table)) % 460) * 2
    table["address"] = [f"{n} {r}" for n, r in zip(number, road, strict=True)]


def _place(table: pd.DataFrame, plan: Plan) -> None:
    """Place the house, the drain field and the well on the lot."""
    rng = dice(plan.seed, "placed")
    count = len(table)
    depth, width = table.depth_m.to_numpy(), table.width_m.to_numpy()
    house_w = np.minimum(np.sqrt(table.living_m2) * rng.uniform(0.95, 1.35, count), width - 5)
    house_d = np.clip(table.living_m2 / house_w * rng.uniform(0.7, 1.0, count), 6, depth * 0.4)
    setback = table.kind.map(SETBACK_M).to_numpy(float) * rng.uniform(0.8, 1.4, count)
    middle = np.minimum(setback + house_d / 2, depth - house_d / 2 - 4)
    slack = np.maximum(width / 2 - house_w / 2 - 2, 0)
    table["house_in_m"], table["house_w_m"], table["house_d_m"] = middle, house_w, house_d
    table["house_along_m"] = rng.uniform(-0.5, 0.5, count) * slack
    table["house_x"], table["house_y"] = point_in_lot(table, middle, table.house_along_m)
    behind = depth - 3 - (middle + house_d / 2)
    back = middle + house_d / 2 + np.clip(behind / 2, 4, 24)
    before = np.maximum((middle - house_d / 2) / 2, 4)
    to_front = (behind < 9) | (
        (table.kind == "shore").to_numpy() & (table["style"] == 1).to_numpy()
    )
    inward = np.where(to_front, before, back)
    along = rng.uniform(-0.2, 0.2, count) * width
    table["field_x"], table["field_y"] = point_in_lot(table, inward, along)
    side = np.where(rng.random(count) < 0.5, -1, 1) * width * 0.38
    well_in = np.where(to_front, middle, np.maximum(before, 3))
    table["well_x"], table["well_y"] = point_in_lot(table, well_in, side)
    room = np.where(to_front, middle - house_d / 2, behind) * width * 0.55
    table["room_m2"] = np.clip(room, 25, 4000)


def _footprints(table: pd.DataFrame, plan: Plan) -> tuple[Shapes, Ints]:
    rng = dice(plan.seed, "footprints")
    lived = np.flatnonzero(table.improved)
    houses = table.iloc[lived]
    main = _rectangles(
        houses, houses.house_in_m, houses.house_along_m, houses.house_w_m, houses.house_d_m
    )
    big = (houses.kind.isin(["farm", "roadside"]) & (rng.random(len(houses)) < 0.7)).to_numpy()
    barns = houses[big]
    along = np.where(rng.random(len(barns)) < 0.5, -0.3, 0.3) * barns.width_m
    size = rng.uniform(6, 9, len(barns))
    sheds = _rectangles(barns, barns.house_in_m + barns.house_d_m / 2 + 14, along, size, size * 1.3)
    seen = rng.random(len(lived)) < 0.97
    return np.concatenate([main[seen], sheds]), np.concatenate([lived[seen], lived[big]])


def _rectangles(
    lots: pd.DataFrame, inward: Length, along: Length, width: Length, depth: Length
) -> Shapes:
    corners = []
    for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        corners.append(
            np.column_stack(point_in_lot(lots, inward + b * depth / 2, along + a * width / 2))
        )
    return np.asarray(shapely.polygons(np.stack(corners, axis=1)))
