"""The priority by each aim, redone by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from riskmap.ranking.priority import AIMS, CHANCES, FIND, FORMULAS, HARM, SAVE, priority


@pytest.fixture
def chances() -> pd.DataFrame:
    rng = np.random.default_rng(1)
    failed, stressed = rng.uniform(0, 0.5, 50), rng.uniform(0, 0.5, 50)
    failing = failed + (1 - failed) * rng.uniform(0, 1, 50)
    return pd.DataFrame(dict(zip(CHANCES, (failed, stressed, failing), strict=True)))


def test_each_formula_by_hand(chances: pd.DataFrame) -> None:
    water = np.linspace(0, 100, 50)
    f, s, w = (chances[name].to_numpy() for name in CHANCES)
    by_hand = {FIND: 100 * f, SAVE: 100 * s * (w - f) / (1 - f), HARM: f * water}
    assert set(by_hand) == set(AIMS) == set(FORMULAS)
    for aim, value in by_hand.items():
        np.testing.assert_allclose(priority(aim, chances, water), value, atol=5.1e-4)


def test_unknown_stays_unknown(chances: pd.DataFrame) -> None:
    chances.loc[0, "chance_failed_frac"] = np.nan
    water = np.full(50, 40.0)
    water[1] = np.nan
    for aim in AIMS:
        assert np.isnan(priority(aim, chances, water)).tolist() == [True, True] + [False] * 48


def test_a_system_that_has_surely_failed_is_not_to_be_saved() -> None:
    one = pd.DataFrame(dict(zip(CHANCES, ([1.0], [0.0], [1.0]), strict=True)))
    assert priority(SAVE, one, [50.0]).tolist() == [0.0]
