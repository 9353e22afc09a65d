"""`riskmap new`: columns mapped right or asked, none wrong without a mark, a file that runs."""

from __future__ import annotations

import datetime
from collections import Counter
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.cli import main
from riskmap.contract.columns import Column
from riskmap.contract.errors import OutputError
from riskmap.contract.layers import LAYERS
from riskmap.contract.unit_names import UNIT_NAMES, units_page
from riskmap.contract.units import FACTORS
from riskmap.region.layers import SOIL_SURVEY
from riskmap.region.read import read_region
from riskmap.running import check_region
from riskmap.starting.addresses import address_parts
from riskmap.starting.aliases import ALIASES, AVOIDED, FILE_WORDS
from riskmap.starting.codes import SAID
from riskmap.starting.columns import match_columns, name_score
from riskmap.starting.dates import look_at_dates
from riskmap.starting.layers import recognize
from riskmap.starting.names import words_of
from riskmap.starting.new import start
from riskmap.starting.open_sources import OPEN_SOURCES, where_to_get_page
from riskmap.starting.opening import open_all
from riskmap.starting.region_text import ASK, CHECK
from riskmap.starting.systems import compute_in, fitting_systems, square_meters
from riskmap.starting.units import USUAL
from tests.starting.dirty import SETS, Base, save
from tests.starting.dirty_office import office_dirt, shapes_by_numbers
from tests.starting.judging import judge, shares, shown, verdict
from tests.starting.names_seen import NAMES, table

DAY = datetime.date(2026, 6, 1)
LEAST_RIGHT_OR_ASKED = 0.95
MOST_WRONG = 0.01


@pytest.fixture(scope="module")
def judged(base: Base, tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, list[str]]]:
    folder = tmp_path_factory.mktemp("dirty")
    sets = {**SETS, "office_dirt": office_dirt, "shapes_by_numbers": shapes_by_numbers}
    made = {name: make(base, folder / name) for name, make in sets.items()}
    return {name: judge(one.files, one.truth) for name, one in made.items()}


class TestShareOfColumns:
    def test_twelve_dirty_sets(self, judged: dict[str, dict[str, list[str]]]) -> None:
        assert len(judged) >= 12
        total = sum((shares(told) for told in judged.values()), Counter())
        count = sum(total.values())
        assert count > 300
        assert total["right"] + total["asked"] >= LEAST_RIGHT_OR_ASKED * count, judged
        assert total["wrong"] < MOST_WRONG * count, judged

    @pytest.mark.parametrize("layer", list(NAMES))
    def test_names_as_offices_write_them(self, layer: str) -> None:
        told: Counter[str] = Counter()
        bad = []
        for seed in range(6):
            frame, truth = table(layer, seed)
            found = match_columns(frame, LAYERS[layer], ask=True)
            guesses = {guess.column.name: guess for guess in found}
            for column, answer in truth.items():
                word = verdict(guesses.get(column), answer)
                told[word] += 1
                if word in ("missed", "wrong"):
                    bad.append((word, column, answer, shown(guesses.get(column))))
        count = sum(told.values())
        assert told["right"] + told["asked"] >= LEAST_RIGHT_OR_ASKED * count, bad
        assert told["wrong"] < MOST_WRONG * count, bad

    def test_a_wrong_answer_would_be_seen(self) -> None:
        frame = pd.DataFrame({"YEAR_BUILT": [1980, 1990]})
        guess = match_columns(frame, LAYERS["parcels"])[0]
        assert verdict(guess, "YEAR_BUILT") == "right"
        assert verdict(guess, "EFF_YEAR") == "wrong"
        assert verdict(None, "EFF_YEAR") == "missed"


class TestRealRecords:
    """Files as distributed, not made for this test; see ../shared/data."""

    def test_city_parcels(self, shared_data: Path) -> None:
        told = judge(
            [shared_data / "records/city_parcels_flood"],
            {"parcels": {"parcel_id": "ML", "address": "Location", "land_use": "UseCode",
                         "year_built": "AYBYrBuilt", "living_area_m2": "GrossArea|ft2",
                         "improved": "TotalAppraisedImprovements",
                         "recorded_area_m2": "LandArea|ft2"}},
        )  # fmt: skip
        assert len(told["right"]) + len(told["asked"]) >= 6, told
        assert not [line for line in told["wrong"] if "got nothing" not in line], told

    def test_each_kind_is_known(self, shared_data: Path) -> None:
        for place, layer in {
            "soil_survey/ar017_county": SOIL_SURVEY,
            "records/water_quality_replies/wqp_results.txt": "well_samples",
            "records/water_levels_replies/waterservices_gwlevels.txt": "water_levels",
            "records/city_parcels_flood/FEMA_FloodPlains100Year.geojson": "floodplain",
        }.items():
            found = recognize(open_all([shared_data / place]))
            assert [one.layer for one in found.layers] == [layer], place


class TestWritten:
    def test_what_it_writes_runs_and_marks_every_guess(self, base: Base, tmp_path: Path) -> None:
        made = SETS["silent_units"](base, tmp_path / "files")
        files = [*made.files, base.folder / "soils"]
        started = start(tmp_path / "first", files, day=DAY)
        assert started.lacking == ""
        text = (tmp_path / "first/region.toml").read_text("utf-8")
        marked = {line.split(" =")[0] for line in text.splitlines() if CHECK in line}
        assert {"tank_volume_l", "issued", "depth_m"} <= marked
        assert "parcel_id" not in marked
        assert f'# sewers = "none"  # {ASK}' in text
        region = read_region(tmp_path / "first/region.toml")
        assert set(region.sources) == {"parcels", "permits", "wells", SOIL_SURVEY}
        defects = check_region(tmp_path / "first/region.toml")
        respelled = defects[defects["check"].eq("other_spelling") & defects["layer"].eq("permits")]
        assert len(respelled) > 150

    def test_a_region_file_is_never_replaced(self, tmp_path: Path) -> None:
        (tmp_path / "region.toml").write_text("mine")
        with pytest.raises(OutputError, match="already"):
            start(tmp_path, [], day=DAY)
        assert (tmp_path / "region.toml").read_text() == "mine"

    def test_without_files_folders_template_and_checklist(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(["new", str(tmp_path / "new"), "--quiet"]) == 0
        assert "[layers.parcels] is missing" in capsys.readouterr().out
        assert (tmp_path / "new/soils").is_dir()
        checklist = (tmp_path / "new/checklist.md").read_text("utf-8")
        for layer, source in OPEN_SOURCES.items():
            assert f"**{layer}**" in checklist
            assert source.address in checklist
        assert "[layers.soil_survey] is needed" in (tmp_path / "new/region.toml").read_text("utf-8")

    def test_what_cannot_be_read_is_told(self, tmp_path: Path) -> None:
        (tmp_path / "page.zip").write_text("<html>Sign in</html>")
        (tmp_path / "empty.csv").write_text("")
        titled = pd.DataFrame([["Report of 2020", None], ["12", "5"], ["1-2", "3"]])
        titled.to_excel(tmp_path / "titled.xlsx", index=False, header=False)
        found = start(tmp_path / "new", [*sorted(tmp_path.iterdir()), tmp_path / "no"], day=DAY)
        told = {sheet.path.name: why for sheet, why in found.findings.unused}
        assert set(told) == {"page.zip", "empty.csv", "titled.xlsx", "no"}
        assert "holds no column names" in told["titled.xlsx"]
        assert all(told.values())

    def test_awkward_names_stay_toml(self, base: Base, tmp_path: Path) -> None:
        folder = tmp_path / 'a "b" \\ ü'
        save(
            base.permits,
            folder / "permits.csv",
            {"TYPE": 'system "type"', "ACTION": "action\ttype"},
        )
        start(tmp_path / "new", [folder, base.folder / "parcels", base.folder / "soils"], day=DAY)
        assert "permits" in read_region(tmp_path / "new/region.toml").sources

    def test_lines_on_the_screen_are_short(
        self, base: Base, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(["new", str(tmp_path / "n"), "--from", str(base.folder), "--quiet"]) == 0
        lines = capsys.readouterr().out.splitlines()
        assert any(line.startswith("parcels") for line in lines)
        short = [line for line in lines if str(tmp_path) not in line]
        assert max(map(len, short)) <= 100


class TestSystems:
    def test_parcels_without_a_system_are_placed_by_the_soils(
        self, base: Base, tmp_path: Path
    ) -> None:
        files = SETS["lost_system"](base, tmp_path / "f").files
        start(tmp_path / "n", files, day=DAY)
        source = read_region(tmp_path / "n/region.toml").sources["parcels"]
        given = gpd.read_file(base.folder / "parcels/parcels.shp").to_crs(4326).total_bounds
        lost = gpd.read_file(tmp_path / "f/parcels.shp").set_crs(source.crs).to_crs(4326)
        assert np.allclose(lost.total_bounds, given, atol=2e-5)  # within 2 m: WGS 84 or NAD 83

    def test_feet_sold_as_meters_are_told(self, base: Base, tmp_path: Path) -> None:
        in_feet = base.lots.geometry.scale(1 / 0.3048, 1 / 0.3048, origin=(0, 0))
        scaled = base.lots.set_geometry(in_feet)
        scaled.to_file(tmp_path / "parcels.gpkg")
        found = start(tmp_path / "n", [tmp_path / "parcels.gpkg", base.folder / "soils"], day=DAY)
        assert any("parcels" in line and "does not lie" in line for line in found.warnings)

    def test_square_feet_and_degrees_are_brought_to_square_meters(self) -> None:
        assert square_meters(1.0, "EPSG:2264", None) == pytest.approx((1200 / 3937) ** 2)
        at = (-87.01, 43.59, -86.99, 43.61)
        lot = gpd.GeoSeries([shapely.box(499_950, 4_827_950, 500_050, 4_828_050)], crs=32616)
        area = float(shapely.area(lot.to_crs(4326).to_numpy())[0])
        assert square_meters(area, "EPSG:4326", at) == pytest.approx(10_000, rel=5e-3)

    def test_the_zone_of_the_place(self) -> None:
        assert compute_in(None, (-87.1, 43.5, -86.9, 43.7)).code == "EPSG:26916"
        assert compute_in("EPSG:32616", None).code == "EPSG:32616"
        here = (-87.1, 43.5, -86.9, 43.7)
        assert fitting_systems((499_000, 4_827_000, 501_000, 4_829_000), here)[0] == "EPSG:26916"


class TestDates:
    @pytest.mark.parametrize(
        ("cells", "wanted", "sure"),
        [
            (["03-Aug-66", "12-Sep-19"], "%d-%b-%y", True),
            (["8/3/66", "9/25/19"], "%m/%d/%y", True),
            (["25/12/1999", "03/04/2001"], "%d/%m/%Y", True),
            (["12/25/1999", "03/04/2001"], None, True),
            (["02/03/1999", "03/04/2001"], None, False),
            (["25/12/1999", "12/25/2001"], None, False),
            (["1999-12-25", "2001-04-03 00:00:00"], None, True),
            (["36519", "40000"], None, False),
            (["1999-12-25", "12/25/1999", "03-Aug-66"], "%m/%d/%Y %d-%b-%y", True),
            (["1999-12-25", "25/12/1999", "03-Aug-66"], "%d/%m/%Y %d-%b-%y", True),
            (["1999-12-25", "02/03/1999", "December 5, 1999"], None, False),
            (["1999-12-25", "12/25/1999", "25.12.1999"], None, False),
        ],
    )
    def test_ways_of_writing(self, cells: list[str], wanted: str | None, sure: bool) -> None:
        found = look_at_dates(pd.Series(cells))
        assert (" ".join(found.formats) or None, found.sure) == (wanted, sure)


class TestAddresses:
    def test_one_in_two_columns_is_written_and_marked(self, base: Base, tmp_path: Path) -> None:
        parts = base.tax["SITEADDR"].str.extract(r"^(?P<no>\d+)\s+(?P<street>.*)$").fillna("")
        tax = base.tax.drop(columns="SITEADDR").assign(
            HOUSE_NO=parts["no"], ST_NAME=parts["street"]
        )
        save(tax, tmp_path / "tax.csv", {})
        start(tmp_path / "new", [base.folder / "parcels/parcels.shp", tmp_path / "tax.csv",
                                 base.folder / "soils"], day=DAY)  # fmt: skip
        text = (tmp_path / "new/region.toml").read_text()
        assert 'address = { column = "HOUSE_NO", and_columns = ["ST_NAME"] }  # CHECK' in text
        spec = read_region(tmp_path / "new/region.toml").sources["parcels"].columns["address"]
        assert spec.and_columns == ("ST_NAME",)

    def test_a_house_number_alone_is_no_address(self) -> None:
        assert (
            address_parts(pd.DataFrame({"HOUSE_NO": ["1"], "OWNER_STREET": ["Elm St"]}), []) is None
        )


class TestTables:
    def test_aliases_name_declared_columns(self) -> None:
        for layer, columns in ALIASES.items():
            assert set(columns) <= set(LAYERS[layer].column_names), layer
        every = {name for layer in LAYERS.values() for name in layer.column_names}
        assert set(USUAL) | set(SAID) <= every

    def test_every_phrase_says_its_column(self) -> None:
        """A phrase that the words to be avoided forbid would match nothing."""
        for layer, columns in ALIASES.items():
            for column, said in columns.items():
                lost = [phrase for phrase in said if name_score(phrase, layer, column) < 0.5]
                assert lost == [], (layer, column)

    def test_codes_lead_to_declared_words(self) -> None:
        columns: dict[str, list[Column]] = {}
        for layer in LAYERS.values():
            for column in layer.columns:
                columns.setdefault(column.name, []).append(column)
        for name, said in SAID.items():
            domain = next(c.domain for c in columns[name] if c.domain)
            assert set(said) <= set(domain), name

    def test_layers_and_sources_are_layers(self) -> None:
        known = {*LAYERS, SOIL_SURVEY}
        assert set(FILE_WORDS) <= known
        assert set(OPEN_SOURCES) <= known
        assert set(USUAL) <= {
            column.name for layer in LAYERS.values() for column in layer.columns
            if column.unit in FACTORS
        }  # fmt: skip
        assert all(words_of(word) for said in AVOIDED.values() for word in said.split())


def test_generated_pages_are_as_the_code_writes_them(repo: Path) -> None:
    assert (repo / "docs/layers/units.md").read_text("utf-8") == units_page()
    assert (repo / "docs/layers/where.md").read_text("utf-8") == where_to_get_page()
    assert {word for factors in FACTORS.values() for word in factors} == set(UNIT_NAMES)
