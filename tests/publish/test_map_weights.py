"""Weights moved in the page against the program itself: the same scores, the same model file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from riskmap.contract.features import FEATURES
from riskmap.ranking.score import score
from riskmap.region.model_file import read_model

pytestmark = pytest.mark.browser

MOVED = {"age": 23.26, "load": 4.0, "pumping": 11.4, "well_distance": 21.2, "stream": 8.0,
         "separation": 17.02}  # fmt: skip


def _move(page: Any, moved: dict[str, float]) -> None:
    page.run("document.getElementById('weights').open = true")
    page.wait_for("document.getElementById('weight-age')")
    for name, value in moved.items():
        page.set(f"weight-{name}", value)


def _now(page: Any, kind: str) -> pd.Series:
    values = page.run(f"return Array.from(county.scores.current.{kind})")
    return pd.Series(values, index=page.run("return county.facts.parcel_id.lines()"), dtype=float)


def _listed(page: Any) -> list[str]:
    return [e.text for e in page.browser.find_elements("css selector", "#top-list .who")]


def _onsite(full: Any) -> pd.Index:
    return full.features.index[full.features["service"] == "onsite"]


class TestWeights:
    def test_the_saved_model_gives_the_pages_scores(
        self, page: Any, full: Any, tmp_path: Path, screenshots: Path
    ) -> None:
        _move(page, MOVED)
        page.run("document.getElementById('weights-save').click()")
        path = tmp_path / "changed.toml"
        path.write_text(page.run("return county.lastSaved.text"), encoding="utf-8")
        model = read_model(path, features=FEATURES)  # as a run reads [model] file
        weights = {factor.name: factor.weight for factor in model.factors}
        base = {factor.name: factor.weight for factor in full.model.factors}
        assert {n for n in weights if weights[n] != base[n]} == set(MOVED)
        for name, value in MOVED.items():
            assert weights[name] == pytest.approx(value, abs=0.13)  # a step of the slider
        assert model == full.model.with_weights({name: weights[name] for name in MOVED})
        scores = score(full.features, model).scores.loc[_onsite(full)]
        for kind in ("failure", "groundwater"):
            want = scores[f"{kind}_score"]
            assert np.array_equal(_now(page, kind)[want.index].to_numpy(), want.to_numpy())
        before = full.ranked.loc[_onsite(full), "failure_score"]
        assert (scores["failure_score"] != before).mean() > 0.5
        page.run("document.getElementById('weights').scrollIntoView()")
        page.browser.save_screenshot(str(screenshots / "map_weights.png"))

    def test_no_weight_moves_a_list_of_chances(self, page: Any) -> None:
        listed, priority = _listed(page), _now(page, "priority")
        _move(page, MOVED)
        assert _listed(page) == listed
        assert _now(page, "priority").equals(priority)
        assert "no weight changes" in page.browser.find_element("id", "weights").text

    def test_where_water_counts_the_list_follows(self, page: Any) -> None:
        """Priority = chance x groundwater score: the chance stays, the score moves."""
        page.run("county.plan.by_water = true")
        priority, water = _now(page, "priority"), _now(page, "groundwater")
        _move(page, MOVED)
        scored = water[water > 0].index
        want = priority[scored] * _now(page, "groundwater")[scored] / water[scored]
        assert np.abs(_now(page, "priority")[scored] - want).max() <= 0.0005 + 1e-9
        ids = page.run("return county.facts.parcel_id.lines()")
        ranks = pd.Series(page.run("return Array.from(county.scores.allRanks())"), index=ids)
        first = _listed(page)
        assert first == list(ranks[ranks > 0].sort_values().index[: len(first)])
        assert _now(page, "priority")[first].is_monotonic_decreasing
        moves = {e.text for e in page.browser.find_elements("css selector", "#top-list .move")}
        assert moves != {"same place"}

    def test_back_to_the_runs_weights(self, page: Any) -> None:
        before = {kind: _now(page, kind) for kind in ("priority", "failure", "groundwater")}
        _move(page, {"age": 25.0})
        assert not _now(page, "failure").equals(before["failure"])
        page.run("document.getElementById('weights-reset').click()")
        for kind, values in before.items():
            assert _now(page, kind).equals(values)
        assert page.errors() == []
