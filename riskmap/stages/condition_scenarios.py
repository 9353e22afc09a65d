"""What the condition model says of the county in each scenario of its records and parameters."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.condition.chances import IF_FAILED, IF_STRESSED, expit, odds_of
from riskmap.condition.fit import Fit
from riskmap.condition.model import point_at
from riskmap.contract.arrays import Floats
from riskmap.ranking.outcomes import THOUSANDTHS
from riskmap.stages.scenarios import Chances

SEED_OFFSET = 5
"""Keeps the draws of the parameters apart from the other draws of a run."""


def hazard_reach(fit: Fit, systems: pd.Index) -> pd.DataFrame:
    """Give the log hazard of each present system from no limitation to the worst, by factor."""
    place = fit.model.lots.ids.get_indexer(systems)
    point = point_at(fit.model, fit.theta)
    reach = point.reach[fit.model.lots.now_system[place]] * point.effects
    return pd.DataFrame(reach, index=systems, columns=list(fit.model.lots.factors))


def drawn_chances(
    fit: Fit, systems: pd.Index, limits: pd.DataFrame, *, within_yr: int, seed: int
) -> Chances:
    """Give the chances in a scenario: failed today, stressed today, failed by the horizon.

    The parameters are drawn from their normal approximation, and the scenario's limitations move
    the log hazard of the present system; the log odds are linear in both.

    Parameters
    ----------
    fit
        The fitted model.
    systems
        Parcels whose chances are wanted.
    limits
        Their limitations as scored, index `systems`.
    within_yr
        The horizon.
    """
    place = fit.model.lots.ids.get_indexer(systems)
    reach = hazard_reach(fit, systems).to_numpy()
    events = [
        odds_of(fit, IF_FAILED),
        odds_of(fit, IF_STRESSED),
        odds_of(fit, IF_FAILED, within_yr=within_yr),
    ]
    parts = [
        (odds.middle[place], odds.by_parameter[place], odds.by_hazard[place]) for odds in events
    ]
    names = list(fit.model.lots.factors)
    base = limits[names].to_numpy(float)

    def chances(
        scenario: int, drawn: Mapping[str, npt.NDArray[np.uint16]]
    ) -> tuple[Floats, Floats, Floats]:
        rng = np.random.default_rng([seed + SEED_OFFSET, scenario])
        off = fit.factor @ rng.standard_normal(len(fit.theta))
        harder = np.zeros(len(place))
        for number, name in enumerate(names):
            if name in drawn:
                harder += reach[:, number] * (drawn[name] / THOUSANDTHS - base[:, number])
        failed, stressed, failing = (
            expit(middle + by_parameter @ off + by_hazard * harder)
            for middle, by_parameter, by_hazard in parts
        )
        return failed, stressed, np.maximum(failed, failing)

    return chances
