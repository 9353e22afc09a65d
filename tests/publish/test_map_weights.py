"""Weights moved in the page against the program itself: the same ranks, and the same model file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from riskmap.contract.features import FEATURES
from riskmap.ranking.score import rank, score
from riskmap.region.model_file import read_model

pytestmark = pytest.mark.browser

MOVED = {"age": 23.26, "reserve": 4.0, "pumping": 11.4, "well_distance": 21.2, "stream": 8.0,
         "separation": 17.02}  # fmt: skip


def _move(page: Any, moved: dict[str, float]) -> None:
    page.run("document.getElementById('weights').open = true")
    page.wait_for("document.getElementById('weight-age')")
    for name, value in moved.items():
        page.set(f"weight-{name}", value)


def _ranks(page: Any) -> pd.Series:
    ranks = page.run("return Array.from(county.scores.allRanks())")
    return pd.Series(ranks, index=page.run("return county.facts.parcel_id.lines()")).astype(int)


def _python_ranks(full: Any, model: Any) -> pd.Series:
    scores = score(full.features, model).scores
    return rank(scores, (full.features["service"] == "onsite").to_numpy()).fillna(0).astype(int)


class TestWeights:
    def test_the_saved_model_gives_the_pages_ranks(
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
        want = _python_ranks(full, model)
        got = _ranks(page)
        assert (got.loc[want.index] == want).all()
        before = _python_ranks(full, full.model)
        assert (want != before)[before > 0].mean() > 0.5
        page.run("document.getElementById('weights').scrollIntoView()")
        page.browser.save_screenshot(str(screenshots / "map_weights.png"))
        self._list_follows(page, want, before)

    @staticmethod
    def _list_follows(page: Any, want: pd.Series, before: pd.Series) -> None:
        first = want[want > 0].sort_values().index[:12]
        top = page.browser.find_elements("css selector", "#top-list .who")
        assert [e.text for e in top] == list(first)
        moves = [e.text for e in page.browser.find_elements("css selector", "#top-list .move")]
        for parcel, text in zip(first, moves, strict=True):
            gain = int(before[parcel] - want[parcel])
            words = "same place" if gain == 0 else f"{'up' if gain > 0 else 'down'} {abs(gain)}"
            assert text == words

    def test_scores_agree_to_the_last_digit(self, page: Any, full: Any) -> None:
        _move(page, MOVED)
        weights = page.run("return county.scores.factors.map((f) => [f.name, f.weight])")
        scores = score(full.features, full.model.with_weights(dict(weights))).scores
        ids = page.run("return county.facts.parcel_id.lines()")
        onsite = (full.features["service"].isin(["onsite"])).loc[ids].to_numpy()
        for kind, column in (("priority", "priority"), ("failure", "failure_score")):
            got = np.array(page.run(f"return Array.from(county.scores.current.{kind})"), float)
            want = scores.loc[ids, column].to_numpy()
            assert np.array_equal(got[onsite], want[onsite])

    def test_back_to_the_runs_weights(self, page: Any, full: Any) -> None:
        _move(page, {"age": 25.0})
        page.run("document.getElementById('weights-reset').click()")
        before = _python_ranks(full, full.model)
        assert (_ranks(page).loc[before.index] == before).all()
        assert page.errors() == []
