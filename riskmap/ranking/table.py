"""The ranked table: every parcel that came in goes out, scored or with the reason why not."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from riskmap.contract.features import RANKED
from riskmap.contract.quantities import Units
from riskmap.contract.vocabulary import may_be_onsite
from riskmap.ranking.model import Model
from riskmap.ranking.priority import FIND, priority
from riskmap.ranking.reasons import leading_reasons, unknown_list
from riskmap.ranking.score import rank, score

SERVED_BY_SEWER: Final = "on public sewer"
NO_SEWAGE: Final = "no building, no sewage"
FAR_FROM_REST: Final = "far from all other parcels: check its coordinates"
TOO_LITTLE: Final = "too little is known to score"
UNKNOWN_SERVICE: Final = "service unknown: ranked apart"


def ranked_table(
    features: pd.DataFrame,
    model: Model,
    *,
    units: Units,
    aim: str = FIND,
) -> pd.DataFrame:
    """Score, rank and explain every row.

    Parameters
    ----------
    features
        Inventory table, index ``parcel_id``, with the chances; column ``service`` says who is
        ranked.
    model
        The scoring model.
    units
        ``us`` or ``si``: units of the reasons.
    aim
        What the priority serves, one of :data:`riskmap.ranking.priority.AIMS`.

    Returns
    -------
    DataFrame
        Same index; the columns of :data:`riskmap.contract.features.RANKED` and ``<factor>_points``.
    """
    result = score(features, model)
    service = features["service"].fillna("unknown")
    served = may_be_onsite(service)
    scores = result.scores.where(served)
    scores["priority"] = priority(
        aim,
        features,
        scores["groundwater_score"].to_numpy(float),
    )
    table = scores.copy()
    table["rank"] = rank(scores, (service == "onsite").to_numpy())
    table["apart_rank"] = rank(scores, (service == "unknown").to_numpy())
    table["not_ranked_reason"] = _not_ranked(service, scores["priority"])
    reasons = leading_reasons(features, result, model, units=units)
    table = table.join(reasons.where(scores["priority"].notna(), ""))
    table["unknown"] = unknown_list(result, model).where(served, "")
    points = result.points.where(served).add_suffix("_points")
    return table[[column.name for column in RANKED]].join(points)


def _not_ranked(service: pd.Series, priority: pd.Series) -> pd.Series:
    text = np.select(
        [service == "sewer", service == "none", priority.isna(), service == "unknown"],
        [SERVED_BY_SEWER, NO_SEWAGE, TOO_LITTLE, UNKNOWN_SERVICE],
        default="",
    )
    return pd.Series(text, index=service.index, dtype="string")
