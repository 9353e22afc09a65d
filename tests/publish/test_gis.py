from __future__ import annotations

import time
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely
from geopandas.testing import assert_geoseries_equal

from riskmap.publish.gis.files import storable, write_gis_files


@pytest.fixture
def dirty(ranked: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    table = ranked.head(60).copy()
    table["unknown"] = [["age", "tank"] if n % 2 else [] for n in range(60)]
    table["owner"] = "Somebody"
    table["effluent_filter"] = pd.Series([True, False, None] * 20, index=table.index, dtype=object)
    shapes = list(table.geometry)
    shapes[3] = None
    shapes[4] = shapely.MultiPolygon([shapes[4], shapes[5]])
    return table.set_geometry(gpd.GeoSeries(shapes, index=table.index, crs=table.crs))


class TestFiles:
    @pytest.mark.parametrize("read", [0, 1], ids=["geopackage", "geoparquet"])
    def test_everything_comes_back(
        self, tmp_path: Path, dirty: gpd.GeoDataFrame, read: int
    ) -> None:
        path = write_gis_files(tmp_path, dirty)[read]
        back = gpd.read_parquet(path) if read else gpd.read_file(path)
        assert list(back["parcel_id"]) == list(dirty.index)
        assert back.crs == dirty.crs
        assert back.geometry.isna().sum() == 1
        assert_geoseries_equal(
            back.geometry.dropna().normalize(),
            storable(dirty).geometry.dropna().normalize(),
            check_less_precise=True,
            check_index_type=False,
        )
        assert (
            back["rank"]
            .astype("Int64")
            .reset_index(drop=True)
            .equals(dirty["rank"].reset_index(drop=True))
        )
        assert back["unknown"].iloc[1] == "age; tank"
        assert pd.isna(back["effluent_filter"].iloc[2])
        assert "owner" not in back

    def test_private_columns_only_when_asked(self, dirty: gpd.GeoDataFrame) -> None:
        assert "owner" in storable(dirty, private=True)

    def test_same_bytes_twice(self, tmp_path: Path, dirty: gpd.GeoDataFrame) -> None:
        for folder in ("a", "b"):
            (tmp_path / folder).mkdir()
        first = [p.read_bytes() for p in write_gis_files(tmp_path / "a", dirty)]
        time.sleep(1.1)
        second = [p.read_bytes() for p in write_gis_files(tmp_path / "b", dirty)]
        assert first == second

    def test_one_shape_kind_and_an_index(self, tmp_path: Path, dirty: gpd.GeoDataFrame) -> None:
        path, _ = write_gis_files(tmp_path, dirty)
        about = pyogrio.read_info(path)
        assert about["geometry_type"] == "MultiPolygon"
        assert pyogrio.list_layers(path).tolist() == [["parcels", "MultiPolygon"]]


class TestExtraLayers:
    @pytest.fixture
    def extra(self, dirty: gpd.GeoDataFrame) -> dict[str, gpd.GeoDataFrame]:
        areas = gpd.GeoDataFrame(geometry=dirty.geometry.dropna().buffer(-3))
        areas["downslope_deg"] = 12.5
        return {"treatment_areas": areas, "replacement_places": areas.iloc[:0]}

    def test_layers_come_back_with_their_parcel_numbers(
        self, tmp_path: Path, dirty: gpd.GeoDataFrame, extra: dict[str, gpd.GeoDataFrame]
    ) -> None:
        path, _ = write_gis_files(tmp_path, dirty, extra=extra)
        assert pyogrio.list_layers(path)[:, 0].tolist() == ["parcels", "treatment_areas"]
        back = gpd.read_file(path, layer="treatment_areas").set_index("parcel_id")
        want = extra["treatment_areas"]
        assert list(back.index) == list(want.index)
        assert back.crs == want.crs
        assert shapely.equals(back.normalize().values, want.normalize().values).all()
        assert (back["downslope_deg"] == 12.5).all()

    def test_same_bytes_twice(
        self, tmp_path: Path, dirty: gpd.GeoDataFrame, extra: dict[str, gpd.GeoDataFrame]
    ) -> None:
        (tmp_path / "a").mkdir()
        (tmp_path / "b").mkdir()
        first, _ = write_gis_files(tmp_path / "a", dirty, extra=extra)
        time.sleep(1.1)
        second, _ = write_gis_files(tmp_path / "b", dirty, extra=extra)
        assert first.read_bytes() == second.read_bytes()
