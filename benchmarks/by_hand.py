"""The job as an analyst's script does it, in its fair form.

geopandas overlay, rasterstats with each raster read once into memory, a nearest join, a weighted
sum, and (with ``--map``) a folium page of the lots.
"""

from __future__ import annotations

import sys

import folium
import geopandas as gpd
import rasterio
from rasterstats import zonal_stats

from benchmarks.stages import WEIGHTS, Stages, folders, soil_ratings


def main() -> None:
    """Do the job once and report."""
    county, out = folders()
    clock = Stages()
    with clock.stage("read"):
        lots = gpd.read_file(county / "lots.gpkg")
        soils = gpd.read_file(county / "soils.gpkg")
        wells = gpd.read_file(county / "wells.gpkg")
    with clock.stage("soils"):
        pieces = gpd.overlay(lots, soils, how="intersection")
        pieces["area"] = pieces.area
        whole = pieces["parcel_id"].map(lots.set_index("parcel_id").area)
        pieces["frac"] = pieces["area"] / whole
        pieces["part"] = pieces["frac"] * soil_ratings()[pieces["mukey"]]
        lots["soil"] = lots["parcel_id"].map(pieces.groupby("parcel_id")["part"].sum())
    for name in ("slope", "water_table"):
        with clock.stage(name), rasterio.open(county / f"{name}.tif") as source:
            values = source.read(1)
            found = zonal_stats(
                lots, values, affine=source.transform, nodata=source.nodata, stats=["mean"]
            )
            lots[name] = [row["mean"] for row in found]
    with clock.stage("wells"):
        middles = gpd.GeoDataFrame(lots[["parcel_id"]], geometry=lots.centroid)
        near = gpd.sjoin_nearest(middles, wells, distance_col="well_m")
        near = near.drop_duplicates("parcel_id").set_index("parcel_id")
        lots["well"] = lots["parcel_id"].map(near["well_m"])
    with clock.stage("score"):
        lots["score"] = (
            WEIGHTS["soil"] * lots["soil"]
            + WEIGHTS["slope"] * lots["slope"].astype(float)
            + WEIGHTS["water"] * lots["water_table"].astype(float)
            + WEIGHTS["well"] * lots["well"]
        )
    if "--map" in sys.argv:
        with clock.stage("map"):
            page = folium.Map()
            folium.GeoJson(lots.to_crs(4326)[["parcel_id", "score", "geometry"]]).add_to(page)
            page.save(str(out.with_suffix(".html")))
    shares = pieces.groupby(["parcel_id", "mukey"])["frac"].sum().reset_index()
    clock.report(
        out,
        share_lot=shares["parcel_id"].str[1:].astype(int).to_numpy(),
        share_soil=shares["mukey"].to_numpy(),
        share=shares["frac"].to_numpy(),
        slope=lots["slope"].to_numpy(dtype=float),
        water_table=lots["water_table"].to_numpy(dtype=float),
        well=lots["well"].to_numpy(),
    )


if __name__ == "__main__":
    main()
