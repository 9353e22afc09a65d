from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from data_pipelines.soil_survey import SoilSurvey, domains, read_soil_survey

Make = Callable[..., Any]


@pytest.fixture
def read(tmp_path: Path, tiny: Make, put_tables: Make) -> Make:
    def _read(change: Callable[[dict[str, list[list[object]]]], None]) -> SoilSurvey:
        tables = tiny()
        change(tables)
        put_tables(tmp_path, tables)
        return read_soil_survey([tmp_path])

    return _read


def test_values_arrive_in_canonical_form(tiny_area: Path) -> None:
    survey = read_soil_survey([tiny_area])
    able = survey.soil_components.iloc[0]
    assert able["drainage_class"] == "well"
    assert able["hydrologic_group"] == "B"
    assert able["comppct"] == 85
    assert survey.soil_mapunits.loc[0, "published_class"] == "somewhat limited"
    assert survey.soil_mapunits.loc[0, "area_symbol"] == "ZZ001"
    month = survey.soil_months.iloc[0]
    assert (month["month"], month["wet_top_cm"], month["wet_bottom_cm"]) == (4, 150, 200)
    # horizons in depth order; the representative texture, not the first one listed
    assert survey.soil_horizons["name"].tolist() == ["Ap", "Bt"]
    assert survey.soil_horizons["texture"].tolist()[1] == "L"


def test_words_match_whatever_their_case_and_brackets(read: Make, faults: Make) -> None:
    def change(tables: dict[str, list[list[object]]]) -> None:
        tables["comonth"][0][2:6] = ["RARE", "Brief (2 to 7 days)", "frequent ", "VERY LONG"]
        tables["component"][0][9] = "SOMEWHAT POORLY DRAINED"

    survey = read(change)
    month = survey.soil_months.iloc[0]
    assert month["flooding_frequency"] == "rare"
    assert month["flooding_duration"] == "brief"
    assert month["ponding_frequency"] == "frequent"
    assert month["ponding_duration"] == "very long"
    assert survey.soil_components.loc[0, "drainage_class"] == "somewhat poorly"
    assert faults(survey.defects).empty


def test_unknown_words_become_unknown_with_a_defect(read: Make) -> None:
    def change(tables: dict[str, list[list[object]]]) -> None:
        tables["comonth"][0][2] = "Common"  # obsolete since the survey's revision
        tables["component"][0][11] = "E"

    survey = read(change)
    assert survey.soil_months["flooding_frequency"].isna().all()
    unknown = survey.defects[survey.defects["check"] == "unknown value"]
    assert unknown[["column", "row", "value"]].to_numpy().tolist() == [
        ["hydrologic_group", "101", "E"],
        ["flooding_frequency", "131", "Common"],
    ]


@pytest.mark.parametrize(
    ("written", "kind"),
    [
        ("Lithic bedrock", "lithic bedrock"),
        ("bedrock, lithic", "lithic bedrock"),
        ("PETROCALCIC", "petrocalcic"),
    ],
)
def test_restriction_kinds_in_both_spellings(read: Make, written: str, kind: str) -> None:
    def change(tables: dict[str, list[list[object]]]) -> None:
        tables["corestrictions"] = [[written, "Indurated", 50, 80, "101", "1r"]]

    table = read(change).soil_restrictions
    assert table[["kind", "hardness", "top_cm"]].to_numpy().tolist() == [[kind, "indurated", 50.0]]


def test_numbers_that_are_none_or_not_possible(read: Make) -> None:
    def change(tables: dict[str, list[list[object]]]) -> None:
        tables["chorizon"][0][11] = "fast"
        tables["chorizon"][1][11] = -9999

    survey = read(change)
    assert survey.soil_horizons["ksat_um_s"].isna().all()
    found = survey.defects[survey.defects["column"] == "ksat_um_s"]
    assert found[["check", "row"]].to_numpy().tolist() == [
        ["not a number", "112"],
        ["not possible", "111"],
    ]


def test_blank_is_missing_and_zero_is_zero(read: Make) -> None:
    def change(tables: dict[str, list[list[object]]]) -> None:
        tables["chorizon"][0][3:5] = ["", 0]

    horizons = read(change).soil_horizons.set_index("chkey")
    assert np.isnan(horizons.loc["112", "fragments_over_250_pct"])
    assert horizons.loc["112", "fragments_76_250_pct"] == 0


@pytest.mark.parametrize("status", ["Wet", "wet", "Saturation", "Saturation from capillary fringe"])
def test_shallowest_wet_layer_of_a_month(read: Make, status: str) -> None:
    def change(tables: dict[str, list[list[object]]]) -> None:
        tables["cosoilmoist"] = [
            [120, 200, "Wet", "131", "1a"],
            [30, 60, status, "131", "1b"],
            [0, 30, "Moist", "131", "1c"],
        ]

    month = read(change).soil_months.iloc[0]
    assert (month["wet_top_cm"], month["wet_bottom_cm"]) == (30, 60)


@pytest.mark.parametrize(
    ("table", "row"),
    [
        ("chtexturegrp", ["PF-GR-SIL", "No ", "112", "163"]),
        ("chtexture", ["", "Consolidated permafrost (ice rich)", "161", "172"]),
        ("chtexturemod", ["Permanently frozen", "171", "181"]),
    ],
)
def test_frozen_ground_is_seen_in_any_texture_entry(
    read: Make, table: str, row: list[object]
) -> None:
    horizons = read(lambda tables: tables[table].append(row)).soil_horizons.set_index("chkey")
    assert horizons["frozen"].to_dict() == {"111": False, "112": True}


def test_a_lost_layer_shows_in_the_depths(read: Make) -> None:
    def change(tables: dict[str, list[list[object]]]) -> None:
        tables["chorizon"][1][2] = 15  # the layer above ended at 20 cm, where the next begins

    found = read(change).defects
    found = found[found["check"] == "layers do not meet"]
    words = "one ends at 15 cm, the next begins at 20 cm"
    assert found[["row", "value"]].to_numpy().tolist() == [["101", words]]


@pytest.mark.parametrize(
    ("table", "column"),
    [("chorizon", 11), ("corestrictions", 2), ("cosoilmoist", 0), ("component", 6)],
)
def test_an_unreadable_number_leaves_its_component_unrated(
    read: Make, table: str, column: int
) -> None:
    def change(tables: dict[str, list[list[object]]]) -> None:
        tables["corestrictions"] = [["Fragipan", "", 50, 80, "101", "1r"]]
        tables[table][0][column] = "12 ft"

    survey = read(change)
    assert survey.soil_components["gaps"].fillna("").tolist() == ["unreadable numbers", ""]
    assert (survey.defects["check"] == "not a number").sum() == 1


def test_rows_that_only_add_to_others_are_counted(read: Make) -> None:
    survey = read(lambda tables: tables["cosoilmoist"].append([10, 40, "Wet", "999", "1x"]))
    found = survey.defects[survey.defects["check"] == "not joined"]
    assert found[["layer", "value"]].to_numpy().tolist() == [
        ["soil_months", "1 of 3 rows of cosoilmoist"]
    ]


def test_orphans_are_left_out_and_reported(read: Make) -> None:
    survey = read(lambda tables: tables["corestrictions"].append(["Natric", "", 1, 2, "999", "1r"]))
    assert survey.soil_restrictions.empty
    found = survey.defects[survey.defects["check"] == "parent missing"]
    assert found[["layer", "row"]].to_numpy().tolist() == [["soil_restrictions", "999"]]


def test_domains_cover_the_survey_own_lists(shared_data: Path) -> None:
    """Every live choice of the lists we use, read from a real export's domain table."""
    ours = {
        "component_kind": domains.COMPONENT_KINDS,
        "drainage_class": domains.DRAINAGE,
        "hydrologic_group": domains.GROUPS,
        "hydric_rating": domains.HYDRIC,
        "flooding_frequency_class": domains.FLOODING,
        "flooding_duration_class": domains.FLOODING_DURATIONS,
        "ponding_frequency_class": domains.PONDING,
        "ponding_duration_class": domains.PONDING_DURATIONS,
        "restriction_kind": domains.RESTRICTIONS,
        "rupture_resist_block_cem": domains.HARDNESS,
        "soil_moisture_status": domains.MOISTURE,
        "flooding_ponding_month": domains.MONTHS,
    }
    file = shared_data / "soil_survey" / "ia073_area" / "tabular" / "msdomdet.txt"
    table = pd.read_csv(file, sep="|", header=None, dtype=str, keep_default_na=False)
    for name, domain in ours.items():
        live = table[(table[0] == name) & (table[4].str.strip() == "No")][2]
        assert len(live) > 2
        mapped, defects = domains.canonical_words(
            live, domain, layer="x", column=name, rows=live.index.to_series().astype(str)
        )
        assert defects == []
        assert mapped.notna().all()
