from __future__ import annotations

import json
import warnings
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio.raw
import pytest
import shapely
from pyproj import CRS
from shapely.geometry import MultiPoint, Point, Polygon, box

from data_pipelines.areas import read_buildings
from data_pipelines.defect_log import DefectLog
from data_pipelines.vector import parse_shapes, parse_vector, read_shapes
from riskmap.contract.check import check_layer
from riskmap.contract.errors import (
    CrsError,
    GeometryTypeError,
    SourceFormatError,
    SourceMissingError,
)
from riskmap.contract.layers import BUILDINGS, PARCELS, STREAMS, WELLS
from riskmap.contract.sources import ColumnSource, Source

TOPOLOGY = {
    "type": "Topology",
    "objects": {
        "lots": {
            "type": "GeometryCollection",
            "geometries": [{"type": "Polygon", "arcs": [[0]], "properties": {"PIN": "1"}}],
        }
    },
    "arcs": [[[-93.0, 45.0], [-92.9, 45.0], [-92.9, 45.1], [-93.0, 45.0]]],
}
BOW_TIE = Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])


def save(tmp_path: Path, shapes: list[object], name: str = "x.gpkg", **columns: object) -> Path:
    frame = gpd.GeoDataFrame(columns, geometry=shapes, crs="EPSG:26915", index=range(len(shapes)))
    path = tmp_path / name
    frame.to_file(path)
    return path


class TestReferenceSystem:
    def test_topojson_needs_a_declared_system(self, write, utm):
        path = write("lots.topojson", json.dumps(TOPOLOGY))
        source = Source("parcels", (path,), columns={"parcel_id": ColumnSource("PIN")})
        with pytest.raises(CrsError, match=r"lots\.topojson does not say.*crs = \"EPSG"):
            read_shapes(source, PARCELS, utm)
        source = Source("parcels", (path,), columns=source.columns, crs="EPSG:4326")
        lots = read_shapes(source, PARCELS, utm).frame
        assert lots.crs.equals(utm)
        # UTM 15N has its central meridian at 93 W: easting 500 km by definition.
        assert lots.total_bounds[0] == pytest.approx(500_000, abs=0.01)

    def test_projected_geojson_that_claims_degrees(self, write, utm):
        feature = {
            "type": "Feature",
            "properties": {},
            "geometry": json.loads(shapely.to_geojson(box(480_000, 5e6, 480_100, 5_000_100))),
        }
        path = write("b.geojson", json.dumps({"type": "FeatureCollection", "features": [feature]}))
        with pytest.raises(CrsError, match="are no degrees"):
            read_shapes(Source("buildings", (path,)), BUILDINGS, utm)
        reading = read_shapes(Source("buildings", (path,), crs="EPSG:26915"), BUILDINGS, utm)
        assert reading.frame.area.iloc[0] == pytest.approx(10_000)
        assert "crs_conflict" in set(reading.defects["check"])

    def test_unknown_system(self, tmp_path, utm):
        path = save(tmp_path, [box(0, 0, 1, 1)])
        with pytest.raises(CrsError, match=r"'EPSG:0' of x\.gpkg is not known"):
            read_shapes(Source("buildings", (path,), crs="EPSG:0"), BUILDINGS, utm)

    def test_shapes_far_outside_are_reported(self, tmp_path, utm, found):
        frame = gpd.GeoDataFrame(
            {"well_id": ["a", "b"]}, geometry=[Point(-93, 45), Point(93, 45)], crs=4326
        )
        frame.to_file(tmp_path / "w.gpkg")
        reading = read_shapes(Source("wells", (tmp_path / "w.gpkg",)), WELLS, utm)
        assert found(reading.defects, "far_from_region") == {"2": "93.000 45.000"}
        assert len(reading.frame) == 2


class TestShapes:
    def test_invalid_polygon_is_repaired_and_reported(self, tmp_path, utm, found):
        reading = read_shapes(Source("buildings", (save(tmp_path, [BOW_TIE]),)), BUILDINGS, utm)
        # Two triangles of base 2 and height 1 each: area 2.
        assert reading.frame.area.tolist() == pytest.approx([2.0])
        assert reading.frame.is_valid.all()
        assert found(reading.defects, "invalid_polygon") == {"1": "Self-intersection"}

    def test_null_and_empty_shapes_leave_with_a_report(self, tmp_path, utm, found):
        path = save(tmp_path, [None, Polygon(), box(0, 0, 1, 1)])
        reading = read_shapes(Source("buildings", (path,)), BUILDINGS, utm)
        assert set(found(reading.defects, "no_geometry")) == {"1", "2"}
        assert reading.frame.index.tolist() == ["3"]

    def test_wrong_kind_of_shape(self, tmp_path, utm, found):
        with pytest.raises(GeometryTypeError, match="holds Point where polygon shapes belong"):
            read_shapes(Source("buildings", (save(tmp_path, [Point(0, 0)]),)), BUILDINGS, utm)
        path = save(tmp_path, [Point(0, 0), box(0, 0, 1, 1)], "mixed.gpkg")
        reading = read_shapes(Source("buildings", (path,)), BUILDINGS, utm)
        assert found(reading.defects, "wrong_kind_of_shape") == {"1": "Point"}

    def test_polygons_are_taken_out_of_collections(self, tmp_path, utm):
        mixture = shapely.GeometryCollection([box(0, 0, 1, 1), Point(5, 5), box(3, 0, 4, 1)])
        path = save(tmp_path, [mixture])
        assert read_shapes(Source("buildings", (path,)), BUILDINGS, utm).frame.area.tolist() == [
            2.0
        ]

    def test_multipoint_wells_become_points(self, tmp_path, utm, found):
        path = save(tmp_path, [MultiPoint([(1, 1)]), MultiPoint([(2, 2), (3, 3)])], well_id="w")
        reading = read_shapes(Source("wells", (path,)), WELLS, utm)
        assert reading.frame.geom_type.tolist() == ["Point", "Point"]
        assert found(reading.defects, "several_points") == {"2": "2"}

    @pytest.mark.parametrize("kind", ["Measured LineString", "Measured 3D LineString"])
    @pytest.mark.filterwarnings("ignore:Measured")
    def test_measured_lines_become_flat_without_a_warning(self, tmp_path, utm, kind):
        line = shapely.from_wkt("LINESTRING ZM (0 0 1 5, 300 400 2 6)")
        wkb = np.array([shapely.to_wkb(line, flavor="iso", output_dimension=4)], dtype=object)
        path = tmp_path / "flow.shp"
        pyogrio.raw.write(
            path, wkb, [np.array([8])], ["COMID"], geometry_type=kind, crs="EPSG:26915"
        )
        with pytest.warns(UserWarning, match="Measured"):
            pyogrio.read_info(path)
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            reading = read_shapes(Source("streams", (path,)), STREAMS, utm)
        assert not reading.frame.has_z.any()
        assert reading.frame.length.tolist() == [500.0]

    def test_shapefile_without_its_shp(self, tmp_path, utm):
        path = save(tmp_path, [box(0, 0, 1, 1)], "b.shp", ID=["1"])
        path.unlink()
        with pytest.raises(SourceMissingError):
            read_shapes(Source("buildings", (path,)), BUILDINGS, utm)
        with pytest.raises(SourceFormatError, match=r"b\.dbf has no shapes"):
            read_shapes(Source("buildings", (path.with_suffix(".dbf"),)), BUILDINGS, utm)

    def test_empty_layer_is_empty_not_an_error(self, tmp_path, utm):
        gpd.GeoDataFrame({"ID": []}, geometry=[], crs=26915).to_file(tmp_path / "e.gpkg")
        reading = read_shapes(Source("buildings", (tmp_path / "e.gpkg",)), BUILDINGS, utm)
        assert len(reading.frame) == 0
        assert reading.defects["check"].tolist() == ["no_rows"]
        assert check_layer(reading.frame, BUILDINGS, crs=utm).empty

    def test_not_a_vector_file(self, write, utm):
        path = write("x.gpkg", "this is text")
        with pytest.raises(SourceFormatError, match=r"x\.gpkg cannot be read"):
            read_shapes(Source("buildings", (path,)), BUILDINGS, utm)


class TestReadingPart:
    @pytest.mark.parametrize("name", ["x.gpkg", "x.shp", "x.geojson", "x.fgb"])
    def test_only_what_meets_the_box(self, tmp_path, utm, name):
        shapes = [box(500_000 + 100 * i, 5e6, 500_050 + 100 * i, 5_000_050) for i in range(10)]
        frame = gpd.GeoDataFrame({"UUID": list("abcdefghij")}, geometry=shapes, crs=26915)
        if name.endswith("json"):
            frame = frame.to_crs(4326)
        frame.to_file(tmp_path / name)
        source = Source("buildings", (tmp_path / name,))
        whole = read_buildings(source, utm).frame
        part = read_buildings(source, utm, bounds=(500_310, 5e6, 500_420, 5_000_010)).frame
        assert sorted(part["building_id"]) == ["d", "e"]
        if not name.endswith("fgb"):  # this format reorders its features
            assert part["building_id"].to_dict() == whole["building_id"].loc[part.index].to_dict()

    def test_private_columns_stay_in_the_file(self, tmp_path, utm):
        path = save(tmp_path, [box(0, 0, 1, 1)], parcel_id="1", owner="A. Person", telephone="555")
        source = Source("parcels", (path,))
        raw = parse_shapes(source, PARCELS, utm, DefectLog("parcels"))
        assert list(raw.columns) == ["parcel_id", "geometry"]
        assert "owner" not in read_shapes(source, PARCELS, utm).frame
        kept = Source("parcels", (path,), keep_private=("owner",))
        assert read_shapes(kept, PARCELS, utm).frame["owner"].tolist() == ["A. Person"]

    def test_points_of_a_table(self, write, utm, found):
        path = write("w.csv", "WELL,LON,LAT\na,-93,45\nb,,45\nc,0,0\nd, 93 00 00 W ,45.0N\n")
        source = Source(
            "wells",
            (path,),
            columns={"well_id": ColumnSource("WELL")},
            x="LON",
            y="LAT",
            crs="EPSG:4326",
        )
        reading = read_shapes(source, WELLS, utm)
        assert reading.frame["well_id"].tolist() == ["a", "d"]
        assert reading.frame.geometry.x.tolist() == pytest.approx([500_000, 500_000], abs=0.01)
        assert set(found(reading.defects, "no_geometry")) == {"2", "3"}
        no_crs = Source("wells", (path,), columns=source.columns, x="LON", y="LAT")
        with pytest.raises(CrsError, match=r"w\.csv"):
            read_shapes(no_crs, WELLS, utm)


class TestRealData:
    def test_flow_lines(self, shared_data):
        path = shared_data / "terrain_water/flowlines_small/NHDFlowline.shp"
        frame = parse_vector(path, layer="streams", columns=["LENGTHKM"])
        assert CRS(frame.crs).to_epsg() == 4269
        # The layer's own length column is the oracle of shapes and projection together.
        metric = frame.to_crs(26915).length / 1000
        assert np.abs(metric - frame["LENGTHKM"]).max() < 0.02

    def test_boundary_in_two_systems_is_one_place(self, shared_data):
        folder = shared_data / "terrain_water/steep_basin/boundary"
        a = parse_vector(folder / "coweeta_basin.shp", layer="x").to_crs(5070)
        b = parse_vector(folder / "coweeta_simplified.shp", layer="x").to_crs(5070)
        shared = a.intersection(b, align=False).area.sum()
        assert shared / a.area.sum() > 0.98
