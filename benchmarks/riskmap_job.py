"""The job by this project's own functions."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import rasterio
import shapely

from benchmarks.stages import SOIL_KINDS, WEIGHTS, Stages, folders, soil_ratings
from riskmap.contract.grid import Grid
from riskmap.inventory.wells import describe_wells
from riskmap.spatial.overlaps import area_fractions
from riskmap.spatial.zonal import raster_means


def main() -> None:
    """Do the job once and report."""
    county, out = folders()
    clock = Stages()
    with clock.stage("read"):
        lots = gpd.read_file(county / "lots.gpkg", use_arrow=True)
        soils = gpd.read_file(county / "soils.gpkg", use_arrow=True)
        wells = gpd.read_file(county / "wells.gpkg", use_arrow=True)
    with clock.stage("soils"):
        pairs = area_fractions(lots.geometry, soils.geometry)
        kinds = soils["mukey"].to_numpy()[pairs["j"]]
        slot, where = np.unique(pairs["i"] * SOIL_KINDS + kinds, return_inverse=True)
        lot, kind = np.divmod(slot, SOIL_KINDS)
        share = np.bincount(where, pairs["frac"])
        soil = np.bincount(lot, share * soil_ratings()[kind], minlength=len(lots))
    means = {}
    for name in ("slope", "water_table"):
        with clock.stage(name):
            means[name] = raster_means(lots.geometry, read(county / f"{name}.tif"))["mean"]
    with clock.stage("wells"):
        middle = shapely.get_coordinates(shapely.centroid(lots.geometry.to_numpy()))
        areas = lots.assign(x_m=middle[:, 0], y_m=middle[:, 1], treatment_m2_evidence="mapped")
        well = describe_wells(areas, wells)["well_distance_m"].to_numpy()
    with clock.stage("score"):
        terms = {"soil": soil, "slope": means["slope"], "water": means["water_table"], "well": well}
        sum(WEIGHTS[name] * np.asarray(values) for name, values in terms.items())
    clock.report(out, share_lot=lot, share_soil=kind, share=share, well=well, **means)


def read(path: object) -> Grid:
    """Read a grid with unknown cells as NaN."""
    with rasterio.open(path) as source:
        values = source.read(1)
        values[values == source.nodata] = np.nan
        step = source.transform
        return Grid(values, step.c, step.f, step.a, -step.e, source.crs)


if __name__ == "__main__":
    main()
