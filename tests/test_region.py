from __future__ import annotations

import contextlib
import json
import tomllib
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from riskmap.contract.errors import RegionError
from riskmap.contract.rules import Rules
from riskmap.contract.settings import settings_of
from riskmap.contract.units import GALLON_L
from riskmap.failure.assess import assess_failure
from riskmap.failure.settings import FailureSettings
from riskmap.publish.map.county_map import base_map
from riskmap.region.page import region_file_page
from riskmap.region.read import read_region, settings_in_force
from riskmap.region.sections import Region, sections
from riskmap.region.values import keys_of

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
    assert region.county.name == "Nowhere County"
    assert region.county.crs == "auto"
    assert region.rules == Rules()
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
        ("[rules]\nhorizon_yr = true\n", "expected a whole number"),
        ("[rules]\nconductivity_m_d = 3\n", "It belongs to [groundwater]"),
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


def test_every_key_stands_on_the_page_with_its_bounds_and_beliefs() -> None:
    pages = region_file_page().split("\n## [")
    for name, section in sections().items():
        (page,) = (part for part in pages if part.startswith(f"{name}]"))
        for one in settings_of(section).values():
            rows = [row for row in page.split("\n") if row.startswith(f"| `{one.key}` |")]
            (row,) = (row for row in rows if one.meaning in row)
            assert one.low is None or f"{one.low:g} to {one.high:g}" in row
            assert one.source in row
            for belief in one.beliefs:
                assert f"{belief.low:.3g} to {belief.high:.3g}, {belief.shape}" in row


def test_written_page_is_current(repo: Path) -> None:
    assert (repo / "docs" / "region_file.md").read_text(encoding="utf-8") == region_file_page()


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
    found = assess_failure(systems, rules=rules, physics=FailureSettings())
    # Illinois 200 gal/bedroom, Montana 300 gal for 3 bedrooms
    assert found["design_flow_used_l_d"].to_numpy() / GALLON_L == pytest.approx([600, 300])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("bedroom_illinois", "Did you mean"),
        ("to = 1989", "expected a whole number"),
        ("from = 1990", "ends (1980) before it begins (1990)"),
        ('accept_rule = "montana_percolation"', "table 2: accept_rule is missing"),
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


FAULTY = """
[county]
nmae = "Nowhere County"
date = "2026-06-01"
[rules]
horizon = 5
flow_rule = "person_us"
[groundwater]
porosity_frac = 3
[layers.parcels]
file = ["a"]
[layers.parcels.columns]
living_area_m2 = { column = "SQFT", unit = "sqft" }
bedroms = "BEDS"
[layers.welss]
file = "w.csv"
"""


def test_all_faults_are_reported_together(tmp_path: Path) -> None:
    found = refusal(tmp_path, FAULTY)
    for words in (
        "region.toml has 11 faults",
        "[county]: unknown key 'nmae'. Did you mean name?",
        "[county]: name is missing",
        "expected a date such as 2026-06-01",
        "unknown key 'horizon'. Did you mean horizon_yr?",
        "Did you mean person_use?",
        "[groundwater] porosity_frac = 3: must lie between 0.01 and 0.6",
        "Did you mean wells?",
        "[layers.soil_survey] is missing",
        "[layers.parcels] file = ['a']: expected a name",
        "Did you mean bedrooms?",
        "unit = 'sqft': use one of m2, ft2",
    ):
        assert words in found
    assert found.count("\n- ") == 11


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "region.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SMALL.encode("utf-8"))
    assert read_region(path).county.name == "Nowhere County"


def test_settings_in_force_are_all_and_plain(tmp_path: Path) -> None:
    region = read_region(write(tmp_path, SMALL + "[wells]\nhome_l_d = 700\n"))
    held = json.loads(json.dumps(settings_in_force(region), default=str))
    assert list(held) == list(sections())
    assert held["wells"]["home_l_d"] == 700.0
    assert held["groundwater"]["thickness_m"] == 50.0
    assert held["county"]["date"] == "2026-06-01"
    assert held["rules"]["sizing"][0]["flow_rule"] == "bedroom_trade"


def test_the_settings_in_force_repeat_the_run(tmp_path: Path) -> None:
    """What run.json holds, written as a region file, is read as the same settings."""
    given = SMALL + SIZING + "[groundwater]\nthickness_m = 35\n[learning]\nwindow_yr = 4\n"
    first = read_region(write(tmp_path, given))
    held = json.loads(json.dumps(settings_in_force(first), default=str))
    lines = []
    for name, section in sections().items():
        rows = {one.key: held[name][one.name] for one in settings_of(section).values()}
        plain = {k: v for k, v in rows.items() if k != "sizing" and v not in (None, [])}
        lines += [f"[{name}]", *(f"{k} = {_toml(v)}" for k, v in plain.items())]
        for period in rows.get("sizing", ()):
            years = {"from": period.pop("first_year"), "to": period.pop("last_year")}
            every = period | {k: v for k, v in years.items() if v is not None}
            lines += ["[[rules.sizing]]", *(f"{k} = {_toml(v)}" for k, v in every.items())]
    again = read_region(write(tmp_path, "\n".join(lines) + SMALL[SMALL.index("\n[layers") :]))
    assert settings_in_force(again) == settings_in_force(first)


def _toml(value: object) -> str:
    return value if isinstance(value, str) and value[:4] == "2026" else json.dumps(value)


TOML = st.recursive(
    st.one_of(
        st.booleans(), st.integers(-(10**30), 10**30), st.floats(), st.dates(), st.datetimes(),
        st.text(max_size=8), st.sampled_from(["priority", "m", "EPSG:32616", "auto", "parcels"]),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=6), inner, max_size=3)
    ),
    max_leaves=6,
)  # fmt: skip
FILE_KEYS = ("file", "files", "columns", "join_on", "attributes", "keep_private", "x", "form")
COLUMN_KEYS = ("column", "unit", "values", "constant", "date_format", "")
PLACES = [
    *((name, key) for name, section in sections().items() for key in (*keys_of(section), "")),
    *(("", name) for name in (*sections(), "layers")),
    *(("layers", name) for name in ("", "parcels", "wells")),
    *((f"layers.{name}", key) for name in ("parcels", "soil_survey") for key in FILE_KEYS),
    *((f"layers.parcels.columns.{name}", key) for name in ("parcel_id", "land_use", "bedrooms")
      for key in COLUMN_KEYS),
]  # fmt: skip


@given(st.sampled_from(PLACES), TOML)
@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_value_at_any_place_is_read_or_refused_in_words(
    place: tuple[str, str], value: object
) -> None:
    """Whatever stands in the file, the answer is a region or a RegionError."""
    content = tomllib.loads(SMALL)
    table = content
    for part in filter(None, place[0].split(".")):
        if not isinstance(table.get(part), dict):
            table[part] = {}
        table = table[part]
    table[place[1] or "xyz"] = value
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("riskmap.region.read._read", lambda _: (content, ""))
        with contextlib.suppress(RegionError):
            assert isinstance(read_region("region.toml"), Region)


@given(st.binary(max_size=60))
@settings(max_examples=100, deadline=None)
def test_any_file_is_read_or_refused_in_words(
    tmp_path_factory: pytest.TempPathFactory, raw: bytes
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.toml"
    path.write_bytes(raw)
    with pytest.raises(RegionError):
        read_region(path)


@pytest.mark.parametrize("text", ["a = " + "[" * 5000, "a" * 10, "a = " + "9" * 5000])
def test_toml_that_is_too_deep_or_too_long(tmp_path: Path, text: str) -> None:
    with pytest.raises(RegionError, match=r"not valid TOML|nest"):
        read_region(write(tmp_path, text))
