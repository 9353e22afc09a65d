"""The recipes of the contributors' page, done on a copy of the program."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.fixture
def copy(tmp_path: Path, repo: Path) -> Path:
    for name in ("riskmap", "data_pipelines"):
        shutil.copytree(repo / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__"))
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
from riskmap.contract.features import in_sentence
from riskmap.contract.layers import PERMITS
from riskmap.failure.aging import chance_failing_frac
from riskmap.contract.rules import Rules
from riskmap.failure.assess import assess_failure
from riskmap.failure.settings import FailureSettings
from riskmap.groundwater.nitrogen import system_load
from riskmap.groundwater.settings import GroundwaterSettings

row = pd.DataFrame({"kind": ["sand_filter"], "age_yr": [20.0], "bedrooms": [3.0],
                    "ksat_um_s": [9.0], "field_area_m2": [60.0]})
print("sand_filter" in PERMITS.column("kind").domain, in_sentence(row["kind"], "kind", "us")[0])
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
    path.write_text(text.replace("LAND, LENGTH\n", "LAND, LENGTH, SHARE\n", 1))
    out = said(
        copy,
        """
import pandas as pd
from riskmap.action.inspections import look_for
from riskmap.contract.dictionary import data_dictionary
from riskmap.contract.features import in_sentence, column, meaning
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
print(in_sentence(rows["paved_frac"], "paved_frac", "us").tolist(), spread_of("paved_frac").assumed)
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
table = ranked_table(rows, model, units="us")
print(table.loc["a", "reason_1"], bool(table.loc["a", "low_ground_points"] > 0))
print([entry.name for entry in describe_inputs(rows, model)][0])
""",
    )
    assert out.splitlines() == ["The ground is only 361 ft high True", "low_ground"]


def test_a_list_touches_its_module_and_the_list_of_outputs(copy: Path) -> None:
    (copy / "riskmap" / "publish" / "lists" / "oldest.py").write_text(
        '''"""The oldest systems of a county."""

from __future__ import annotations

from pathlib import Path

from riskmap.publish.words.imprint import imprint_of
from riskmap.publish.words.text_safety import csv_text
from riskmap.stages.result import Result


def oldest_list(folder: Path, result: Result) -> None:
    """Write ``lists/oldest.csv``."""
    table = result.parcels[["age_yr"]].sort_values("age_yr", ascending=False)
    place = folder / "lists" / "oldest.csv"
    place.parent.mkdir(parents=True)
    head = imprint_of(result.region)
    place.write_text(head.county + chr(10) + csv_text(table.reset_index()), encoding="utf-8")
''',
        encoding="utf-8",
    )
    edit(
        copy / "riskmap" / "publish" / "outputs.py",
        '    Output(\n        "write the map styles",\n',
        """    Output(
        "write the oldest systems",
        f"{_HERE}.lists.oldest:oldest_list",
        gives=("files_oldest",),
        needs=("parcels",),
        settings=_HEAD,
        files=(File("lists/oldest.csv", "Oldest systems, CSV", "Whom to ask for a plan first."),),
    ),
""",
    )
    out = said(
        copy,
        """
import datetime
from pathlib import Path
import pandas as pd
from riskmap.publish.front_page import links_to
from riskmap.publish.outputs import OUTPUTS, PUBLISHING
from riskmap.publish.run_record import written_by
from riskmap.publish.step_pages import files_page, steps_page
from riskmap.region.sections import CountySettings, Region
from riskmap.stages.making import write_output
from riskmap.stages.order import STAGES
from riskmap.stages.stage import faults

(output,) = [o for o in OUTPUTS if o.name == "write the oldest systems"]
county = CountySettings(name="Nowhere", date=datetime.date(2026, 6, 1))
region = Region(path=Path("r.toml"), county=county, sources={})
lots = pd.DataFrame({"age_yr": [3.0, 41.0]}, index=pd.Index(["a", "b"], name="parcel_id"))
write_output(output, region, {"parcels": lots}, Path("result"))
print(Path("result/lists/oldest.csv").read_text().split())
print([link.title for link in links_to(["lists/oldest.csv"])])
print(written_by(("lists/oldest.csv",))["lists/oldest.csv"]["files"])
print(list(faults((*STAGES, *PUBLISHING))), output in PUBLISHING)
print("lists/oldest.csv" in files_page(), '["write the oldest systems"])' in steps_page())
""",
    )
    assert out.splitlines() == [
        "['Nowhere', 'parcel_id,age_yr', 'b,41', 'a,3']",
        "['Oldest systems, CSV']",
        "1",
        "[] True",
        "True True",
    ]


def test_a_setting_touches_its_section_alone(copy: Path) -> None:
    edit(
        copy / "riskmap" / "region" / "sections.py",
        "    stops: int = setting(40,",
        """    stops_a_day: int = setting(
        8, "Stops of one day", low=1, high=40, source="invented"
    )
""",
    )
    (copy / "region.toml").write_text(
        '[county]\nname = "N"\ndate = 2026-06-01\n[layers.parcels]\nfile = "p.gpkg"\n'
        '[layers.soil_survey]\nfile = "soils"\n[lists]\nstops_a_day = 6\n',
        encoding="utf-8",
    )
    out = said(
        copy,
        """
from pathlib import Path
from riskmap.contract.errors import RegionError
from riskmap.region.page import region_file_page
from riskmap.region.read import read_region, settings_in_force

region = read_region("region.toml")
print(region.lists.stops_a_day, settings_in_force(region)["lists"]["stops_a_day"])
print("| `stops_a_day` | `8` |  | 1 to 40 | Stops of one day." in region_file_page())
for wrong in ("stops_a_day = 99", "stops_a_dya = 6"):
    Path("wrong.toml").write_text(Path("region.toml").read_text().replace("stops_a_day = 6", wrong))
    try:
        read_region("wrong.toml")
    except RegionError as error:
        print("stops_a_day" in str(error), "40" in str(error))
""",
    )
    assert out.splitlines() == ["6 6", "True", "True True", "True False"]


def test_a_reader_touches_its_module_and_the_registry(copy: Path) -> None:
    """Footprints that a source gives as corners in a table, in place of shapes."""
    (copy / "data_pipelines" / "footprint_corners.py").write_text(
        '''"""Reads building footprints given as two corners, meters in the county's system."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS

from data_pipelines.tables import parse_table
from data_pipelines.vector import Bounds
from riskmap.contract.sources import Reading, Source, no_defects


def read_footprints(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read the footprints."""
    raw = pd.concat([parse_corners(path) for path in source.files])
    return canonical_footprints(raw, crs)


def parse_corners(path: Path) -> pd.DataFrame:
    """Parse the table as it is."""
    return parse_table(path, layer="buildings")


def canonical_footprints(raw: pd.DataFrame, crs: CRS) -> Reading:
    """Turn corners into rectangles."""
    corners = raw[["x1", "y1", "x2", "y2"]].astype(float)
    frame = gpd.GeoDataFrame(
        {"building_id": raw["id"]}, geometry=shapely.box(*corners.to_numpy().T), crs=crs
    )
    return Reading(frame, no_defects())
''',
        encoding="utf-8",
    )
    registry = copy / "data_pipelines" / "registry.py"
    text = registry.read_text(encoding="utf-8")
    text = text.replace('"buildings": read_buildings', '"buildings": read_footprints')
    registry.write_text(
        text.replace("from data_pipelines.hydro", FOOTPRINTS + "from data_pipelines.hydro", 1),
        encoding="utf-8",
    )
    (copy / "corners.csv").write_text("id,x1,y1,x2,y2\nA,0,0,10,20\nB,5,5,6,6\n")
    out = said(
        copy,
        """
from pathlib import Path
from pyproj import CRS
from data_pipelines.registry import read_layer
from riskmap.contract.sources import Source

found = read_layer(Source("buildings", (Path("corners.csv"),)), CRS.from_epsg(32616))
print(found.frame["building_id"].tolist(), found.frame.area.tolist(), found.frame.crs.to_epsg())
""",
    )
    assert out.splitlines() == ["['A', 'B'] [200.0, 1.0] 32616"]


FOOTPRINTS = "from data_pipelines.footprint_corners import read_footprints\n"
