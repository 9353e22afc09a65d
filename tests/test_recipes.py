"""The recipes of the contributors' page, done on a copy of the program."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.fixture
def copy(tmp_path: Path, repo: Path) -> Path:
    shutil.copytree(
        repo / "riskmap", tmp_path / "riskmap", ignore=shutil.ignore_patterns("__pycache__")
    )
    return tmp_path


def edit(path: Path, before: str, added: str) -> None:
    """Put lines in front of others; both must be whole lines."""
    text = path.read_text(encoding="utf-8")
    assert text.count(before) == 1
    path.write_text(text.replace(before, added + before), encoding="utf-8")


def said(copy: Path, code: str) -> str:
    """Run code with the copy in place of the program."""
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=copy, env={"PYTHONPATH": str(copy), "PATH": ""},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_a_kind_of_system_touches_one_file(copy: Path) -> None:
    edit(
        copy / "riskmap" / "contract" / "kinds.py",
        "    )\n}\n",
        """        Kind(
            "sand_filter",
            "sand filter",
            Field("trench_or_bed", 1.2, inlet_m=0.3, brim_m=0.6, depth_m=0.4, strength_frac=0.3),
            serving=(0.96, 0.84, "invented"),
            removed_frac=(0.3, 0.1, 0.5, "invented"),
            look_for="The sand: weeds, ponding",
        ),
""",
    )
    out = said(
        copy,
        """
import pandas as pd
from riskmap.action.inspections import look_for
from riskmap.contract.features import aloud
from riskmap.contract.layers import PERMITS
from riskmap.failure.aging import chance_failing_frac
from riskmap.contract.rules import Rules
from riskmap.failure.assess import assess_failure
from riskmap.failure.settings import FailureSettings
from riskmap.groundwater.nitrogen import system_load
from riskmap.groundwater.settings import GroundwaterSettings

row = pd.DataFrame({"kind": ["sand_filter"], "age_yr": [20.0], "bedrooms": [3.0],
                    "ksat_um_s": [9.0], "field_area_m2": [60.0]})
print("sand_filter" in PERMITS.column("kind").domain, aloud(row["kind"], "kind", "us")[0])
print(look_for(row)[0][-1])
found = assess_failure(row, rules=Rules(), physics=FailureSettings())
print(found["stage"].notna()[0], found["reserve_frac"].between(0, 1)[0])
print(0.05 < chance_failing_frac(["sand_filter"], [20.0], within_yr=[5.0])[0] < 0.2)
load = system_load([2.0], ["sand_filter"], settings=GroundwaterSettings())
print(round(float(load["removed_frac"][0]), 3))
""",
    )
    assert out.splitlines() == [
        "True sand filter", "The sand: weeds, ponding", "True True", "True", "0.3"
    ]  # fmt: skip


def test_a_column_is_met_everywhere_once_it_is_declared(copy: Path) -> None:
    edit(
        copy / "riskmap" / "contract" / "features" / "place.py",
        '    number("x_m", ',
        """    number("paved_frac", "Share of the lot within {30 m} that is paved", SHARE, 0, 1,
           evidence=True, label="Paved", card=card.SITE, sheet=True, listed=Listed(8, "buildings"),
           prompts=(Prompt(13.5, "Where the water of the paving goes", least=0.5),)),
""",
    )
    path = copy / "riskmap" / "contract" / "features" / "place.py"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("FIELD_AREA, LAND, LENGTH", "FIELD_AREA, LAND, LENGTH, SHARE"))
    out = said(
        copy,
        """
import pandas as pd
from riskmap.action.inspections import look_for
from riskmap.contract.dictionary import data_dictionary
from riskmap.contract.features import aloud, column, meaning
from riskmap.publish.gis.metadata_layers import described
from riskmap.publish.lists.list_columns import file_name_of, heading, list_table
from riskmap.publish.map.facts import facts_of
from riskmap.publish.paper.sheet_facts import facts_table
from riskmap.ranking.priors import spread_of

rows = pd.DataFrame({"paved_frac": [0.62], "paved_frac_evidence": ["mapped"]},
                    index=pd.Index(["a"], name="parcel_id"))
(fact,) = [fact for fact in facts_of(rows, units="us") if fact.column == "paved_frac"]
print(fact.group, fact.label, fact.unit, fact.evidence)
print(heading(column("paved_frac"), "us"), file_name_of(column("paved_frac"), units="us"),
      list_table(rows, units="us")["paved_frac"].tolist())
print([(f["label"], f["value"], f["known"]) for f in facts_table(rows, "us")[0]])
print(look_for(rows)[0][-1])
print(meaning("paved_frac", "us"), "|", described(column("paved_frac")))
print(aloud(rows["paved_frac"], "paved_frac", "us").tolist(), spread_of("paved_frac").assumed)
print("| paved_frac | number | 0-1 |" in data_dictionary())
""",
    )
    assert out.splitlines() == [
        "Site Paved % True",
        "Paved (%) paved_pct [62.0]",
        "[('Paved', '62%', 'map')]",
        "Where the water of the paving goes",
        "Share of the lot within 98 ft that is paved | "
        "Share of the lot within 30 m that is paved (0-1)",
        "['62%'] 0.3",
        "True",
    ]


def test_a_factor_touches_the_scoring_model_alone(copy: Path) -> None:
    edit(
        copy / "riskmap" / "ranking" / "scoring_model.toml",
        '[[factor]]\nname = "age"\n',
        """[[factor]]
name = "low_ground"
score = "failure"
feature = "elevation_m"
label = "Low ground"
weight = 90
low = 0
high = 100
curve = [[100, 1.0], [200, 0.0]]
unknown = 0.5
source = "invented"
reason = "The ground is only {value} high"

""",
    )
    out = said(
        copy,
        """
import pandas as pd
from riskmap.contract.features import FEATURES
from riskmap.ranking.inputs import describe_inputs
from riskmap.ranking.table import ranked_table
from riskmap.region.model_file import read_model

model = read_model(None, features=FEATURES)
rows = pd.DataFrame({name: pd.Series(pd.NA, index=["a", "b"]) for name in FEATURES})
rows["service"], rows["elevation_m"], rows["age_yr"] = "onsite", [110.0, 190.0], 1.0
rows[["well_distance_m", "water_table_m", "lot_m2", "wet_depth_cm"]] = 500.0
rows[["chance_failed_frac", "chance_stressed_frac", "chance_failing_frac"]] = 0.1
table = ranked_table(rows, model, units="us", cuts=(20, 40, 60, 80))
print(table.loc["a", "reason_1"], bool(table.loc["a", "low_ground_points"] > 0))
print([entry.name for entry in describe_inputs(rows, model)][0])
""",
    )
    assert out.splitlines() == ["The ground is only 361 ft high True", "low_ground"]
