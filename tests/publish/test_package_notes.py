"""What a GeoPackage says of itself, read by GDAL and held against the declarations."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from xml.etree import ElementTree as ET

import geopandas as gpd
import pyogrio
import pytest

from riskmap.contract.features import column
from riskmap.publish import palette
from riskmap.publish.gis.desktop_styles import compose_qml
from riskmap.publish.gis.files import write_gis_files
from riskmap.publish.gis.package_notes import note_package
from riskmap.publish.gis.styles import ALL_STYLES, STYLES, WORD_STYLES, compose_style
from riskmap.publish.words.class_words import class_meanings

VISITS = 180


@pytest.fixture(scope="module")
def package(ranked: gpd.GeoDataFrame, tmp_path_factory: pytest.TempPathFactory) -> Path:
    rows = ranked.head(80)
    areas = gpd.GeoDataFrame(geometry=rows.geometry.buffer(-3))
    path, _ = write_gis_files(
        tmp_path_factory.mktemp("gis"), rows, extra={"treatment_areas": areas}
    )
    note_package(path, visits=VISITS)
    return path


def rows(path: Path, question: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(path)) as base:
        return base.execute(question).fetchall()


def test_every_column_has_a_title_and_says_what_it_holds(package: Path) -> None:
    for layer in ("parcels", "treatment_areas"):
        there = set(pyogrio.read_info(package, layer=layer)["fields"])
        said = {
            name: (title, text)
            for name, title, text in rows(
                package,
                "SELECT column_name, title, description FROM gpkg_data_columns "
                f"WHERE table_name = '{layer}'",
            )
        }
        assert set(said) == there
        assert all(title and text for title, text in said.values())
    assert said["parcel_id"][0] == column("parcel_id").label
    title, text = rows(
        package,
        "SELECT title, description FROM gpkg_data_columns WHERE column_name = 'lot_m2'",
    )[0]
    assert (title, text) == ("Lot size", "Lot size (m2)")


def test_gdal_reads_it_as_before(package: Path, ranked: gpd.GeoDataFrame) -> None:
    assert dict(pyogrio.list_layers(package)).keys() >= {"parcels", "treatment_areas"}
    back = gpd.read_file(package, layer="parcels")
    assert list(back["parcel_id"]) == list(ranked.index[:80])
    about = pyogrio.read_info(package, layer="parcels")["layer_metadata"]
    assert about["IDENTIFIER"] == "Parcels with scores and ranks"
    assert "A screening, not a finding." in about["DESCRIPTION"]


def test_the_extension_is_named(package: Path) -> None:
    """Schema extension of GeoPackage (OGC 12-128): both tables are listed by its name."""
    found = rows(
        package,
        "SELECT table_name, scope FROM gpkg_extensions WHERE extension_name = 'gpkg_schema'",
    )
    assert set(found) == {
        ("gpkg_data_columns", "read-write"),
        ("gpkg_data_column_constraints", "read-write"),
    }
    assert rows(package, "PRAGMA integrity_check") == [("ok",)]
    assert rows(package, "PRAGMA foreign_key_check") == []


def test_each_layer_opens_with_its_first_style(package: Path) -> None:
    found = rows(
        package,
        "SELECT f_table_name, f_geometry_column, styleName, styleSLD, useAsDefault FROM "
        "layer_styles ORDER BY id",
    )
    assert [name for layer, _, name, _, _ in found if layer == "parcels"] == [*STYLES, *WORD_STYLES]
    assert [(layer, name) for layer, _, name, _, first in found if first] == [
        ("parcels", "priority"),
        ("treatment_areas", "treatment_areas"),
    ]
    assert {shapes for _, shapes, _, _, _ in found} == {"geom"}
    assert found[0][3] == compose_style("priority", visits=VISITS)


@pytest.mark.parametrize("name", ALL_STYLES)
def test_both_forms_of_a_style_have_the_same_colors(name: str) -> None:
    qml = ET.fromstring(compose_qml(name, visits=VISITS))
    named = ("color", "line_color", "outline_color")
    options = [o for o in qml.iter("Option") if o.get("name") in named]
    assert options
    colors = {tuple(map(int, str(o.get("value")).split(",")[:3])) for o in options}
    sld = compose_style(name, visits=VISITS)
    for red, green, blue in colors:
        assert f"#{red:02x}{green:02x}{blue:02x}" in sld.lower()


def test_crosses_are_seen_on_what_is_not_ranked() -> None:
    qml = ET.fromstring(compose_qml("priority", visits=VISITS))
    fill, crosses = list(qml.iter("symbol"))[-1].findall("layer")
    colors = [next(o for o in part.iter("Option") if o.get("name") == "color").get("value")
              for part in (fill, crosses)]  # fmt: skip
    assert colors[0] != colors[1]


def test_the_classes_of_a_score_are_told_apart() -> None:
    qml = ET.fromstring(compose_qml("priority", visits=VISITS))
    said = {str(c.get("value")): str(c.get("label")) for c in qml.iter("category")}
    assert set(said) == {*class_meanings(VISITS), "not ranked"}
    assert len({c.get("symbol") for c in qml.iter("category")}) == len(said)
    assert palette.CLASS_COLORS.keys() >= said.keys()


def test_the_same_county_gives_the_same_bytes(tmp_path: Path, ranked: gpd.GeoDataFrame) -> None:
    first, _ = write_gis_files(tmp_path, ranked.head(10))
    second = Path(shutil.copy(first, tmp_path / "second.gpkg"))
    for path in (first, second):
        note_package(path, visits=VISITS)
    assert first.read_bytes() == second.read_bytes()
