from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from riskmap.contract.errors import RegionError
from riskmap.contract.units import GALLON_L
from riskmap.failure import rules_data as failure_rules
from riskmap.failure.assess import assess_failure
from riskmap.publish.map.county_map import base_map
from riskmap.region.keys import ACCEPT_RULES, FLOW_RULES, KEYS
from riskmap.region.page import region_file_page
from riskmap.region.read import read_region
from riskmap.stages.failure import failure_choices

SMALL = """
[county]
name = "Nowhere County"
date = 2026-06-01
[layers.parcels]
file = "parcels.gpkg"
[layers.parcels.columns]
parcel_id = "PIN"
living_area_m2 = { column = "SQFT", unit = "ft2" }
land_use = { column = "USE", values = { R1 = "residential" } }
[layers.soil_survey]
file = "soils"
"""


def write(folder: Path, text: str) -> Path:
    path = folder / "region.toml"
    path.write_text(text, encoding="utf-8")
    return path


def refusal(folder: Path, text: str) -> str:
    with pytest.raises(RegionError) as caught:
        read_region(write(folder, text))
    return str(caught.value)


def test_small_file_gets_defaults(tmp_path: Path) -> None:
    region = read_region(write(tmp_path, SMALL))
    assert region.name == "Nowhere County"
    assert region.crs is None
    assert region.rules.horizon_yr == 5.0
    assert region.sources["parcels"].files == (tmp_path / "parcels.gpkg",)
    assert region.sources["parcels"].columns["living_area_m2"].unit == "ft2"


def test_length_given_in_feet(tmp_path: Path) -> None:
    region = read_region(write(tmp_path, SMALL + "[rules]\nwell_setback_ft = 100\n"))
    assert region.rules.well_setback_m == pytest.approx(30.48, abs=1e-12)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("[rules]\nwel_setback_m = 3\n", "Did you mean well_setback_m?"),
        ("[rules]\nwell_setback_m = 3\nwell_setback_ft = 10\n", "not both"),
        ("[rules]\nwell_setback_m = -3\n", "must lie between 0 and 1000"),
        ('[rules]\nflow_rule = "person_us"\n', "Did you mean person_use?"),
        ("[rules]\nhorizon_yr = true\n", "is wanted"),
        ("[rules]\nclass_cuts = [10, 20, 20, 30]\n", "four rising scores"),
        ("[layers.welss]\nfile = 'w.csv'\n", "Did you mean wells?"),
        ("[layers.wells]\n", "either file or files"),
        (
            "[layers.wells]\nfile='a'\n[layers.wells.columns]\ndepht_m='D'\n",
            "Did you mean depth_m?",
        ),
        (
            "[layers.wells]\nfile='a'\n[layers.wells.columns]\ndepth_m={column='D',unit='feet'}\n",
            "use one of m, ft",
        ),
        ("[layers.wells]\nfile='a'\nkeep_private=['owner']\n", "not a private column"),
        ("[layers.wells]\nfile='a'\nattributes='b'\n", "go together"),
        ("[layesr]\n", "Did you mean layers?"),
    ],
)
def test_mistakes_are_refused_with_a_suggestion(tmp_path: Path, change: str, words: str) -> None:
    assert words in refusal(tmp_path, SMALL + change)


def test_missing_soils_are_named(tmp_path: Path) -> None:
    text = SMALL.replace('[layers.soil_survey]\nfile = "soils"\n', "")
    assert "[layers.soil_survey] is missing" in refusal(tmp_path, text)


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:2264", "EPSG:999999"])
def test_unusable_crs_is_refused(tmp_path: Path, crs: str) -> None:
    text = SMALL.replace("[layers.parcels]\n", f'crs = "{crs}"\n[layers.parcels]\n', 1)
    assert crs in refusal(tmp_path, text)


def test_broken_toml_names_the_line(tmp_path: Path) -> None:
    assert "line 2" in refusal(tmp_path, "\n[county\n")


def test_every_key_stands_on_the_page() -> None:
    page = region_file_page()
    assert all(f"`{key.name}`" in page for key in KEYS)


def test_written_page_is_current(repo: Path) -> None:
    assert (repo / "docs" / "region_file.md").read_text(encoding="utf-8") == region_file_page()


def test_rule_names_are_those_of_the_failure_room() -> None:
    assert set(FLOW_RULES) == set(failure_rules.FLOW_RULES)
    assert set(ACCEPT_RULES) <= set(failure_rules.LOADING_RULES)


SIZING = """
[[rules.sizing]]
flow_rule = "bedroom_illinois"
accept_rule = "illinois_percolation"
to = 1989
[[rules.sizing]]
flow_rule = "bedroom_montana"
accept_rule = "montana_percolation"
from = 1990
"""


def test_sizing_rules_by_year(tmp_path: Path) -> None:
    rules = read_region(write(tmp_path, SMALL + SIZING)).rules
    assert [(p.flow_rule, p.first_year, p.last_year) for p in rules.sizing] == [
        ("bedroom_illinois", None, 1989),
        ("bedroom_montana", 1990, None),
    ]
    systems = pd.DataFrame(
        {"kind": "trench", "bedrooms": 3.0, "installed_year": [1980.0, 2000.0], "clay_pct": 15.0}
    )
    found = assess_failure(systems, choices=failure_choices(rules))
    # Illinois 200 gal/bedroom, Montana 300 gal for 3 bedrooms
    assert found["design_flow_used_l_d"].to_numpy() / GALLON_L == pytest.approx([600, 300])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("bedroom_illinois", "Did you mean"),
        ("to = 1989", "a year is wanted"),
        ("from = 1990", "ends (1980) before it begins (1990)"),
        ('accept_rule = "montana_percolation"', "accept_rule = None"),
    ],
)
def test_wrong_sizing_rules_are_refused(tmp_path: Path, change: str, words: str) -> None:
    new = {"bedroom_illinois": "bedroom_ilinois", "to = 1989": "to = '89'"}
    new |= {"from = 1990": "from = 1990\nto = 1980", 'accept_rule = "montana_percolation"': ""}
    assert words in refusal(tmp_path, SMALL + SIZING.replace(change, new[change]))


def test_online_background_only_where_asked_for(tmp_path: Path) -> None:
    assert base_map(read_region(write(tmp_path, SMALL))) is None
    text = SMALL + "[map]\nbase_map_tiles = 'https://tiles.example/{z}/{x}/{y}.png'\n"
    found = base_map(read_region(write(tmp_path, text)))
    assert found is not None
    assert found.url.startswith("https://tiles.example/")
