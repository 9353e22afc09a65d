from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.contract.features import SOIL_LIMITS
from riskmap.inventory.soils import SURVEY_DEPTH_CM, describe_soils


def units(*pairs: tuple[str, object]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {"mukey": [key for key, _ in pairs]}, geometry=[shape for _, shape in pairs]
    )


def ratings(*rows: dict[str, object]) -> pd.DataFrame:
    """Component table as the rating step makes it; every limit 0 unless given."""
    blank = dict.fromkeys(SOIL_LIMITS, 0.0) | {
        "rating": 0.0,
        "rating_class": "not limited",
        "wet_top_cm": np.nan,
        "restriction_cm": np.nan,
        "ksat_min_um_s": 10.0,
        "clay_treatment_pct": 20.0,
        "drainage_class": "well",
        "hydrologic_group": "B",
    }
    table = pd.DataFrame([blank | row for row in rows])
    return table.set_index(pd.Index([f"c{n}" for n in range(len(rows))], name="cokey"))


AREA = gpd.GeoSeries([shapely.box(0, 0, 10, 10)], index=pd.Index(["a"], name="parcel_id"))
WEST_EAST = units(("1", shapely.box(-9, -9, 4, 99)), ("2", shapely.box(4, -9, 99, 99)))


class TestByEye:
    def test_area_and_percentage_weights(self, same_index):
        # 40 % of the area on unit 1 (wholly soil c0, rating 1), 60 % on unit 2 (half c1 at 0.5,
        # half c2 not rated): the rated soils weigh .4 and .3, so (.4 * 1 + .3 * .5) / .7.
        table = ratings(
            {"mukey": "1", "comppct": 100, "rating": 1.0, "rating_class": "very limited"},
            {"mukey": "2", "comppct": 40, "rating": 0.5, "rating_class": "somewhat limited"},
            {"mukey": "2", "comppct": 40, "rating": np.nan, "rating_class": "not rated"},
        )
        features, mixture = describe_soils(AREA, WEST_EAST, table)
        same_index(features, AREA)
        row = features.iloc[0]
        assert row["soil_rating"] == pytest.approx((0.4 * 1 + 0.3 * 0.5) / 0.7, abs=1e-12)
        assert row["soil_covered_frac"] == pytest.approx(0.7, abs=1e-12)
        assert row["soil_class"] == "very limited"
        assert row["soil_rating_evidence"] == "mapped"
        assert mixture.to_numpy().tolist() == [["a", "1", 0.4], ["a", "2", 0.6]]

    def test_published_weighted_average(self):
        # The survey's own aggregation: (0.5, 60 %), (1.0, 30 %), (not rated, 10 %) -> 0.6667.
        table = ratings(
            {"mukey": "1", "comppct": 60, "rating": 0.5, "rating_class": "somewhat limited"},
            {"mukey": "1", "comppct": 30, "rating": 1.0, "rating_class": "very limited"},
            {"mukey": "1", "comppct": 10, "rating": np.nan, "rating_class": "not rated"},
        )
        features, _ = describe_soils(AREA, units(("1", shapely.box(-9, -9, 99, 99))), table)
        assert features["soil_rating"].iloc[0] == pytest.approx(0.6667, abs=1e-4)
        assert features["soil_class"].iloc[0] == "somewhat limited"

    def test_reasons_are_sorted_and_numbered(self):
        table = ratings(
            {"mukey": "1", "comppct": 100, "rating": 1.0, "limit_slope": 0.5, "limit_ponding": 1.0},
            {"mukey": "2", "comppct": 100, "rating": 0.5, "limit_slope": 0.5},
        )
        features, _ = describe_soils(AREA, WEST_EAST, table)
        assert features["soil_reasons"].tolist() == ["slope (0.50); ponding (0.40)"]
        assert features["limit_ponding"].tolist() == pytest.approx([0.4])

    def test_no_wet_layer_on_record_means_deeper_than_the_survey(self):
        # 40 % wet at 50 cm, 60 % not within 200 cm: .4 * 50 + .6 * 200 = 140.
        table = ratings(
            {"mukey": "1", "comppct": 100, "wet_top_cm": 50.0, "restriction_cm": 300.0},
            {"mukey": "2", "comppct": 100, "restriction_cm": 100.0},
        )
        features, _ = describe_soils(AREA, WEST_EAST, table)
        assert features["wet_depth_cm"].tolist() == pytest.approx([140.0])
        assert features["restriction_cm"].tolist() == pytest.approx(
            [0.4 * SURVEY_DEPTH_CM + 0.6 * 100]
        )

    def test_conductivity_is_a_geometric_mean(self):
        table = ratings(
            {"mukey": "1", "comppct": 100, "ksat_min_um_s": 100.0},
            {"mukey": "2", "comppct": 100, "ksat_min_um_s": 1.0},
        )
        features, _ = describe_soils(AREA, WEST_EAST, table)
        assert features["ksat_um_s"].tolist() == pytest.approx([100**0.4])

    def test_dominant_words_and_their_ties(self):
        # Equal weights: the wetter drainage class and the tighter group are taken.
        halves = units(("1", shapely.box(-9, -9, 5, 99)), ("2", shapely.box(5, -9, 99, 99)))
        table = ratings(
            {"mukey": "1", "comppct": 100, "drainage_class": "poorly", "hydrologic_group": "A"},
            {"mukey": "2", "comppct": 100, "drainage_class": "well", "hydrologic_group": "C"},
        )
        row = describe_soils(AREA, halves, table)[0].iloc[0]
        assert (row["drainage_class"], row["hydrologic_group"]) == ("poorly", "C")


class TestMissing:
    def test_bare_land_does_not_take_the_word_of_a_minor_soil(self):
        # Urban land on 70 % has no drainage class and no group; the soil on 30 % has both.
        bare = {"mukey": "1", "comppct": 70, "drainage_class": None, "hydrologic_group": None}
        soil = {"mukey": "1", "comppct": 30, "drainage_class": "poorly", "hydrologic_group": "D"}
        unit = units(("1", shapely.box(-9, -9, 99, 99)))
        row = describe_soils(AREA, unit, ratings(bare, soil))[0].iloc[0]
        assert row[["drainage_class", "hydrologic_group"]].isna().all()
        assert row["drainage_class_evidence"] == row["hydrologic_group_evidence"] == "unknown"
        even = describe_soils(AREA, unit, ratings(bare | {"comppct": 30}, soil))[0].iloc[0]
        assert even["drainage_class"] == "poorly"

    def test_too_little_rated_soil_is_unknown(self):
        table = ratings({"mukey": "1", "comppct": 100, "rating": 1.0})
        features, _ = describe_soils(AREA, WEST_EAST, table)
        row = features.iloc[0]
        assert np.isnan(row["soil_rating"])
        assert row["soil_rating_evidence"] == "unknown"
        assert row["soil_covered_frac"] == pytest.approx(0.4)
        assert row["soil_reasons"] is None
        assert row["drainage_class"] is None
        assert row["soil_class"] is None

    def test_area_off_the_map_and_area_without_shape(self, same_index):
        areas = gpd.GeoSeries(
            [shapely.box(500, 500, 510, 510), shapely.Polygon(), AREA.iloc[0]],
            index=["x", "y", "z"],
        )
        small = units(("1", shapely.box(-9, -9, 20, 20)))
        features, mixture = describe_soils(areas, small, ratings({"mukey": "1", "comppct": 90}))
        same_index(features, areas)
        assert features["soil_rating"].isna().tolist() == [True, True, False]
        assert features["soil_covered_frac"].tolist() == [0.0, 0.0, 1.0]
        assert mixture["parcel_id"].tolist() == ["z"]

    def test_overlapping_surveys_are_scaled_to_the_whole(self):
        double = units(("1", shapely.box(-9, -9, 99, 99)), ("2", shapely.box(-9, -9, 99, 99)))
        table = ratings(
            {"mukey": "1", "comppct": 100, "rating": 1.0},
            {"mukey": "2", "comppct": 100, "rating": 0.0},
        )
        row = describe_soils(AREA, double, table)[0].iloc[0]
        assert row["soil_rating"] == 0.5
        assert row["soil_covered_frac"] == 1.0

    def test_unit_without_components_counts_as_unrated(self):
        table = ratings({"mukey": "1", "comppct": 100, "rating": 1.0})
        features, _ = describe_soils(AREA, WEST_EAST, table, min_covered_frac=0.3)
        assert features["soil_rating"].tolist() == [1.0]
        assert features["soil_covered_frac"].tolist() == pytest.approx([0.4])


class TestAgainstEnumeration:
    def test_random_county(self, star):
        rng = np.random.default_rng(5)
        cells = shapely.get_parts(
            shapely.voronoi_polygons(shapely.MultiPoint(rng.uniform(0, 300, (12, 2))))
        )
        soils = units(*((str(n % 5), cell) for n, cell in enumerate(cells)))
        rows = [
            {"mukey": str(n % 5), "comppct": float(rng.integers(5, 60)), "rating": rng.uniform()}
            for n in range(15)
        ]
        table = ratings(*rows)
        areas = gpd.GeoSeries([star(n, 8, *rng.uniform(50, 250, 2), 40) for n in range(20)])
        features, mixture = describe_soils(areas, soils, table)
        for n, area in enumerate(areas):
            total = weight = 0.0
            for key, cell in zip(soils["mukey"], soils.geometry, strict=True):
                own = table[table["mukey"] == key]
                part = own["comppct"] / own["comppct"].sum() * cell.intersection(area).area
                total += (part * own["rating"]).sum()
                weight += part.sum()
            assert features["soil_rating"].iloc[n] == pytest.approx(total / weight, abs=1e-9)
        assert mixture.groupby("parcel_id")["frac"].sum().to_numpy() == pytest.approx(1, abs=1e-9)

    def test_chunks_do_not_change_a_row(self, star):
        rng = np.random.default_rng(6)
        areas = gpd.GeoSeries([star(n, 8, *rng.uniform(0, 20, 2), 6) for n in range(10)])
        table = ratings({"mukey": "1", "comppct": 70}, {"mukey": "2", "comppct": 80, "rating": 1.0})
        whole, mixture = describe_soils(areas, WEST_EAST, table)
        halves = [
            describe_soils(areas.iloc[part], WEST_EAST, table) for part in (slice(4), slice(4, 10))
        ]
        pd.testing.assert_frame_equal(
            pd.concat([half[0] for half in halves]), whole, check_exact=True
        )
        again = pd.concat([half[1] for half in halves], ignore_index=True)
        pd.testing.assert_frame_equal(again, mixture, check_exact=True)
