"""A stranger's first day: dirty files, one command, a check without an error, a ranked map."""

from __future__ import annotations

import datetime
import json
import re
from pathlib import Path

import pandas as pd
import pytest

from riskmap.cli import main
from riskmap.starting.new import start
from tests.starting.dirty import Base
from tests.starting.dirty_office import office_dirt


@pytest.mark.slow
def test_from_dirty_files_to_a_ranked_map(
    base: Base, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    dirty = office_dirt(base, tmp_path / "files")
    county = tmp_path / "county"
    start(county, [*dirty.files, base.folder / "soils"], day=datetime.date(2026, 6, 1))
    file = county / "region.toml"
    text = file.read_text()
    assert main(["check", str(file), "--quiet"]) == 0, capsys.readouterr().err
    file.write_text(re.sub(r'^# sewers = "none"', 'sewers = "none"', text, flags=re.M))
    out = tmp_path / "result"
    assert main(["run", str(file), "--out", str(out), "--quiet"]) == 0, capsys.readouterr().err
    told = set(pd.read_csv(out / "data_quality.csv")["check"])
    assert {"title_rows", "serial_date", "archive_in_archive"} <= told
    counts = json.loads((out / "run.json").read_text())["counts"]
    assert counts["ranked"] > 150, counts
