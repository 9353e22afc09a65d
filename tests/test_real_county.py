"""A real county's soil survey through the same door as the sample region.

Survey: USDA-NRCS soil survey of area AR017 as distributed (public domain). The parcels laid over it
are made here, so nothing is said about any real home.
"""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

import riskmap
from riskmap.publish.outputs import PUBLISHING
from riskmap.publish.publishing import publish
from riskmap.running import assess, open_region
from riskmap.stages.making import begin
from riskmap.stages.order import STAGES
from riskmap.stages.progress import Progress
from riskmap.stages.result import Result

PARCELS = 2000


@pytest.fixture(scope="module")
def result(shared_data: Path, tmp_path_factory: pytest.TempPathFactory) -> Result:
    survey = shared_data / "soil_survey" / "ar017_county"
    if not survey.is_dir():
        pytest.skip("the real soil survey ar017_county is absent")
    folder = tmp_path_factory.mktemp("real")
    made_parcels(survey).to_file(folder / "parcels.gpkg")
    (folder / "region.toml").write_text(
        f"""
[county]
name = "A county of invented parcels"
date = 2026-06-01
[run]
chunk_parcels = 700
[layers.parcels]
file = "parcels.gpkg"
[layers.parcels.columns]
parcel_id = "PIN"
year_built = "BUILT"
improved = {{ column = "IMPR", values = {{ Y = true, N = false }} }}
service = {{ constant = "onsite" }}
[layers.soil_survey]
file = "{survey.as_posix()}"
""",
        encoding="utf-8",
    )
    return assess(open_region(folder / "region.toml"))


def made_parcels(survey: Path) -> gpd.GeoDataFrame:
    """Rectangles of 0.1 to 10 ha, any orientation, somewhere in the survey's extent."""
    west, south, east, north = (
        gpd.read_file(survey / "spatial" / "soilsa_a_ar017.shp").to_crs(26915).total_bounds
    )
    rng = np.random.default_rng(17)
    x, y = rng.uniform(west, east, PARCELS), rng.uniform(south, north, PARCELS)
    side = np.sqrt(np.exp(rng.uniform(np.log(1e3), np.log(1e5), PARCELS)))
    lots = shapely.box(x - side / 2, y - side / 3, x + side / 2, y + side / 3)
    turned = gpd.GeoSeries(lots, crs=26915).rotate(33)
    return gpd.GeoDataFrame(
        {
            "PIN": [f"R{n:05d}" for n in range(PARCELS)],
            "BUILT": rng.integers(1940, 2025, PARCELS),
            "IMPR": "Y",
        },
        geometry=turned.to_numpy(),
        crs=26915,
    ).to_crs(4326)


def test_every_parcel_goes_out_scored_or_with_the_reason(result: Result) -> None:
    parcels = result.parcels
    assert len(parcels) == PARCELS
    assert parcels.index.is_unique
    scored = parcels["priority"].notna()
    assert (scored | (parcels["not_ranked_reason"] != "")).all()
    assert scored.sum() > 0.5 * PARCELS
    assert sorted(parcels["rank"].dropna()) == list(range(1, parcels["rank"].notna().sum() + 1))


def test_utm_zone_was_found(result: Result) -> None:
    assert result.county.crs.to_epsg() == 32615


def test_soil_shares_equal_a_plain_overlay(result: Result) -> None:
    some = result.areas.iloc[::40]
    units = result.county.tables["soil_units"][["mukey", "geometry"]]
    plain = gpd.overlay(
        some[["geometry"]].reset_index(), units, how="intersection", keep_geom_type=True
    )
    plain["frac"] = plain.area / plain["parcel_id"].map(some.area)
    expected = plain.groupby(["parcel_id", "mukey"])["frac"].sum()
    shares = result.soil_shares.set_index(["parcel_id", "mukey"])["frac"]
    ours = shares[shares.index.get_level_values(0).isin(some.index)]
    both = pd.concat([expected, ours], axis=1).fillna(0.0)
    assert len(both) > 40
    assert (both.iloc[:, 0] - both.iloc[:, 1]).abs().max() < 1e-9


def test_soil_rating_is_the_weighted_mean_by_hand(result: Result) -> None:
    ratings = result.component_ratings
    parcel = result.parcels[result.parcels["soil_rating"].notna()].index[5]
    shares = result.soil_shares[result.soil_shares["parcel_id"] == parcel]
    parts = shares.merge(ratings, on="mukey")
    weight = parts["frac"] * parts["comppct"] * parts["rating"].notna()
    by_hand = (weight * parts["rating"].fillna(0)).sum() / weight.sum()
    assert result.parcels.loc[parcel, "soil_rating"] == pytest.approx(by_hand, abs=1e-12)


def test_chunks_do_not_change_the_answer(result: Result, tmp_path: Path) -> None:
    from dataclasses import replace

    whole = replace(result.region, run=replace(result.region.run, chunk_parcels=100_000))
    again = riskmap.assess(whole, kept=tmp_path)
    pd.testing.assert_frame_equal(
        pd.DataFrame(again.parcels.drop(columns="geometry")),
        pd.DataFrame(result.parcels.drop(columns="geometry")),
    )


def test_parcels_and_soils_alone_make_a_whole_result(result: Result, tmp_path: Path) -> None:
    making = begin(result.region, (*STAGES, *PUBLISHING), Progress())
    publish(tmp_path, making)
    for name in ("index.html", "map/index.html", "lists/inspections.csv", "report/index.html"):
        assert (tmp_path / name).stat().st_size > 1000, name
    assert not (tmp_path / "zones.gpkg").exists()
    listed = pd.read_csv(tmp_path / "lists" / "inspections.csv")
    assert len(listed) >= result.region.lists.length(int(result.parcels["rank"].notna().sum()))
