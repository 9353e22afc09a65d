"""What is written of compared scenarios, and the command that writes it."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from riskmap.stages.progress import Progress
from riskmap.stages.result import Result
from riskmap.whatif.folder import write_scenarios
from riskmap.whatif.following import MEASURES, TODAY, Followed, follow
from riskmap.whatif.steps import Plan, Step
from riskmap.whatif.tables import single_steps

PLANS = [
    Plan("Sewer <all>", (Step(do="sewer", cost_each=100.0), Step(do="less water", times=0.5))),
    Plan("Wet", (Step(do="wet year", rise_m=0.5),)),
]
STEPS = list(single_steps(PLANS))


@pytest.fixture(scope="module")
def followed(county: Result) -> Followed:
    return follow(county, [*PLANS, *STEPS], scenarios=4)


@pytest.fixture(scope="module")
def folder(county: Result, followed: Followed, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("out") / "scenarios"
    write_scenarios(out, county, followed, PLANS, STEPS, Progress(quiet=True))
    return out


def test_tables_hold_every_scenario_and_system(folder: Path, followed: Followed) -> None:
    table = pd.read_csv(folder / "scenarios.csv")
    assert set(table["scenario"]) == {TODAY.name, *(plan.name for plan in PLANS)}
    assert set(table["measure"]) <= set(MEASURES)
    parcels = pd.read_csv(folder / "parcels.csv", dtype={"parcel_id": str})
    assert parcels["parcel_id"].tolist() == followed.systems.tolist()
    assert (parcels["Sewer <all>"] == 0).all()
    worth = pd.read_csv(folder / "steps.csv")
    assert len(worth) == len(STEPS)
    assert worth["per_million_failing"].isna().sum() == 2  # without a cost


def test_the_page_says_what_changes_and_asks_nobody(folder: Path, county: Result) -> None:
    page = (folder / "index.html").read_text(encoding="utf-8")
    assert "Sewer &lt;all&gt;" in page
    assert "<all>" not in page
    assert "http" not in page.replace("http-equiv", "")
    assert page.count("<svg") == len(PLANS)
    assert f"within {county.region.rules.horizon_yr} years" in page
    assert "90% range" in page
    assert "lb a year" in page  # the sample county reads US units
    assert " nan" not in page.lower()


def test_the_folder_is_not_put_in_place_of_another(
    county: Result, followed: Followed, tmp_path: Path
) -> None:
    from riskmap.contract.errors import OutputError

    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "work.txt").write_text("mine")
    with pytest.raises(OutputError):
        write_scenarios(tmp_path / "mine", county, followed, PLANS, STEPS, Progress(quiet=True))
    assert (tmp_path / "mine" / "work.txt").read_text() == "mine"
