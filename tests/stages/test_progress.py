"""What a person at a terminal sees of a run: how long it will take, and what is left of it."""

from __future__ import annotations

import io
import json
import sys
import time
from pathlib import Path

import pytest

from riskmap.region.sections import Region
from riskmap.stages import making, progress
from riskmap.stages.making import begin
from riskmap.stages.order import STAGES
from riskmap.stages.progress import Progress, duration


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


class TestBar:
    def shown(self, monkeypatch: pytest.MonkeyPatch, stream: io.StringIO, likely_s: float) -> str:
        monkeypatch.setattr(sys, "stderr", stream)
        monkeypatch.setattr(progress, "REFRESH_S", 0.01)
        with Progress(quiet=False).stage("count wells", likely_s):
            time.sleep(0.2)
        return stream.getvalue()

    def test_long_work_shows_the_time_left(self, monkeypatch: pytest.MonkeyPatch) -> None:
        text = self.shown(monkeypatch, Terminal(), 90.0)
        assert "about 90 seconds left" in text
        assert text.splitlines()[-1].startswith("count wells")

    def test_work_past_its_time_says_so(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(progress, "LONG_S", 0.0)
        assert "longer than the last time" in self.shown(monkeypatch, Terminal(), 0.02)

    @pytest.mark.parametrize("likely_s", [0.0, 4.9])
    def test_short_work_shows_none(self, monkeypatch: pytest.MonkeyPatch, likely_s: float) -> None:
        assert "left" not in self.shown(monkeypatch, Terminal(), likely_s)

    def test_a_log_gets_none(self, monkeypatch: pytest.MonkeyPatch) -> None:
        lines = self.shown(monkeypatch, io.StringIO(), 90.0).splitlines()
        assert len(lines) == 1
        assert lines[0].startswith("count wells")


class TestForetelling:
    def test_a_run_says_how_long_it_will_take_by_the_one_before(
        self, region: Region, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(making, "LONG_S", 0.001)

        def told() -> list[str]:
            monkeypatch.setattr(sys, "stderr", stream := io.StringIO())
            begin(region, STAGES, Progress(quiet=False), kept=tmp_path).bring_up("model", "crs")
            return [line for line in stream.getvalue().splitlines() if line.startswith("About")]

        assert told() == [], "nothing ran before"
        assert told() == [], "all is kept"
        for entry in (tmp_path / "entries").iterdir():
            (entry / "entry.json").unlink()
        took = json.loads((tmp_path / "took.json").read_text())["content"][region.path.name]
        assert set(took) == {"read parcels", "read the scoring model"}
        likely = duration(sum(took.values()))
        assert told() == [f"About {likely}, by what the steps to do took before."]
