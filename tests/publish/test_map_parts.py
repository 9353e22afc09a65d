"""The parts of the map's data that tell of doubt, wells, zones and lots, without a browser."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.publish.map.facts import facts_of, installed_from
from riskmap.publish.map.layers import LOTS_SHOWN, first_lots, kept_layers
from riskmap.publish.map.threats import PER_PARCEL, PER_WELL, leading_pairs, wells_with_risk
from riskmap.publish.map.webmap import write_map
from riskmap.publish.map.zones import kinds_of, zone_of_parcels
from riskmap.publish.words.chance_words import CHANCE_STEPS, chance_words
from riskmap.publish.words.imprint import Imprint


class TestChanceWords:
    @pytest.mark.parametrize(
        ("chance", "words"),
        [
            (0.97, "more than 19 in 20"),
            (0.88, "about 9 in 10"),
            (0.5, "about 1 in 2"),
            (0.33, "about 1 in 3"),
            (0.099, "about 1 in 10"),
            (0.012, "about 1 in 70"),
            (0.001, "less than 1 in 150"),
        ],
    )
    def test_words(self, chance: float, words: str) -> None:
        assert chance_words(chance) == words

    def test_every_word_is_nearest_to_what_it_says(self) -> None:
        """Of all words with a number, the one said is off by the least ratio or difference."""
        said = {
            words: int(words.split()[1]) / int(words.split()[3])
            for _, words in CHANCE_STEPS
            if words.startswith("about")
        }
        for chance in np.linspace(0.007, 0.949, 400):
            word = chance_words(chance)
            ratio = {words: abs(np.log(value / chance)) for words, value in said.items()}
            apart = {words: abs(value - chance) for words, value in said.items()}
            assert word in (min(ratio, key=ratio.__getitem__), min(apart, key=apart.__getitem__))

    def test_the_steps_fall_and_end_at_nothing(self) -> None:
        limits = [least for least, _ in CHANCE_STEPS]
        assert limits == sorted(limits, reverse=True)
        assert limits[-1] == 0


class TestThreats:
    @pytest.fixture
    def pairs(self) -> pd.DataFrame:
        rng = np.random.default_rng(4)
        return pd.DataFrame(
            {
                "parcel_id": rng.integers(0, 40, 600).astype(str),
                "well_id": rng.integers(0, 30, 600).astype(str),
                "distance_m": rng.uniform(10, 900, 600),
                "travel_time_d": rng.uniform(1, 9000, 600),
                "nitrate_added_mg_l": rng.gamma(1, 1, 600).round(1) + 0.01,
            }
        ).drop_duplicates(["parcel_id", "well_id"], ignore_index=True)

    def test_no_leading_pair_of_either_side_is_lost(self, pairs: pd.DataFrame) -> None:
        kept = set(leading_pairs(pairs).index)
        for key, most in (("parcel_id", PER_PARCEL), ("well_id", PER_WELL)):
            for _, rows in pairs.groupby(key):
                ordered = sorted(
                    rows.index,
                    key=lambda i: (-pairs.nitrate_added_mg_l[i], pairs.distance_m[i]),
                )
                assert set(ordered[:most]) <= kept
        assert len(kept) < len(pairs)
        assert len(kept) <= PER_PARCEL * 40 + PER_WELL * 30

    def test_wells_that_were_not_assessed_stay_without_risk(self) -> None:
        wells = gpd.GeoDataFrame(
            {"well_id": ["a", "b"]}, geometry=shapely.points([[0, 0], [1, 1]]), crs=32616
        )
        risk = pd.DataFrame({"well_id": ["b"], "well_risk_frac": [0.5]})
        joined = wells_with_risk(wells, risk)
        assert np.isnan(joined["well_risk_frac"].iloc[0])
        assert joined["well_risk_frac"].iloc[1] == 0.5
        assert list(wells_with_risk(wells, None)) == list(wells)


class TestZones:
    @pytest.fixture
    def zones(self) -> gpd.GeoDataFrame:
        return gpd.GeoDataFrame(
            {"zone_id": ["N01", "C01"], "kind": ["nitrate", "capture"], "why": ["x", "y"]},
            geometry=[shapely.box(0, 0, 10, 10), shapely.box(20, 0, 30, 10)],
            crs=32616,
        )

    def test_a_parcel_belongs_where_its_system_lies(self, zones: gpd.GeoDataFrame) -> None:
        # The second lot's middle lies in no zone, but its system does; the third has no place.
        lots = gpd.GeoDataFrame(
            {"x_m": [5.0, 25.0, np.nan], "y_m": [5.0, 5.0, np.nan]},
            geometry=[shapely.box(4, 4, 6, 6), shapely.box(24, 0, 90, 50), shapely.box(1, 1, 2, 2)],
            crs=32616,
        )
        names = zone_of_parcels(lots, zones).tolist()
        assert names == ["N01: high predicted nitrate", "C01: capture area of wells", None]
        by_shape = zone_of_parcels(lots[["geometry"]], zones).tolist()
        assert by_shape == ["N01: high predicted nitrate", None, "N01: high predicted nitrate"]

    def test_legend_counts_kinds_in_their_order(self, zones: gpd.GeoDataFrame) -> None:
        assert [(k["letter"], k["count"]) for k in kinds_of(zones)] == [("C", "1"), ("N", "1")]


class TestLots:
    def test_only_the_head_of_the_list_in_the_pages_order(self) -> None:
        count = LOTS_SHOWN + 50
        ids = pd.Index([f"{n:05d}" for n in range(count)])
        ranked = gpd.GeoDataFrame(
            {"rank": np.arange(count, 0, -1)}, geometry=[shapely.Point(0, 0)] * count, index=ids
        )
        layer = gpd.GeoDataFrame(geometry=[shapely.box(0, 0, 9, 9)] * count, index=ids)
        order = ids[::-1]
        chosen = first_lots(layer, ranked, order)
        assert list(chosen.index) == list(order[:LOTS_SHOWN])

    def test_empty_and_shapeless_layers_are_left_out(self) -> None:
        none = gpd.GeoDataFrame(geometry=[None, shapely.Polygon()], crs=32616)
        box = gpd.GeoDataFrame(geometry=[shapely.box(0, 0, 99, 99)], crs=32616)
        assert list(kept_layers({"a": none, "b": box})) == ["b"]


class TestFacts:
    def test_the_year_is_derived_only_where_every_age_agrees(self) -> None:
        ages = pd.DataFrame({"age_yr": [51.0, np.nan, 3.0], "installed_year": [1975, np.nan, 2023]})
        assert installed_from(ages) == 2026
        assert "installed_year" not in [fact.column for fact in facts_of(ages, units="us")]
        odd = ages.assign(installed_year=[1975, np.nan, 2022])
        assert installed_from(odd) is None
        assert "installed_year" in [fact.column for fact in facts_of(odd, units="us")]
        assert installed_from(ages.assign(installed_year=[1975, 1990, 2023])) is None


class TestFiles:
    def test_details_lie_in_blocks_and_nothing_is_read_twice(
        self, tmp_path: Path, full: Any, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr("riskmap.publish.map.webmap.BLOCK_ROWS", 400)
        report = write_map(
            tmp_path,
            full.ranked,
            Imprint("Example County", datetime.date(2025, 6, 30)),
            model=full.map_model,
            layers=full.layers,
            threats=full.pairs,
            top=200,
        )
        blocks = [name for name in report.sizes if name.startswith("details")]
        assert blocks == ["details", "details_0", "details_1", "details_2"]
        assert report.weights_ready
        assert report.rescore_difference == 0
        total = report.opening_bytes + report.details_bytes
        assert total == sum(report.sizes.values())
        written = {p.stem for p in (tmp_path / "map" / "data").glob("*.js")}
        assert written == set(report.sizes)
