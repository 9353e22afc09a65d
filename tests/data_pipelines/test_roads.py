from __future__ import annotations

import geopandas as gpd
from shapely.geometry import LineString

from data_pipelines.roads import read_roads
from riskmap.contract.check import check_layer
from riskmap.contract.layers import ROADS
from riskmap.contract.sources import ColumnSource, Source

LINES = [LineString([(0, n), (100, n)]) for n in range(4)]


def test_any_lines(tmp_path, utm):
    frame = gpd.GeoDataFrame({"FULLNAME": ["Elm St", None, "A", "B"]}, geometry=LINES, crs=26915)
    frame.to_file(tmp_path / "r.shp")
    reading = read_roads(Source("roads", (tmp_path / "r.shp",)), utm)
    assert reading.frame["name"].isna().tolist() == [False, True, False, False]
    assert check_layer(reading.frame, ROADS, crs=utm).empty


def test_an_extract_keeps_what_is_driven_on(tmp_path, utm, found):
    frame = gpd.GeoDataFrame(
        {"highway": ["residential", "footway", None, "track"], "name": ["Elm", "P", "R", None]},
        geometry=LINES,
        crs=26915,
    )
    frame.to_file(tmp_path / "map.gpkg", layer="lines")
    source = Source("roads", (tmp_path / "map.gpkg",), table="lines")
    reading = read_roads(source, utm)
    assert reading.frame["name"].fillna("").tolist() == ["Elm", ""]
    assert found(reading.defects, "not_driven_on") == {"(all)": "2 lines"}


def test_an_extract_as_it_is_downloaded(tmp_path, utm, found):
    """OpenStreetMap's own XML: two roads that share a node, and a river."""
    (tmp_path / "map.osm").write_text(
        '<osm version="0.6">'
        '<node id="1" lat="43.60" lon="-93.0"/><node id="2" lat="43.61" lon="-93.0"/>'
        '<node id="3" lat="43.61" lon="-93.1"/>'
        '<way id="10"><nd ref="1"/><nd ref="2"/><tag k="highway" v="residential"/>'
        '<tag k="name" v="Elm Street"/></way>'
        '<way id="11"><nd ref="2"/><nd ref="3"/><tag k="highway" v="tertiary"/></way>'
        '<way id="12"><nd ref="1"/><nd ref="3"/><tag k="waterway" v="river"/></way></osm>'
    )
    columns = {"name": ColumnSource("name")}
    source = Source("roads", (tmp_path / "map.osm",), table="lines", columns=columns)
    reading = read_roads(source, utm)
    assert reading.frame["name"].fillna("").tolist() == ["Elm Street", ""]
    assert found(reading.defects, "not_driven_on") == {"(all)": "1 lines"}
