"""Tables of the report on zones, predicted nitrate and the weights, in people's words and units."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from riskmap.action.zones import LABELS
from riskmap.contract.quantities import TRACT, Units, percent
from riskmap.publish.report.section import Table, number
from riskmap.publish.words.report_text import words_of
from riskmap.ranking.model import Model

HELD_OUT: Final = {
    "none": "none: the prediction as it is",
    "blocks": "blocks of land",
    "single wells": "single wells",
}
_DASH: Final = "\u2013"


def zones_by_kind(zones: pd.DataFrame, *, units: Units = "us") -> Table:
    """Count planners' zones by kind: land, systems, wells and people in them."""
    scale = TRACT.scale(units)
    rows = []
    for kind, words in LABELS.items():
        own = zones[zones["kind"] == kind]
        if len(own):
            sums = [int(own[name].sum()) for name in ("systems", "wells", "people")]
            land = number(float(own["area_m2"].sum()) * scale.factor)
            rows.append((words_of(words), f"{len(own):,}", land, *(f"{n:,}" for n in sums)))
    heads = ("Kind of zone", "Zones", f"Land ({scale.unit})", "Systems", "Wells", "People")
    return Table(heads, rows, frozenset(range(1, 6)), "Zones by leading reason")


def nitrate_table(found: pd.DataFrame) -> Table:
    """Predicted nitrate against samples: columns of the groundwater comparison."""
    rows = [
        (
            words_of(row["method"]),
            HELD_OUT.get(row["split"], row["split"]),
            number(row["r2"]),
            number(row["rank_correlation"]),
            _per_cent(row["found_in_first_10_pct_frac"]),
            *(_tenths(row[name]) for name in ("said_above_frac", "found_above_frac")),
            _per_cent(row["held_by_range_frac"]),
        )
        for row in found.to_dict("records")
    ]
    first = {name: int(found[name].iloc[0]) for name in ("samples", "above_limit")}
    return Table(
        (
            "Method",
            "Held out",
            "R² of the logs",
            "Rank correlation",
            "Found in the first tenth",
            "Chance said",
            "Share found",
            "Inside the 90% range",
        ),
        rows,
        frozenset(range(2, 8)),
        "Predictions compared",
        f"{first['samples']:,} sampled wells, {first['above_limit']:,} above the limit. "
        "R² of the logs: 1 is perfect, 0 no better than the mean, below 0 worse. Found in the "
        "first tenth: share of the wells above the limit, by chance 10%. Chance said and share "
        "found: of lying above the limit, over all sampled wells.",
    )


def _tenths(value: float) -> str:
    return f"{100 * value:.1f}%" if np.isfinite(value) else _DASH


def weights_table(moves: pd.DataFrame, model: Model, *, top: int) -> Table:
    """Show which weight moves the list most.

    Parameters
    ----------
    moves
        From :func:`riskmap.ranking.information.weight_sensitivity`.
    model
        The scoring model, for the labels.
    top
        Length of the list.
    """
    labels = {factor.name: factor.label for factor in model.factors}
    rows = [
        (
            labels[row["factor"]],
            number(row["weight"]),
            number(row["moved_to"]),
            _per_cent(row["kept"]),
            number(row["rank_correlation"]),
        )
        for row in moves.to_dict("records")
    ]
    heads = ("Factor", "Weight", "Moved to", f"Of the first {top:,}, kept", "Rank correlation")
    return Table(heads, rows, frozenset({1, 2, 3, 4}), "Weights that move the list most")


def _per_cent(part: float) -> str:
    return _DASH if np.isnan(part) else percent(part, 1.0)
