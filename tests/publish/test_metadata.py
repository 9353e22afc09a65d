"""Metadata: required members of STAC 1.1.0 and required elements of ISO 19139."""

from __future__ import annotations

import datetime
import hashlib
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import geopandas as gpd
import pytest
import shapely
from pyproj import CRS, Transformer
from pystac.validation import validate_dict

from riskmap.contract.features import column
from riskmap.publish.gis.files import write_gis_files
from riskmap.publish.gis.metadata import Catalog, layer_of, write_metadata
from riskmap.publish.gis.metadata_layers import PARCEL_FILES, degrees, described, union
from riskmap.publish.gis.metadata_record import NAMESPACES
from riskmap.publish.gis.styles import write_styles
from riskmap.publish.words.imprint import Imprint

UTM = CRS.from_epsg(32616)
DATE = datetime.date(2026, 6, 1)
OURS = Imprint("Test County", DATE, contact="Health desk, 555-0100")
SETTINGS: dict[str, Any] = {
    "state": "WI",
    "crs": UTM,
    "model_name": "model A",
    "inputs": {"parcels/parcels.shp": "ab" * 32, "soils/mu.txt": "cd" * 32},
    "version": "0.1.0",
}
NASTY = '<script>"&]]>\u202e\x07{{7*7}}'


def written(folder: Path, ranked: gpd.GeoDataFrame, **changes: Any) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    write_gis_files(folder, ranked)
    write_styles(folder, visits=40)
    head = {name: changes.pop(name) for name in ("county", "contact") if name in changes}
    catalog = Catalog(replace(OURS, **head), **(SETTINGS | changes))
    found = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*.*")}
    write_metadata(folder, [layer_of(ranked)], found, catalog)
    return folder / "metadata"


@pytest.fixture(scope="module")
def small(ranked: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return ranked.iloc[:200].set_crs(UTM, allow_override=True)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory, small: gpd.GeoDataFrame) -> Path:
    return written(tmp_path_factory.mktemp("result"), small)


def load(path: Path) -> dict[str, Any]:
    content = json.loads(path.read_text("utf-8"))
    assert isinstance(content, dict)
    return content


def check_links(links: list[dict[str, Any]], folder: Path, needed: set[str]) -> None:
    assert needed <= {link["rel"] for link in links}
    for link in links:
        assert isinstance(link["href"], str)
        assert (folder / link["href"]).resolve().is_file()


class TestStac:
    """Required members: STAC 1.1.0 item-spec and collection-spec JSON schemas."""

    def test_item(self, place: Path, small: gpd.GeoDataFrame) -> None:
        item = load(place / "items" / "parcels.json")
        assert item["type"] == "Feature"
        assert item["stac_version"] == "1.1.0"
        assert item["id"]
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", item["properties"]["datetime"])
        assert item["collection"] == load(place / "collection.json")["id"]
        check_links(item["links"], place / "items", {"collection", "root", "parent"})
        shape = shapely.geometry.shape(item["geometry"])
        assert shape.is_valid
        assert list(shape.bounds) == item["bbox"]
        assert shape.exterior.is_ccw  # RFC 7946, 3.1.6
        assert item["properties"]["table:row_count"] == len(small)
        assert item["properties"]["proj:code"] == "EPSG:32616"

    def test_collection(self, place: Path) -> None:
        collection = load(place / "collection.json")
        assert collection["type"] == "Collection"
        assert collection["stac_version"] == "1.1.0"
        for member in ("id", "description", "license", "extent", "links"):
            assert collection[member]
        (box,) = collection["extent"]["spatial"]["bbox"]
        assert -180 <= box[0] < box[2] <= 180
        assert -90 <= box[1] < box[3] <= 90
        ((start, end),) = collection["extent"]["temporal"]["interval"]
        assert start == end == "2026-06-01T00:00:00Z"
        assert all(set(p["roles"]) <= {"producer", "licensor", "processor", "host"}
                   for p in collection["providers"])  # fmt: skip
        check_links(collection["links"], place, {"root", "item"})

    def test_assets_lie_there_with_their_sums(self, place: Path) -> None:
        item = load(place / "items" / "parcels.json")
        assert len(item["assets"]) == 7
        for asset in item["assets"].values():
            content = (place / "items" / asset["href"]).resolve().read_bytes()
            assert asset["file:size"] == len(content)
            # multihash: code 0x12 (SHA-256), length 0x20
            assert asset["file:checksum"] == "1220" + hashlib.sha256(content).hexdigest()
            assert "/" in asset["type"]

    def test_files_that_are_not_there_are_not_listed(self, place: Path) -> None:
        assert any(file.path == "data_quality.csv" for file in PARCEL_FILES)
        assert "data-quality-csv" not in load(place / "items" / "parcels.json")["assets"]

    def test_every_column_has_a_meaning(self, place: Path, small: gpd.GeoDataFrame) -> None:
        columns = load(place / "items" / "parcels.json")["properties"]["table:columns"]
        assert [c["name"] for c in columns] == [
            "parcel_id",
            *(c for c in small.columns if c != "geometry"),
        ]
        assert all(c["description"] and c["type"] for c in columns)

    def test_private_columns_are_not_spoken_of(self, small: gpd.GeoDataFrame) -> None:
        assert "owner" not in layer_of(small.assign(owner="Quux", mail_name="Quux")).columns

    def test_schema_by_other_software(self, place: Path) -> None:
        """The published schemas, as pystac carries them."""
        for path in (place / "collection.json", place / "items" / "parcels.json"):
            validate_dict(load(path) | {"stac_extensions": []})


class TestExtent:
    def test_box_holds_every_corner(self) -> None:
        bounds = (495_000.0, 4_825_000.0, 505_700.0, 4_835_000.0)
        west, south, east, north = degrees(bounds, UTM)
        step = Transformer.from_crs(UTM, 4326, always_xy=True)
        for x in (bounds[0], 500_000.0, bounds[2]):
            for y in (bounds[1], bounds[3]):
                lon, lat = step.transform(x, y)
                assert west - 1e-6 <= lon <= east + 1e-6
                assert south - 1e-6 <= lat <= north + 1e-6

    def test_central_meridian(self) -> None:
        """500 km east in UTM zone 16 is 87 degrees west, by definition of the zone."""
        west, _, east, _ = degrees((500_000.0, 4e6, 500_000.0, 4.1e6), UTM)
        assert west == east == pytest.approx(-87.0)

    def test_union(self) -> None:
        assert union([(0, 0, 2, 2), (1, -1, 3, 1)]) == (0, -1, 3, 2)


class TestIsoRecord:
    """Mandatory elements of ISO 19115:2003, table 3 (core metadata), in ISO/TS 19139 XML."""

    def test_core_elements(self, place: Path) -> None:
        root = ET.parse(place / "record.xml").getroot()
        assert root.tag == f"{{{NAMESPACES['gmd']}}}MD_Metadata"
        text = "gco:CharacterString"
        identification = "gmd:identificationInfo/gmd:MD_DataIdentification"
        wanted = {
            f"gmd:fileIdentifier/{text}": "test-county-onsite-risk-2026-06-01",
            f"gmd:contact/gmd:CI_ResponsibleParty/gmd:organisationName/{text}": "Test County, WI",
            "gmd:dateStamp/gco:Date": "2026-06-01",
            f"{identification}/gmd:citation/gmd:CI_Citation/gmd:title/{text}": "Test County, WI: ",
            f"{identification}/gmd:abstract/{text}": "Parcels with scores",
            f"{identification}//gmd:useLimitation/{text}": "This is a screening.",
            f"{identification}//gmd:topicCategory/gmd:MD_TopicCategoryCode": "environment",
            f".//gmd:LI_Lineage/gmd:statement/{text}": "Made by riskmap 0.1.0 with",
            ".//gmd:MD_ReferenceSystem//gmd:code/gco:CharacterString": "32616",
        }
        for path, start in wanted.items():
            found = root.findtext(path, namespaces=NAMESPACES)
            assert found is not None, path
            assert found.startswith(start)
        language = root.find("gmd:language/gmd:LanguageCode", NAMESPACES)
        assert language is not None
        assert language.get("codeListValue") == "eng"

    def test_box_agrees_with_the_catalog(self, place: Path) -> None:
        root = ET.parse(place / "record.xml").getroot()
        sides = ("westBoundLongitude", "southBoundLatitude",
                 "eastBoundLongitude", "northBoundLatitude")  # fmt: skip
        box = [float(root.findtext(f".//gmd:{s}/gco:Decimal", "", NAMESPACES)) for s in sides]
        (expected,) = load(place / "collection.json")["extent"]["spatial"]["bbox"]
        assert box == pytest.approx(expected, abs=1e-6)

    def test_order_of_the_root(self, place: Path) -> None:
        """Order of MD_Metadata's children by the ISO/TS 19139 schema (from memory)."""
        order = [
            "fileIdentifier", "language", "characterSet", "hierarchyLevel", "contact", "dateStamp",
            "metadataStandardName", "metadataStandardVersion", "referenceSystemInfo",
            "identificationInfo", "distributionInfo", "dataQualityInfo",
        ]  # fmt: skip
        root = ET.parse(place / "record.xml").getroot()
        assert [child.tag.split("}")[1] for child in root] == order

    def test_sources_are_named_with_their_sums(self, place: Path) -> None:
        text = (place / "record.xml").read_text("utf-8")
        for path, digest in SETTINGS["inputs"].items():
            assert f"{path}, SHA-256 {digest}" in text


def test_same_bytes(tmp_path: Path, place: Path, small: gpd.GeoDataFrame) -> None:
    again = written(tmp_path, small.copy())
    for name in ("collection.json", "items/parcels.json", "record.xml"):
        assert (again / name).read_bytes() == (place / name).read_bytes()


def test_hostile_names_stay_text(tmp_path: Path, small: gpd.GeoDataFrame) -> None:
    changes = {"county": NASTY, "contact": NASTY, "model_name": NASTY, "inputs": {NASTY: "0"}}
    folder = written(tmp_path, small, **changes)
    root = ET.parse(folder / "record.xml").getroot()
    assert not [e for e in root.iter() if e.tag.lower().endswith("script")]
    collection = load(folder / "collection.json")
    assert "\u202e" not in json.dumps(collection, ensure_ascii=False)
    assert re.fullmatch(r"[a-z0-9-]+", collection["id"])


def test_a_system_without_a_code(tmp_path: Path, small: gpd.GeoDataFrame) -> None:
    own = CRS.from_proj4("+proj=tmerc +lon_0=-87.3 +k=0.9998 +x_0=100 +datum=WGS84 +units=m")
    folder = written(tmp_path, small, crs=own)
    item = load(folder / "items" / "parcels.json")
    assert item["properties"]["proj:code"] is None
    assert "referenceSystemInfo" not in (folder / "record.xml").read_text("utf-8")


def test_meanings() -> None:
    assert (
        described(column("priority"))
        == "Priority: by the aim, from the chances and the groundwater score (0-100)"
    )
    assert described(column("kind")).startswith("Kind of onsite system: ")
    assert described(column("age_points")) == "Points of the factor age in its score (0-100)"
