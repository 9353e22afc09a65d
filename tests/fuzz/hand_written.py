"""What else the fuzz reads: a soil survey, an earlier result, and files that people write."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Final

import pandas as pd

from data_pipelines.soil_survey import read_soil_survey
from riskmap.contract.features import FEATURES
from riskmap.publish.paper.letter_texts import county_letters, default_letter, read_letter
from riskmap.region.comparisons import read_comparisons
from riskmap.region.layers import SOIL_SURVEY
from riskmap.region.model_file import model_text, read_model
from riskmap.region.read import read_region, settings_in_force
from riskmap.region.sections import FairnessSettings
from riskmap.repeating import as_recorded, read_record
from riskmap.stages.drift import read_earlier
from riskmap.stages.fairness import read_standing
from riskmap.whatif.steps import read_plan
from tests.fuzz.targets import Make, Outcome, Target, Workshop


def _survey(shop: Workshop) -> Target:
    """The county's soil survey, its horizons struck cell by cell."""
    folder = shop.source(SOIL_SURVEY).files[0]
    files = {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }

    def read(place: Path) -> Outcome:
        survey = read_soil_survey([place])
        return Outcome({}, frozenset(survey.defects["row"]))

    return Target(files, "tabular/chorizon.txt", "text", read, "nothing")


def _earlier_run(shop: Workshop) -> Target:
    """Record and table of an earlier result, as far as a run reads them."""
    del shop
    model = asdict(read_model())
    settings = {"model": model, "in_force": {"county": {"date": "2020-06-01"}}, "field_margin": 1.5}
    record = json.dumps({"settings": settings}).encode()
    table = pd.DataFrame({"parcel_id": ["1", "2"], "priority": [40.0, 60.0]}).to_parquet()
    files = {"run.json": record, "parcels.parquet": table}
    return Target(files, "run.json", "json", _only(read_earlier), "nothing")


def _record(shop: Workshop) -> Target:
    """The record of a run, as far as the run that repeats it reads it."""
    held = json.loads(json.dumps(settings_in_force(shop.county), default=str))
    content = {"inputs_sha256": {}, "versions": {}, "settings": {"in_force": held}}
    content |= {"region_file": "region.toml"}

    def read(place: Path) -> Outcome:
        record = read_record(place / "run.json")
        as_recorded(shop.county, record.content["settings"]["in_force"])
        return Outcome({}, frozenset())

    return Target({"run.json": json.dumps(content).encode()}, "run.json", "json", read, "nothing")


def _one_file(name: str, text: str, form: str, read: Callable[[Path], object]) -> Make:
    """Make a target of a file with these words."""
    files = {name: text.encode()}
    return lambda _: Target(files, name, form, _only(lambda place: read(place / name)), "nothing")


def _only(read: Callable[[Path], object]) -> Callable[[Path], Outcome]:
    """Read for the errors only."""

    def reading(place: Path) -> Outcome:
        read(place)
        return Outcome({}, frozenset())

    return reading


def _region_file(shop: Workshop) -> Target:
    text = shop.county.path.read_text(encoding="utf-8")
    return _one_file("region.toml", text, "binary", read_region)(shop)


def _letter(path: Path) -> None:
    for language, found in county_letters(path.parent).items():
        read_letter(found, language)


_COMPARISONS: Final = "first,second,times\nage,wetness,3\nage,slope,1/2\nwetness,slope,0.5\n"
_SCENARIO: Final = """
name = "North"
[[step]]
do = "sewer"
area = "north.geojson"
cost_each = 25000
[[step]]
do = "less water"
times = 0.5
zones = ["C01", "C02"]
"""
_STANDING: Final = "neighborhood,income\nNorth,41000\nSouth,\nEast,52000\n"

HAND_WRITTEN: Final[Mapping[str, Make]] = {
    "soil survey": _survey,
    "earlier run": _earlier_run,
    "record of a run": _record,
    "region file": _region_file,
    "scoring model": _one_file(
        "model.toml", model_text(), "binary", lambda path: read_model(path, features=FEATURES)
    ),
    "letter": _one_file(
        "letter_en.toml", default_letter("en").read_text(encoding="utf-8"), "binary", _letter
    ),
    "scenario": _one_file("scenario.toml", _SCENARIO, "binary", read_plan),
    "comparisons": _one_file("pairs.csv", _COMPARISONS, "text", read_comparisons),
    "number by neighborhood": _one_file(
        "standing.csv",
        _STANDING,
        "text",
        lambda path: read_standing(path, FairnessSettings(neighborhood="neighborhood")),
    ),
}
