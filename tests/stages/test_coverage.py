"""The stated doubt against the hidden truth of the sample county (``benchmarks/coverage.py``)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from benchmarks.coverage import coverage, read_truth, stability, true_features
from riskmap.ranking.score import factor_points
from riskmap.stages.result import Result


def test_true_inputs_take_the_place_of_records(assessed: Result, county_folder: Path) -> None:
    truth = read_truth(county_folder)
    changed = true_features(assessed, truth)
    assert changed["age_yr"].equals(truth["true_age"].reindex(changed.index).astype(float))
    flow = truth["flow_l_d"].reindex(changed.index)
    assert np.allclose(changed["daily_flow_l_d"], flow, rtol=1e-9)
    kept = ["slope_pct", "complaints", "lot_m2"]
    assert changed[kept].equals(assessed.parcels.loc[changed.index, kept])
    points = factor_points(changed, assessed.model, "failure")[1].sum(axis=1)
    assert (points - assessed.parcels.loc[changed.index, "failure_score"]).abs().mean() > 1


def test_range_holds_most_true_scores_and_chances_are_about_as_said(
    assessed: Result, county_folder: Path
) -> None:
    """Bounds are what the page states, less what 700 systems may be off by."""
    found = coverage(assessed, read_truth(county_folder), top=70, draws=256)
    assert 0.87 < found["inside"] < 0.97
    said, true = found["said of those listed by chance"], found["truly first, listed by chance"]
    assert true == pytest.approx(said, abs=0.15)
    assert true > 3 * 70 / found["systems"]


def test_chances_move_no_more_between_seeds_than_stated(
    assessed: Result, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("benchmarks.coverage.SECOND_DRAWS", (128, 512))
    monkeypatch.setattr("benchmarks.coverage.SEEDS", range(4))
    table = stability(assessed, top=70)
    assert (table["found error"] < table["stated error"]).all()
    assert (table["found error"] > 0.3 * table["stated error"]).all()
    assert (table["list kept"] > 0.85).all()
