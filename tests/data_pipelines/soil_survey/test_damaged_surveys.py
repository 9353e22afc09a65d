"""Damaged surveys: each is read with its faults told, or refused; no soil looks better for it."""

from __future__ import annotations

import random
import re
import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from data_pipelines.soil_survey import SoilSurvey, read_soil_survey
from data_pipelines.soil_survey.schema import TABLES
from riskmap.inventory.soil_limits import rate_components
from tests.damage.comparing import UNSEEN, differences, rated_better, told
from tests.damage.outcomes import cases, outcome
from tests.damage.surveys import FORMS, damage_survey, survey_tables

Make = Callable[..., Any]
NOT_SEEN = "|".join([*UNSEEN, " = ", r"\('Table', \d+\) (deleted|twice)"])
"""Other words in a cell, or whole rows less, show nowhere in a survey."""
LACKING = ("deleted", "renamed", "drop", "cut before", "gone")
"""Damage that takes a table or a column away."""


def rated(survey: SoilSurvey) -> pd.DataFrame:
    return rate_components(
        survey.soil_components, survey.soil_horizons, survey.soil_restrictions, survey.soil_months
    )


def tables_of(survey: SoilSurvey) -> dict[str, pd.DataFrame | None]:
    return {name: value for name, value in vars(survey).items() if name != "defects"}


@cache
def _raw(export: Path) -> Any:
    return survey_tables(export)


def check_damage(export: Path, form: str, folder: Path, numbers: range) -> None:
    tables = _raw(export)
    whole = FORMS[form](export, tables, folder / "whole")
    before = read_soil_survey([whole])
    for case in numbers:
        dice = random.Random(case)
        damaged = folder / f"case_{case}"
        shutil.copytree(whole, damaged)
        what = damage_survey(damaged, form, dice)
        found = outcome(lambda damaged=damaged: read_soil_survey([damaged]))
        place = (case, form, what, found.words)
        assert found.kind in ("read", "refused"), place
        if found.kind == "read" and not re.search(NOT_SEEN, what):
            after = found.value
            changed = differences(tables_of(before), tables_of(after))
            assert not changed or told(before.defects, after.defects), (place, changed)
            if any(word in what for word in LACKING):
                assert not rated_better(rated(before), rated(after)), place
        shutil.rmtree(damaged)


@pytest.mark.fuzz
@pytest.mark.parametrize("form", FORMS)
def test_small_survey(tmp_path: Path, tiny_area: Path, form: str) -> None:
    check_damage(tiny_area, form, tmp_path / "damaged", cases(15))


@pytest.mark.fuzz
@pytest.mark.slow
@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("area", ["ia073_area", "tabular_only/MO201"])
def test_real_survey(tmp_path: Path, shared_data: Path, form: str, area: str) -> None:
    check_damage(shared_data / "soil_survey" / area, form, tmp_path, cases(8))


class TestEveryTableAndColumn:
    """Each declared table and column taken away, one by one."""

    @pytest.fixture
    def without(self, tmp_path: Path, tiny: Make, put_csv: Make) -> Make:
        def read(table: str, column: str = "") -> Any:
            tables = tiny()
            tables["corestrictions"] = [["Lithic bedrock", "Indurated", 50, 80, "101", "1r"]]
            tables["chtexturemod"] = [["Stony", "171", "181"]]
            shutil.rmtree(tmp_path / "csv", ignore_errors=True)
            file = put_csv(tmp_path / "csv", tables=tables) / f"{table}.csv"
            if column:
                frame = pd.read_csv(file, dtype=str, keep_default_na=False)
                frame.rename(columns={column.upper(): "OTHER"}).to_csv(file, index=False)
            elif table:
                file.unlink()
            return outcome(lambda: read_soil_survey([tmp_path / "csv"]))

        return read

    @pytest.mark.parametrize("table", TABLES)
    def test_table(self, without: Make, table: str) -> None:
        found = without(table)
        if TABLES[table].need == "needed":
            assert found.kind == "refused"
            assert f"no table {table}" in found.words or "no soil components" in found.words
            return
        absent = found.value.defects[found.value.defects["check"] == "table absent"]
        assert absent[["value", "action"]].to_numpy().tolist() == [[table, TABLES[table].cost]]
        self._compare(without, found.value, unrated=TABLES[table].need == "rating")

    @pytest.mark.parametrize(
        ("table", "column"),
        [(name, field.source) for name, spec in TABLES.items() for field in spec.fields],
    )
    def test_column(self, without: Make, table: str, column: str) -> None:
        found = without(table, column)
        field = next(f for f in TABLES[table].fields if f.source == column)
        if field.need == "needed":
            assert found.kind == "refused"
            assert f"column {column} of table {table} is not there" in found.words
            return
        defects = found.value.defects
        absent = defects[defects["check"] == "column absent"]
        assert absent["value"].tolist() == [f"{table}.{column}"]
        assert absent["action"].str.len().gt(0).all()
        self._compare(without, found.value, unrated=field.need == "rating")

    def test_frozen_soils_need_the_texture_tables(
        self, tmp_path: Path, tiny: Make, put_csv: Make
    ) -> None:
        tables = tiny()
        tables["component"][0][12] = "Gelisols"
        folder = put_csv(tmp_path / "csv", tables=tables)
        assert read_soil_survey([folder]).soil_components["gaps"].isna().all()
        (folder / "chtexturemod.csv").unlink()
        gaps = read_soil_survey([folder]).soil_components["gaps"]
        assert gaps.fillna("").tolist() == ["chtexturemod", ""]

    def _compare(self, without: Make, survey: SoilSurvey, *, unrated: bool) -> None:
        whole = rated(without("").value)
        assert whole["rating"].notna().tolist() == [True, False]
        assert not rated_better(whole, rated(survey))
        assert survey.soil_components["gaps"].notna().all() == unrated
        if unrated:
            assert rated(survey)["rating"].isna().all()
