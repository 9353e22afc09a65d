"""How much more than the sizing rule's rate the county's fields pass in the long run.

Sizing rates carry a margin of safety, and a county's soils, fields and households differ from those
the rule was made for. Taken as they are they may call half of a county's fields failed. Own
formulation: one factor on the acceptance rate, the same for the whole county, chosen so that the
share of fields in the failed state is the share that the aging curves expect to be failed and not
yet repaired.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract.rules import Rules
from riskmap.contract.vocabulary import STAGES
from riskmap.failure.aging import DEFAULT_AGING, AgingModel, chance_failing_frac
from riskmap.failure.assess import assess_failure
from riskmap.failure.settings import FailureSettings

LARGEST_MARGIN: Final = 8.0
ROWS: Final = 4000
"""Systems tried at most; every k-th of a larger county."""
STEPS: Final = 9
FEWEST: Final = 50


@dataclass(frozen=True)
class FieldMargin:
    """The factor, and the shares of failed fields expected, reached, and by the bare rule."""

    margin: float
    expected_frac: float
    reached_frac: float
    by_rule_frac: float

    @property
    def words(self) -> str:
        """One paragraph for the report."""
        if self.margin == 1.0:
            return "The clogging model takes the sizing rule's acceptance rates as they are."
        return (
            f"By the sizing rule's acceptance rates alone the clogging model would call "
            f"{self.by_rule_frac:.0%} of the fields failed; the county's aging curves expect "
            f"{self.expected_frac:.0%} to be failed and not yet repaired. The model therefore lets "
            f"every field pass {self.margin:.2f} times the rule's rate, which gives "
            f"{self.reached_frac:.0%}."
        )


def expected_failed_frac(
    kind: npt.ArrayLike,
    age_yr: npt.ArrayLike,
    *,
    models: Mapping[str, AgingModel] = DEFAULT_AGING,
    unrepaired_yr: float,
) -> float:
    """Share of systems that failed within the last `unrepaired_yr` years of their age.

    Parameters
    ----------
    kind, age_yr
        Kind and age of each system (n,), years; systems of unknown age are left out.
    models
        Aging curve by kind.
    unrepaired_yr
        Years that a failed system stays unrepaired.

    Returns
    -------
    float
        0..1; NaN where no age is known.

    Examples
    --------
    >>> round(expected_failed_frac(["trench"], [10.0], unrepaired_yr=10.0), 3)
    0.05
    """
    age = np.asarray(age_yr, float)
    start = np.maximum(age - unrepaired_yr, 0.0)
    chance = chance_failing_frac(kind, start, within_yr=age - start, models=models)
    known = np.isfinite(chance)
    return float(chance[known].mean()) if known.any() else float("nan")


def fit_margin(
    systems: pd.DataFrame, *, rules: Rules, physics: FailureSettings, expected_frac: float
) -> FieldMargin:
    """Find the factor by bisection on its logarithm, between 1 and :data:`LARGEST_MARGIN`.

    The share of failed fields falls as the factor grows. With fewer than :data:`FEWEST` systems,
    or an expected share that is not known or not below the rule's own, the factor is 1. What
    inspectors found is not used: the factor is the model's.

    Parameters
    ----------
    systems
        Columns as :func:`riskmap.failure.assess.assess_failure` takes them.
    rules, physics
        As there; the physics' ``margin_ratio`` is not used.
    expected_frac
        Share of failed fields to reach.
    """

    def failed_frac(margin: float) -> float:
        found = assess_failure(some, rules=rules, physics=plain, margin=margin)["stage"]
        known = found.notna()
        return float((found[known] == STAGES[-1]).mean()) if known.any() else float("nan")

    plain = replace(physics, margin_ratio=1.0)
    some = systems.iloc[:: max(1, -(-len(systems) // ROWS))]
    some = some.drop(columns="ponding_found_cm", errors="ignore")
    by_rule = failed_frac(1.0)
    if len(some) < FEWEST or not expected_frac < by_rule:
        return FieldMargin(1.0, expected_frac, by_rule, by_rule)
    low, high = 0.0, float(np.log(LARGEST_MARGIN))
    for _ in range(STEPS):
        middle = (low + high) / 2
        if failed_frac(float(np.exp(middle))) > expected_frac:
            low = middle
        else:
            high = middle
    margin = round(float(np.exp(high)), 3)
    return FieldMargin(margin, expected_frac, failed_frac(margin), by_rule)
