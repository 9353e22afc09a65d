"""A run is repeated from its record; what differs is named."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest

from riskmap.cli import main
from riskmap.contract.errors import OutputError, RegionError
from riskmap.region.read import read_region, settings_in_force
from riskmap.repeating import as_recorded, read_record, repeat
from riskmap.running import open_region, run
from sample_region.make import make_county


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An invented county and its result."""
    folder = tmp_path_factory.mktemp("repeating")
    make_county(folder / "county", parcels=300)
    run(open_region(folder / "county" / "region.toml"), out=folder / "result")
    return folder


def test_nothing_differs(place: Path, tmp_path: Path) -> None:
    files, ranks = repeat(read_record(place / "result" / "run.json"), out=tmp_path / "again")
    count = files.split(" ")[0]
    assert files == f"{count} of {count} files are the same, byte for byte."
    assert "the priority of 0 and the rank of 0 differ" in ranks


def test_recorded_settings_are_used_and_changes_named(place: Path, tmp_path: Path) -> None:
    region = place / "county" / "changed.toml"
    text = (place / "county" / "region.toml").read_text(encoding="utf-8")
    text = re.sub(r"(?m)^contact = .*$", 'contact = "the front desk"', text, count=1)
    region.write_text(text, encoding="utf-8")
    shutil.copytree(place / "result", tmp_path / "result")
    record = tmp_path / "result" / "run.json"
    content = json.loads(record.read_text(encoding="utf-8"))
    content["versions"]["numpy"] = "1.0"
    content["inputs_sha256"]["region.toml"] = "0" * 64
    record.write_text(json.dumps(content), encoding="utf-8")
    said = repeat(read_record(record, region), out=tmp_path / "again")
    contact = content["settings"]["in_force"]["county"]["contact"]
    named = f"[county] contact: 'the front desk' in the region file now; {contact!r}, as"
    assert said[0].startswith(named)
    assert said[1].startswith("numpy: version 1.0 then, ")
    assert "1 input file gone: region.toml." in said
    assert "1 input file new: changed.toml." in said
    assert "the priority of 0 and the rank of 0 differ" in said[-1]


def test_every_setting_comes_back(place: Path) -> None:
    region = read_region(place / "county" / "region.toml")
    recorded = json.loads(json.dumps(settings_in_force(region), default=str))
    assert as_recorded(region, recorded) == region


def test_a_setting_no_longer_taken_is_named(place: Path) -> None:
    region = read_region(place / "county" / "region.toml")
    recorded = json.loads(json.dumps(settings_in_force(region), default=str))
    recorded["rules"]["well_setback_m"] = -1.0
    with pytest.raises(RegionError, match=r"\[rules\] of the record well_setback_m = -1"):
        as_recorded(region, recorded)


@pytest.mark.parametrize(
    ("text", "words"),
    [("", "cannot be read"), ("[]", "cannot be read"), ("{}", "is not the record of a run")],
)
def test_what_is_no_record_is_refused(tmp_path: Path, text: str, words: str) -> None:
    (tmp_path / "run.json").write_text(text, encoding="utf-8")
    with pytest.raises(OutputError, match=words):
        read_record(tmp_path / "run.json")


def test_the_run_itself_is_not_replaced(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    result = place / "result"
    assert main(["rerun", str(result / "run.json"), "--out", str(result), "--quiet"]) != 0
    assert "Name another folder" in capsys.readouterr().err
