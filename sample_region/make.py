"""Makes the invented county: ``python -m sample_region.make OUT --world W --seed S``."""

from __future__ import annotations

import argparse
import shutil
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
import shapely

from sample_region.dice import dice
from sample_region.lots import lake_strips
from sample_region.permit_office import inspections, permits
from sample_region.plan import CRS, Floats, Ints, Plan, Shapes, make_plan
from sample_region.settlement import Settlement, make_settlement
from sample_region.soil_map import make_soil_map
from sample_region.tax_roll import tax_roll
from sample_region.terrain import Terrain, make_terrain
from sample_region.truth import Truth, make_truth
from sample_region.well_records import samples, true_wells, water_levels, well_log
from sample_region.worlds import USUAL, WORLDS, World
from sample_region.write_rasters import write_elevation, write_water_table
from sample_region.write_shapes import write_geojson, write_measured_lines, write_shapefile
from sample_region.write_soils import write_soil_survey
from sample_region.write_tables import (
    permit_file,
    with_degrees,
    write_csv,
    write_levels,
    write_portal,
)
from sample_region.zones import flood_zones, section_roads, sewer_district, villages

SEED: Final = 20260601
PARCELS: Final = 3000
FOLDERS: Final = (
    "parcels",
    "buildings",
    "permits",
    "inspections",
    "wells",
    "water_levels",
    "water_quality",
    "terrain",
    "water",
    "flood",
    "sewer",
    "roads",
    "places",
)
ACRE_M2: Final = 4046.8564224


def make_county(
    folder: Path, *, parcels: int = PARCELS, seed: int = SEED, world: World = USUAL
) -> None:
    """Write an invented county into `folder`.

    The same `parcels`, `seed` and `world` give the same bytes. Two worlds with one seed have the
    same land and houses; what became of the systems differs. The folder is made if it is missing;
    files of an earlier county in it are overwritten.

    Parameters
    ----------
    folder
        Where the county's files go.
    parcels
        About how many onsite systems, at least 100.
    seed
        Another seed, another county.
    world
        How systems fail and what the office knows of it.

    Raises
    ------
    ValueError
        If `parcels` is below 100: too few for a village, a lake and farms.
    """
    if parcels < 100:
        raise ValueError(f"a county needs at least 100 onsite parcels, not {parcels}")
    for name in FOLDERS:
        (folder / name).mkdir(parents=True, exist_ok=True)
    plan = make_plan(parcels, seed=seed)
    terrain = make_terrain(plan)
    soils = make_soil_map(plan, terrain)
    survey = folder / "soils" / "ZZ001"
    shutil.rmtree(survey, ignore_errors=True)
    write_soil_survey(survey, plan, soils)
    settlement = make_settlement(plan, terrain)
    truth = make_truth(plan, terrain, soils, settlement.table, world)
    _write_land(folder, plan, settlement)
    _write_water(folder, plan, terrain)
    _write_zones(folder, plan, terrain, settlement)
    wells, given = _write_records(folder, plan, terrain, settlement, truth, world)
    write_truth(folder, truth, given)
    write_truth_of_wells(folder, wells)
    here = Path(__file__).parent
    shutil.copyfile(here / "region.toml", folder / "region.toml")


def _write_land(folder: Path, plan: Plan, settlement: Settlement) -> None:
    table = settlement.table
    shapes, rows = _with_drawing_slips(settlement.shapes, plan)
    polygons = pd.DataFrame(
        {
            "PIN": table.parcel_id.to_numpy()[rows],
            "ACRES": (table.area_m2.to_numpy()[rows] / ACRE_M2).round(2),
            "NBHD": table.neighborhood.to_numpy()[rows],
        }
    )
    write_shapefile(folder / "parcels" / "parcels.shp", shapes, polygons, plan, crs=CRS)
    write_csv(folder / "parcels" / "assessor.csv", tax_roll(plan, table))
    footprints = pd.DataFrame({"BLDG_ID": np.arange(len(settlement.footprints)) + 1})
    write_geojson(
        folder / "buildings" / "buildings.geojson", settlement.footprints, footprints, plan
    )


def _with_drawing_slips(shapes: Shapes, plan: Plan) -> tuple[Shapes, Ints]:
    """Split a few farms in two under one number, and twist an edge of a few lots."""
    rng = dice(plan.seed, "drawing slips")
    shapes = shapes.copy()
    rows = np.arange(len(shapes))
    points = shapely.get_num_coordinates(shapes)
    for lot in rng.choice(np.flatnonzero(points < 14), 3, replace=False):
        ring = shapely.get_coordinates(shapes[lot])
        ring[[1, 2]] = ring[[2, 1]]
        shapes[lot] = shapely.Polygon(ring)
    big = np.argsort(-shapely.area(shapes), kind="stable")[: max(2, len(shapes) // 700)]
    west = shapely.bounds(shapes[big])
    middle = (west[:, 0] + west[:, 2]) / 2
    cut = shapely.box(west[:, 0] - 1, west[:, 1] - 1, middle, west[:, 3] + 1)
    halves = shapely.intersection(shapes[big], cut), shapely.difference(shapes[big], cut)
    shapes[big] = halves[0]
    return np.concatenate([shapes, halves[1]]), np.concatenate([rows, big])


def _write_water(folder: Path, plan: Plan, terrain: Terrain) -> None:
    write_elevation(folder / "terrain" / "dem_10m.tif", plan, terrain)
    write_water_table(folder / "terrain" / "depth_to_water_40m.tif", plan, terrain)
    lines = [line for line in terrain.streams if len(line) > 1]
    number = np.arange(len(lines)) + 1
    table = pd.DataFrame({"COMID": 99_000_000 + number})
    table["GNIS_NAME"] = [f"Snickbeck Run {n}" if n % 3 else "" for n in number]
    table["FTYPE"] = "StreamRiver"
    write_measured_lines(folder / "water" / "flowline.shp", lines, table, plan, crs="EPSG:4269")
    lakes = lake_strips(plan, 0.0)
    names = pd.DataFrame({"COMID": 98_000_000 + np.arange(len(lakes)) + 1})
    names["GNIS_NAME"] = [f"Lake Mizzlemere {n + 1}" for n in range(len(lakes))]
    names["FTYPE"] = "LakePond"
    write_geojson(folder / "water" / "lakes.geojson", lakes, names, plan)
    write_levels(folder / "water_levels", plan, *water_levels(plan, terrain))


def _write_zones(folder: Path, plan: Plan, terrain: Terrain, settlement: Settlement) -> None:
    shapes, table = flood_zones(terrain)
    write_shapefile(folder / "flood" / "S_FLD_HAZ_AR.shp", shapes, table, plan, crs="EPSG:4269")
    write_geojson(folder / "sewer" / "sewer.geojson", *sewer_district(plan, settlement), plan)
    write_geojson(folder / "roads" / "roads.geojson", *section_roads(plan), plan)
    write_geojson(folder / "places" / "places.geojson", *villages(plan), plan)


def _write_records(
    folder: Path,
    plan: Plan,
    terrain: Terrain,
    settlement: Settlement,
    truth: Truth,
    world: World,
) -> tuple[pd.DataFrame, Floats]:
    table = settlement.table
    issued = permits(plan, truth, table, world)
    write_csv(folder / "permits" / "permits.csv", permit_file(issued, plan))
    write_csv(folder / "inspections" / "inspections.csv", inspections(plan, truth, world))
    wells, given = true_wells(plan, terrain, truth, table)
    log = well_log(plan, wells)
    placed = with_degrees(log, plan, {("x", "y"): ("LONGITUDE", "LATITUDE")})
    write_csv(folder / "wells" / "wells.csv", placed)
    write_portal(folder / "water_quality", plan, samples(plan, wells, log), wells)
    return wells, given


def write_truth(folder: Path, truth: Truth, given: Floats) -> None:
    """Write what really happened, for judging a ranking; no layer of the region file names it.

    Parameters
    ----------
    folder
        The county's folder.
    truth
        State of every onsite system.
    given
        What each system adds to all wells together, mg/L as N.
    """
    table = truth.table.assign(nitrate_given_mg_l=np.round(given, 4))
    numbers = table.select_dtypes("float").columns
    write_csv(folder / "truth.csv", table.assign(**{n: table[n].round(3) for n in numbers}))


def write_truth_of_wells(folder: Path, wells: pd.DataFrame) -> None:
    """Write what is in each well's water, on file or not, for judging predictions."""
    names = ["nitrate", "from_systems", "from_fields"]
    inside = wells[names].round(3).add_suffix("_mg_l")
    write_csv(folder / "truth_wells.csv", wells[["well_id", "parcel_id"]].join(inside))


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path, help="folder to write into")
    parser.add_argument(
        "--parcels", type=int, default=PARCELS, help="about how many onsite systems"
    )
    parser.add_argument("--seed", type=int, default=SEED, help="another seed, another county")
    parser.add_argument("--world", choices=list(WORLDS), default="usual", help="how systems fail")
    given = parser.parse_args()
    world = WORLDS[given.world]
    make_county(given.out, parcels=given.parcels, seed=given.seed, world=world)


if __name__ == "__main__":
    main()
