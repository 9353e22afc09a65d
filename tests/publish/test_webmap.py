"""The map's files, without a browser."""

from __future__ import annotations

import datetime
import re
from pathlib import Path
from types import ModuleType
from typing import Any

import folium
import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.contract.features import shown
from riskmap.publish.map.data import drawable
from riskmap.publish.map.facts import extra_columns, facts_of
from riskmap.publish.map.layers import soil_words
from riskmap.publish.map.model import MapFactor, MapModel, largest_difference, limitations, rescore
from riskmap.publish.map.webmap import write_map
from riskmap.publish.words.imprint import Imprint

IMPRINT = Imprint("Example County", datetime.date(2025, 6, 30))


def _files(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture
def write(made: ModuleType, ranked: gpd.GeoDataFrame) -> Any:
    def run(folder: Path, table: gpd.GeoDataFrame = ranked, **options: Any) -> Any:
        settings: dict[str, Any] = {
            "model": made.MODEL,
            "layers": made.make_layers(ranked),
            "terrain": made.make_terrain(ranked),
        }
        return write_map(folder, table, IMPRINT, **(settings | options))

    return run


class TestFolder:
    def test_same_bytes_twice(self, tmp_path: Path, write: Any) -> None:
        write(tmp_path / "a")
        write(tmp_path / "b")
        assert _files(tmp_path / "a") == _files(tmp_path / "b")

    def test_nothing_points_outside(self, tmp_path: Path, write: Any) -> None:
        write(tmp_path)
        page = (tmp_path / "map" / "index.html").read_text("utf-8")
        links = re.findall(r'(?:src|href)="([^"]*)"', page)
        for link in links:
            assert link.startswith(("data:", "#")) or (tmp_path / "map" / link).is_file()
        style = (tmp_path / "map" / "page" / "leaflet.css").read_text("utf-8")
        for image in re.findall(r"url\(([^)#]+)\)", style):
            assert (tmp_path / "map" / "page" / image.strip("\"'")).is_file()

    def test_the_composer_is_left_as_it_was(self, tmp_path: Path, write: Any) -> None:
        before = (list(folium.Map.default_js), list(folium.Map.default_css))
        write(tmp_path)
        assert (list(folium.Map.default_js), list(folium.Map.default_css)) == before

    def test_the_page_may_be_enlarged_by_hand(self, tmp_path: Path, write: Any) -> None:
        write(tmp_path)
        page = (tmp_path / "map" / "index.html").read_text("utf-8")
        assert "user-scalable" not in page
        assert page.count('name="viewport"') == 1
        assert '<html lang="en">' in page

    def test_parcels_without_a_shape_are_counted(
        self, tmp_path: Path, write: Any, ranked: gpd.GeoDataFrame
    ) -> None:
        shapes = list(ranked.geometry)
        shapes[0], shapes[1], shapes[2] = None, shapely.Polygon(), shapely.Point(0, 0)
        table = ranked.set_geometry(gpd.GeoSeries(shapes, index=ranked.index, crs=ranked.crs))
        report = write(tmp_path, table)
        assert report.without_shape == 3
        page = (tmp_path / "map" / "index.html").read_text("utf-8")
        assert "3 parcels have no" in page

    def test_an_online_background_only_when_asked(self, tmp_path: Path, write: Any) -> None:
        from riskmap.publish.map.plan import BaseMap

        write(tmp_path / "a")
        assert "base_map" in (tmp_path / "a/map/index.html").read_text("utf-8")
        assert 'data-layer="base_map"' not in (tmp_path / "a/map/index.html").read_text("utf-8")
        write(
            tmp_path / "b",
            base_map=BaseMap("https://tiles.example.invalid/{z}/{x}/{y}.png", "<b>Example</b>"),
        )
        page = (tmp_path / "b/map/index.html").read_text("utf-8")
        assert 'data-layer="base_map"' in page
        assert "<b>Example</b>" not in page

    def test_no_layer_at_all(self, tmp_path: Path, write: Any) -> None:
        report = write(tmp_path, layers={}, terrain=None)
        assert report.drawn == report.parcels
        assert not (tmp_path / "map" / "relief.png").exists()


class TestModel:
    def test_limitations_come_back_from_points(
        self, made: ModuleType, ranked: gpd.GeoDataFrame
    ) -> None:
        limitation = limitations(ranked, made.MODEL.factors)
        age = (ranked["age_yr"].fillna(30) / 60).clip(0, 1).round(3)
        on = ranked["rank"].notna()
        assert np.allclose(limitation.loc[on, "age"], age[on], atol=1e-12)
        assert limitation.loc[~on, "age"].isna().all()
        assert largest_difference(ranked, limitation, made.MODEL) < 1e-9

    def test_a_sum_done_by_hand(self) -> None:
        model = MapModel(
            (
                MapFactor("a", "failure", "A", 3.0),
                MapFactor("b", "failure", "B", 1.0),
                MapFactor("c", "groundwater", "C", 2.0),
            ),
        )
        table = pd.DataFrame({"a": [0.5], "b": [1.0], "c": [0.2]})
        scores = rescore(table, model).iloc[0]
        # 100 * (3 * 0.5 + 1 * 1) / 4 = 62.5; 100 * 0.2 = 20
        assert scores.tolist() == [62.5, 20.0]

    def test_scores_of_another_method_switch_the_weights_off(
        self, tmp_path: Path, write: Any, ranked: gpd.GeoDataFrame
    ) -> None:
        report = write(tmp_path, ranked.assign(failure_score=ranked["failure_score"] * 0.5))
        assert not report.weights_ready
        page = (tmp_path / "map" / "index.html").read_text("utf-8")
        assert 'id="weights"' not in page
        assert "does not give back the scores of this run" in page


class TestFacts:
    def test_unheard_of_columns_are_shown_and_private_ones_are_not(
        self, ranked: gpd.GeoDataFrame
    ) -> None:
        table = ranked.assign(stage="stressed", chance_5_yr_frac=0.25, owner="x", mail_city="y")
        assert extra_columns(table) == ["chance_5_yr_frac"]
        labels = {fact.column: fact for fact in facts_of(table, units="us")}
        assert labels["chance_5_yr_frac"].group == "More"
        assert labels["chance_5_yr_frac"].unit == "%"
        assert labels["stage"].group == "Outlook by the clogging model"
        assert not {"owner", "mail_city"} & set(labels)

    @pytest.mark.parametrize(
        ("column", "value", "units", "want"),
        [
            ("well_distance_m", 30.48, "us", 100.0),  # one hundred feet, exact by definition
            ("lot_m2", 4046.8564224, "us", 1.0),  # one acre
            ("tank_volume_l", 3785.411784, "us", 1000.0),  # a thousand US gallons
            ("wet_depth_cm", 61.0, "us", 24.0),  # 24.02 in
            ("well_distance_m", 1234.0, "si", 1230.0),  # three significant digits
            ("age_yr", 37.0, "us", 37.0),
        ],
    )
    def test_what_people_read(self, column: str, value: float, units: Any, want: float) -> None:
        got = shown(pd.Series([value]), column, units)
        assert got[0] == pytest.approx(want, abs=1e-9)

    def test_soil_words(self) -> None:
        table = pd.DataFrame({"soil_class": ["Very limited", None, "odd", "Not limited"]})
        assert soil_words(table).tolist() == [
            "very limited",
            "not rated",
            "not rated",
            "not limited",
        ]

    def test_neighbors_on_the_ground_lie_together(self, ranked: gpd.GeoDataFrame) -> None:
        rows = drawable(ranked)
        assert sorted(rows.index) == sorted(ranked.index)
        step = rows.centroid.distance(rows.centroid.shift(-1, fill_value=None), align=False)
        mixed = ranked.sample(frac=1, random_state=1).centroid
        far = mixed.distance(mixed.shift(-1, fill_value=None), align=False)
        assert step.dropna().median() < far.dropna().median() / 3
