"""Part of the report on what changed since an earlier run."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import pandas as pd

from riskmap.publish.report.section import Block, Section, Table, number
from riskmap.ranking.drift import CAUSE_WORDS, CAUSES, Drift
from riskmap.ranking.model import Model

FACTORS: Final = 8


def changes_section(words: Sequence[str], drift: Drift, model: Model) -> Section:
    """Who moved, by how much and why; no parcel is named.

    Parameters
    ----------
    words
        Plain sentences, first.
    drift
        From :func:`riskmap.ranking.drift.compare_priorities`.
    model
        The present model, for the labels of its factors.
    """
    blocks: list[Block] = [
        " ".join(words) + " The changes are those of the two scores, by their shares; the "
        "priority comes from chances. The file lists/changes.csv has every system with the parts "
        "of its change, which add up to it, and its priority in both runs."
    ]
    if len(drift.moves):
        blocks += [_causes_table(drift), _factors_table(drift, model)]
    return Section("What changed since the last run", blocks)


def _causes_table(drift: Drift) -> Table:
    parts = drift.moves[list(CAUSES)]
    rows = [
        (
            CAUSE_WORDS[cause].capitalize(),
            f"{int((parts[cause].abs() > 0.5).sum()):,}",
            number(float(parts[cause].mean())),
            number(float(parts[cause].abs().mean())),
        )
        for cause in CAUSES
    ]
    return Table(
        ("Why", "Moved by more than half a point", "Mean change", "Mean size of the change"),
        rows,
        frozenset({1, 2, 3}),
        f"Points of both scores, by cause, over {len(parts):,} systems in both runs",
    )


def _factors_table(drift: Drift, model: Model) -> Table:
    labels = {factor.name: factor.label for factor in model.factors}
    by_factor = drift.parts.sum(axis=1).groupby(level="factor")
    table = pd.DataFrame({"up": by_factor.apply(_rises), "mean": by_factor.apply(_size)})
    table["mean"] /= max(len(drift.moves), 1)
    table = table.sort_values("mean", ascending=False, kind="stable").head(FACTORS)
    rows = [
        (labels.get(str(name), str(name).strip("()").capitalize()), f"{int(up):,}", number(mean))
        for name, up, mean in table.itertuples()
    ]
    return Table(
        ("Factor", "Systems it raised", "Mean size of its change"),
        rows,
        frozenset({1, 2}),
        "Factors that moved most points of the scores",
    )


def _rises(parts: pd.Series) -> int:
    return int((parts > 0).sum())


def _size(parts: pd.Series) -> float:
    return float(parts.abs().sum())
