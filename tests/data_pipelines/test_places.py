"""Places: points as they are, areas as a point inside, larger ones first."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pytest
from pyproj import CRS
from shapely import LineString, Point, Polygon, box

from data_pipelines.places import read_places
from riskmap.contract.errors import GeometryTypeError
from riskmap.contract.sources import Source

UTM = CRS.from_epsg(32616)
HORSESHOE = Polygon([(0, 0), (900, 0), (900, 900), (600, 900), (600, 300), (300, 300), (300, 900),
                     (0, 900)])  # fmt: skip
"""Its middle lies outside of it."""


def source(folder: Path, shapes: list[object], names: list[str | None]) -> Source:
    moved = gpd.GeoSeries(shapes, crs=UTM).translate(500_000, 4_828_000)
    table = gpd.GeoDataFrame({"NAME": names}, geometry=moved, crs=UTM)
    table.to_crs(4326).to_file(folder / "places.gpkg", driver="GPKG")
    return Source("places", files=(folder / "places.gpkg",))


def test_areas_become_points_inside_with_their_size(tmp_path: Path) -> None:
    given = source(tmp_path, [HORSESHOE, box(2000, 0, 2100, 100)], ["Horseshoe", "Elm Corner"])
    found = read_places(given, UTM).frame
    assert found["name"].tolist() == ["Horseshoe", "Elm Corner"]
    assert (found.geom_type == "Point").all()
    inside = gpd.GeoSeries([HORSESHOE], crs=UTM).translate(500_000, 4_828_000).iloc[0]
    assert inside.contains(found.geometry.iloc[0])
    assert found["area_m2"].tolist() == pytest.approx([HORSESHOE.area, 10_000.0], rel=1e-3)


def test_points_have_no_size_and_nameless_ones_are_told(tmp_path: Path) -> None:
    given = source(tmp_path, [Point(0, 0), Point(500, 0)], ["Old Mill", None])
    reading = read_places(given, UTM)
    assert reading.frame["name"].tolist() == ["Old Mill"]
    assert reading.frame["area_m2"].isna().all()
    assert reading.defects["check"].tolist() == ["no_name"]


def test_lines_are_no_places(tmp_path: Path) -> None:
    with pytest.raises(GeometryTypeError, match="point shapes belong"):
        read_places(source(tmp_path, [LineString([(0, 0), (9, 9)])], ["Road"]), UTM)
