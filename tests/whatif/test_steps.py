"""Scenario files: all faults together, each with what to do."""

from __future__ import annotations

from pathlib import Path

import pytest

from riskmap.contract.errors import RegionError
from riskmap.whatif.steps import read_plan


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "plan.toml"
    path.write_text(text)
    return path


def test_a_scenario_is_read(tmp_path: Path) -> None:
    plan = read_plan(
        written(
            tmp_path,
            'name = "North"\n[[step]]\ndo = "sewer"\narea = "north.geojson"\ncost_each = 25000\n'
            '[[step]]\ndo = "less water"\ntimes = 0.5\nname = "Half the water"\n',
        )
    )
    assert plan.name == "North"
    assert [step.title for step in plan.steps] == ["sewer", "Half the water"]
    assert plan.folder == tmp_path


def test_without_a_name_the_file_gives_it(tmp_path: Path) -> None:
    plan = read_plan(written(tmp_path, ""))
    assert (plan.name, plan.steps) == ("plan", ())


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[[steps]]\ndo = "sewer"\n', "step"),
        ('[[step]]\ndo = "sower"\n', "sewer"),
        ('[[step]]\nname = "x"\n', "do is missing"),
        ('[[step]]\ndo = "less water"\n', "less water needs times"),
        ('[[step]]\ndo = "less water"\ntimes = 0\n', "must lie between 0.05 and 5"),
        ('[[step]]\ndo = "sewer"\ntimes = 0.5\n', "sewer does not read times"),
        ('[[step]]\ndo = "sewer"\nzone = ["C01"]\n', "zones"),
        ('[[step]]\ndo = "sewer"\narea = "a"\nzones = ["C01"]\n', "not both"),
        ('[[step]]\ndo = "new houses"\nparcels = ["1"]\nzones = ["C01"]\n', "does not read zones"),
        ('[step]\ndo = "sewer"\n', "[[step]]"),
        ("name = 3\n", "name must be a text"),
        ("name = \n", "plan.toml"),
    ],
)
def test_a_fault_is_said(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(RegionError) as told:
        read_plan(written(tmp_path, text))
    assert words in str(told.value)


def test_all_faults_are_said_together(tmp_path: Path) -> None:
    text = 'nam = "x"\n[[step]]\ndo = "sower"\n[[step]]\ndo = "wet year"\n'
    with pytest.raises(RegionError, match="3 faults") as told:
        read_plan(written(tmp_path, text))
    for words in ("nam", "[[step]] 1", "[[step]] 2", "rise_m"):
        assert words in str(told.value)


def test_no_file(tmp_path: Path) -> None:
    with pytest.raises(RegionError, match=r"none\.toml"):
        read_plan(tmp_path / "none.toml")
