"""``riskmap fetch`` against services on this machine: the real client, the real readers."""

from __future__ import annotations

import json
import re
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import geopandas as gpd
import pytest
import rasterio
import shapely

from data_pipelines.source_catalog import CATALOG, FIELDS, catalog_of, entries_of, read_catalog
from riskmap import cli
from riskmap.contract.errors import OutputError
from riskmap.fetching import client as client_module
from riskmap.fetching import services
from riskmap.fetching.client import Client
from riskmap.fetching.fetch import KEPT, Haul, fetch, forget
from riskmap.fetching.places import Place
from riskmap.fetching.services import SERVICES
from riskmap.keeping.store import sha256_of
from sample_region.make import make_county
from tests.fetching.services_here import PAGE, Answer, Country, serving

MAINTENANCE = b"<!DOCTYPE html><html><body>Down for maintenance until 6 pm</body></html>"


@pytest.fixture(scope="session")
def invented(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("country")
    make_county(folder, parcels=100)
    return folder


@pytest.fixture
def country(invented: Path) -> Country:
    country = Country(invented)
    assert country.layers, "read here: warnings are not silenced in the server's threads"
    return country


@pytest.fixture
def address(country: Country) -> Iterator[str]:
    with serving(country) as found:
        yield found


@pytest.fixture
def ask(tmp_path: Path, country: Country, address: str) -> Callable[..., Haul]:
    def asked(*layers: str, timeouts_s: tuple[float, float] = (5.0, 5.0)) -> Haul:
        place = Place("Fennimarsh", ("55029",), country.outline)
        client = Client(tmp_path / KEPT, via=address, delay_s=0.0, first_wait_s=0.01,
                        timeouts_s=timeouts_s)  # fmt: skip
        return fetch(tmp_path, place, layers or tuple(SERVICES), client=client)

    return asked


class TestTheWholeWay:
    def test_fetched_files_are_read_without_an_edit(
        self, ask: Callable[..., Haul], tmp_path: Path, invented: Path,
        capsys: pytest.CaptureFixture[str],
    ) -> None:  # fmt: skip
        haul = ask()
        assert haul.troubles == {}
        assert haul.nothing == ()
        assert set(haul.files) == set(SERVICES)
        county = tmp_path / "county"
        folders = ("soils", "terrain", "water", "flood", "roads", "places", "areas", "wells",
                   "well_samples", "water_levels")  # fmt: skip
        files = [str(tmp_path / name) for name in folders]
        given = [*files, str(invented / "parcels")]
        assert cli.main(["new", str(county), "--from", *given, "--date", "2026-06-01"]) == 0
        region = (county / "region.toml").read_text()
        assert set(re.findall(r"^\[layers\.(\w+)\]", region, re.M)) == {*SERVICES, "parcels"}
        assert 'unit = "m"  # 3D Elevation Program gives meters' in region
        assert cli.main(["check", str(county / "region.toml"), "--quiet"]) == 0, capsys.readouterr()
        said = capsys.readouterr().out
        assert "missing" not in said.split("water_table")[0].split("soil_survey")[-1]
        out = tmp_path / "result"
        assert cli.main(["run", str(county / "region.toml"), "--out", str(out), "--quiet"]) == 0
        record = json.loads((out / "run.json").read_text())
        assert {one["layer"] for one in record["fetched"]} == set(SERVICES)
        report = (out / "report" / "index.html").read_text()
        assert "Open data used" in report
        assert "Soil Survey Geographic (SSURGO) Database. Edition of 2025-09-01." in report

    def test_the_catalogue_says_what_is_needed_to_cite(
        self, ask: Callable[..., Haul], tmp_path: Path
    ) -> None:
        ask("soil_survey", "streams", "roads")
        entries = read_catalog(tmp_path / CATALOG)["files"]
        assert [one["layer"] for one in entries] == ["roads", "soil_survey", "streams"]
        for one in entries:
            assert set(one) == set(FIELDS)
            assert one["sha256"] == sha256_of(tmp_path / one["file"])
            assert one["license"] == "US public domain"
            assert one["address"].startswith("https://")
            assert f"Accessed {one['fetched'][:10]}." in one["citation"]
        assert [one["vintage"] for one in entries][:2] == ["2025", "2025-09-01"]

    def test_a_file_that_was_changed_is_no_longer_the_service_s(
        self, ask: Callable[..., Haul], tmp_path: Path
    ) -> None:
        ask("roads")
        (file,) = (tmp_path / "roads").glob("*.zip")
        assert catalog_of(file) == tmp_path.resolve() / CATALOG
        assert len(entries_of([(file, sha256_of(file))])) == 1
        file.write_bytes(b"mine")
        assert entries_of([(file, sha256_of(file))]) == []


class TestThePages:
    def test_all_pages_come_once(
        self, ask: Callable[..., Haul], tmp_path: Path, country: Country
    ) -> None:
        ask("streams", "water_levels")
        own = country.layers["nhd/MapServer/6"][1]
        assert len(own) > PAGE
        came = gpd.read_file(tmp_path / "water/NHDFlowline.geojson")
        assert len(came) == len(own)
        assert came.geometry.to_wkt().nunique() == own.geometry.to_wkt().nunique()
        levels = json.loads((tmp_path / "water_levels/field_measurements.json").read_text())
        assert len({one["id"] for one in levels["features"]}) == 24

    def test_a_part_is_never_taken_for_the_whole(
        self, ask: Callable[..., Haul], tmp_path: Path, country: Country
    ) -> None:
        country.short = 3
        own = len(country.layers["nhd/MapServer/6"][1])
        said = ask("streams").troubles["streams"]
        assert f"gave {own - 3:,} of {own:,} features" in said
        assert not (tmp_path / "water").exists()

    def test_tiles_fit_together(
        self, ask: Callable[..., Haul], tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
        invented: Path,
    ) -> None:  # fmt: skip
        monkeypatch.setattr(services, "TILE", 300)
        files = ask("elevation").files["elevation"]
        assert len(files) > 3
        boxes = []
        for name in files:
            with rasterio.open(tmp_path / name) as tile:
                assert tile.nodata == services.NOTHING
                boxes.append(shapely.box(*tile.bounds))
        whole = shapely.union_all(boxes)
        assert whole.equals(shapely.box(*whole.bounds))
        assert sum(box.area for box in boxes) == pytest.approx(whole.area)
        with rasterio.open(invented / "terrain/dem_10m.tif") as own:
            x, y = (
                (own.bounds.left + own.bounds.right) / 2,
                (own.bounds.top + own.bounds.bottom) / 2,
            )
            (value,) = next(own.sample([(x, y)]))
            system = own.crs
        for name in files:
            with rasterio.open(tmp_path / name) as tile:
                there = gpd.GeoSeries([shapely.Point(x, y)], crs=system).to_crs(tile.crs)[0]
                if shapely.box(*tile.bounds).contains(there):
                    (got,) = next(tile.sample([(there.x, there.y)]))
        assert got == pytest.approx(value, abs=1.0)


class TestTroubles:
    @pytest.mark.parametrize(
        "answer",
        [
            Answer(b"busy", 503, (("Retry-After", "0"),)),
            Answer(b"slow down", 429, (("Retry-After", "Mon, 01 Jan 2001 00:00:00 GMT"),)),
            Answer(b"", 502),
            Answer(MAINTENANCE),
            Answer(b""),
            Answer(b'{"error": {"code": 500, "message": "Error performing query operation"}}'),
            Answer(b'{"layers": "soon"'),
            Answer(b'{"other": []}'),
            Answer(b'{"layers": []}', cut=5),
        ],
        ids=["503", "429", "502", "maintenance", "empty", "error in json", "cut json", "changed",
             "broken off"],
    )  # fmt: skip
    def test_what_passes_is_waited_for(
        self, ask: Callable[..., Haul], country: Country, answer: Answer
    ) -> None:
        country.trouble["nhd/MapServer"] = [answer, answer]
        haul = ask("streams")
        assert haul.troubles == {}
        assert haul.files["streams"] == ["water/NHDFlowline.geojson"]

    def test_no_answer_in_time(self, ask: Callable[..., Haul], country: Country) -> None:
        country.trouble["nhd/MapServer"] = [Answer(b"{}", wait_s=2.0)]
        assert ask("streams", timeouts_s=(0.5, 0.5)).troubles == {}

    @pytest.mark.parametrize(
        ("answer", "said"),
        [
            (Answer(MAINTENANCE), "web page"),
            (Answer(b"no", 500), "answer 500"),
            (Answer(b'{"error": {"message": "Invalid token"}}'), "Invalid token"),
        ],
    )
    def test_what_does_not_pass_is_told_and_the_rest_goes_on(
        self, ask: Callable[..., Haul], country: Country, answer: Answer, said: str, tmp_path: Path
    ) -> None:
        country.trouble["NFHL"] = [answer] * 50
        haul = ask("floodplain", "roads")
        assert said in haul.troubles["floodplain"]
        assert "Run the command again later" in haul.troubles["floodplain"]
        assert list(haul.files) == ["roads"]
        assert (
            country.asked.count("hazards.fema.gov/arcgis/rest/services/public/NFHL/MapServer") == 5
        )
        assert [one["layer"] for one in read_catalog(tmp_path / CATALOG)["files"]] == ["roads"]

    def test_a_refusal_is_not_asked_again(self, ask: Callable[..., Haul], country: Country) -> None:
        country.trouble["nhd/MapServer"] = [Answer(b"no", 403)]
        assert "refuses the request (answer 403)" in ask("streams").troubles["streams"]
        assert len(country.asked) == 1

    def test_an_address_that_leads_back_to_itself(
        self, ask: Callable[..., Haul], country: Country
    ) -> None:
        country.trouble["nhd/MapServer"] = [Answer(b"", 302, (("Location", "?f=json"),))] * 60
        assert "redirects" in ask("streams").troubles["streams"]

    def test_a_long_wait_ends_the_layer(self, ask: Callable[..., Haul], country: Country) -> None:
        country.trouble["nhd/MapServer"] = [Answer(b"", 503, (("Retry-After", "3600"),))]
        assert "asks to wait 3,600 s" in ask("streams").troubles["streams"]

    def test_a_field_that_is_gone(self, ask: Callable[..., Haul], country: Country) -> None:
        country.lost_field = "FLD_ZONE"
        said = ask("floodplain").troubles["floodplain"]
        assert "has no field FLD_ZONE any more, but" in said
        assert "get the file by hand" in said

    def test_a_layer_that_has_another_number_or_is_gone(
        self, ask: Callable[..., Haul], country: Country, tmp_path: Path
    ) -> None:
        layers = country.layers
        layers["nhd/MapServer/3"] = layers.pop("nhd/MapServer/6")
        assert ask("streams").troubles == {}
        del layers["nhd/MapServer/3"]
        forget(tmp_path)
        assert "has no layer like" in ask("streams").troubles["streams"]

    def test_pages_that_lead_elsewhere(self, ask: Callable[..., Haul], country: Country) -> None:
        page = {"features": [{"id": 1}], "links": [{"rel": "next", "href": "https://else.org/x"}]}
        country.trouble["field-measurements"] = [Answer(json.dumps(page).encode())]
        assert "leads to https://else.org" in ask("water_levels").troubles["water_levels"]
        assert not any("else.org" in place for place in country.asked)

    def test_a_table_that_was_cut(self, ask: Callable[..., Haul], country: Country) -> None:
        whole = (country.folder / "water_quality/result.csv").read_bytes()
        country.trouble["data/Result"] = [Answer(whole[: len(whole) // 2])]
        assert ask("well_samples").troubles == {}
        assert country.asked.count("www.waterqualitydata.us/data/Result/search") == 2

    def test_a_tile_of_the_wrong_size(self, ask: Callable[..., Haul], country: Country) -> None:
        small = country.image({"size": "3,4", "bbox": "499000,4800000,499030,4800040",
                               "bboxSR": "26916", "imageSR": "26916"})  # fmt: skip
        country.trouble["exportImage"] = [small] * 5
        assert "the tile has 3 x 4 cells, not" in ask("elevation").troubles["elevation"]

    def test_no_edition_yet_of_this_year(self, ask: Callable[..., Haul]) -> None:
        assert ask("roads").files["roads"] == ["roads/tl_2025_55029_roads.zip"]


class TestGoingOn:
    def test_what_is_here_is_not_asked_for_again(
        self, ask: Callable[..., Haul], country: Country, tmp_path: Path
    ) -> None:
        first = ask("streams", "floodplain")
        count = len(country.asked)
        assert ask("streams", "floodplain") == first
        assert len(country.asked) == count
        forget(tmp_path)
        ask("roads")
        assert len(country.asked) > count

    def test_a_stopped_run_goes_on_at_the_page(
        self, ask: Callable[..., Haul], country: Country
    ) -> None:
        pages = "hydro.nationalmap.gov/arcgis/rest/services/nhd/MapServer/6/query"
        fine = [country.arcgis(pages, query) for query in self.first_two(country)]
        country.trouble["MapServer/6/query"] = [*fine, *[Answer(b"", 502)] * 5]
        assert ask("streams").troubles
        before = country.asked.count(pages)
        assert ask("streams").troubles == {}
        assert country.asked.count(pages) - before == 2

    def first_two(self, country: Country) -> list[dict[str, str]]:
        """Queries of the count and of the first page."""
        west, south, east, north = country.outline.bounds
        box = {"geometry": f"{west - 0.03},{south - 0.03},{east + 0.03},{north + 0.03}"}
        page = {"orderByFields": "OBJECTID", "resultOffset": "0", "resultRecordCount": str(PAGE)}
        return [{**box, "returnCountOnly": "true"}, {**box, **page}]

    def test_nothing_is_kept_of_a_part(self, ask: Callable[..., Haul], country: Country) -> None:
        country.short = 3
        assert ask("streams").troubles
        country.short = 0
        assert ask("streams").troubles == {}

    def test_a_kept_reply_that_was_damaged_is_asked_for_again(
        self, ask: Callable[..., Haul], country: Country, tmp_path: Path
    ) -> None:
        ask("roads")
        count = len(country.asked)
        for kept in (tmp_path / KEPT).glob("*.bin"):
            kept.write_bytes(kept.read_bytes()[:-1])
        assert ask("roads").troubles == {}
        assert len(country.asked) > count
        (file,) = (tmp_path / "roads").glob("*.zip")
        assert zipfile.is_zipfile(file)

    def test_a_download_that_broke_off_goes_on_at_its_byte(
        self, ask: Callable[..., Haul], country: Country, tmp_path: Path
    ) -> None:
        whole = country.soil_archive()
        cut = Answer(whole.content, headers=whole.headers, cut=20_000)
        country.trouble["wss_SSA_ZZ001"] = [cut]
        assert ask("soil_survey").troubles == {}
        assert country.ranges == ["bytes=16384-"]
        assert (tmp_path / "soils/wss_SSA_ZZ001.zip").read_bytes() == whole.content

    def test_a_file_that_changed_meanwhile_is_begun_again(
        self, ask: Callable[..., Haul], country: Country, tmp_path: Path
    ) -> None:
        whole = country.soil_archive()
        cut = Answer(b"x" * 50_000, headers=(("ETag", '"older"'),), cut=40_000)
        country.trouble["wss_SSA_ZZ001"] = [cut]
        assert ask("soil_survey").troubles == {}
        assert country.ranges == []
        assert (tmp_path / "soils/wss_SSA_ZZ001.zip").read_bytes() == whole.content

    def test_another_county_does_not_mix_in(
        self, ask: Callable[..., Haul], tmp_path: Path, country: Country
    ) -> None:
        ask("roads")
        with pytest.raises(OutputError, match="holds files of Fennimarsh"):
            fetch(tmp_path, Place("Elsewhere", ("50007",), country.outline), ())


class TestManners:
    def test_requests_to_one_host_are_paced_and_say_who_asks(
        self, country: Country, address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        slept: list[float] = []
        monkeypatch.setattr(client_module.time, "sleep", slept.append)
        place = Place("Fennimarsh", ("55029",), country.outline)
        fetch(tmp_path, place, ("streams",), client=Client(tmp_path / KEPT, via=address))
        assert len(slept) >= len(country.asked) - 1
        assert all(pause <= client_module.DELAY_S for pause in slept)
        (agent,) = country.agents
        assert agent.startswith("riskmap/")


def test_from_the_command_line(
    country: Country, address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setattr(client_module, "DELAY_S", 0.0)
    options = [str(tmp_path), "--county", "50007", "--mirror", address, "--quiet"]
    assert cli.main(["fetch", *options, "--layers", "roads", "well_samples"]) == 0
    said = capsys.readouterr().out
    assert "roads/tl_2025_50007_roads.zip" in said
    assert f"riskmap new county --from {tmp_path}" in said
    assert cli.main(["fetch", *options, "--layers", "parcels"]) == 2
    country.trouble["data/Result"] = [Answer(b"no", 403)]
    assert cli.main(["fetch", *options, "--layers", "well_samples", "--refresh"]) == 2
