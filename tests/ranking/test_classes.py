"""Classes by what seasons of visits reach."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskmap.contract.vocabulary import CLASSES, NOT_RANKED, ON_FILE
from riskmap.ranking.classes import SEASONS, classify

EVERYBODY = st.lists(
    st.tuples(st.floats(0, 100), st.booleans(), st.booleans()), min_size=1, max_size=60
)


@given(rows=EVERYBODY, visits=st.integers(1, 12))
def test_a_class_is_the_place_in_line(rows: list[tuple[float, bool, bool]], visits: int) -> None:
    """By counting who stands before each: the other way to say the same."""
    values = np.array([row[0] for row in rows])
    line, filed = (np.array([row[n] for row in rows]) for n in (1, 2))
    words = classify(pd.Series(values), line, visits, filed)
    queue = values[line & ~filed]
    for value, own, word in zip(values, filed, words, strict=True):
        if own:
            assert word == ON_FILE
            continue
        before = int((queue > value).sum())
        season = next((n for n, s in enumerate(SEASONS) if before < s * visits), len(SEASONS))
        assert word == CLASSES[1:][season]


def test_sizes_without_ties() -> None:
    values = pd.Series(np.random.default_rng(5).permutation(3000).astype(float))
    line = np.ones(3000, dtype=bool)
    counts = classify(values, line, 200, np.zeros(3000, dtype=bool)).value_counts()
    assert counts.reindex(CLASSES[1:]).tolist() == [200, 200, 600, 2000]


@pytest.mark.parametrize("visits", [3, 50])
def test_few_systems_are_all_reached(visits: int) -> None:
    line = np.ones(3, dtype=bool)
    words = classify(pd.Series([1.0, 2.0, None]), line, visits, ~line)
    assert words.tolist() == ["highest", "highest", NOT_RANKED]
