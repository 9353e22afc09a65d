"""From the inventory and the scoring model to distributions of every factor."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract.arrays import Floats
from riskmap.contract.columns import Spread
from riskmap.ranking.curves import limitation
from riskmap.ranking.draws import QUANTILES
from riskmap.ranking.model import Factor, Model
from riskmap.ranking.priors import UNDECLARED, sizes, spread_of

COMPONENT: Final = "soil component"
ENOUGH_KNOWN: Final = 20
"""Known values of a feature below which nothing is learned from the county about the unknown."""


@dataclass(frozen=True)
class Mixture:
    """Rows whose limitation is one of a few, each with its share; long form, equal lengths.

    ``row`` counts parcels from 0; shares of a row need not add up to 1. Mixtures of the same
    ``stream`` are drawn together: the same component gives wetness and conductivity.
    """

    row: npt.NDArray[np.int64]
    limit: Floats
    share: Floats
    stream: str = ""


@dataclass(frozen=True)
class Input:
    """What is known of one factor over all n parcels.

    The feature is ``value`` with an error of size ``spread`` (n,), normal or lognormal, plus an
    error of size ``shared`` that all parcels have together; the curve turns it into a limitation.
    With chance ``redraw`` (n,) it is any of the county's instead (1 where unknown), of which
    ``county`` (64,) holds the limitations in the feature's order. Where ``mixture`` has a row, the
    mixture alone holds. Factors that read the same ``feature`` see the same error.
    """

    name: str
    score: str
    weight: float
    low: float
    high: float
    curve_x: Floats
    curve_y: Floats
    value: Floats
    spread: Floats
    redraw: Floats
    lognormal: bool = False
    shared: float = 0.0
    mixture: Mixture | None = None
    feature: str = ""
    county: Floats | None = None

    @property
    def stream(self) -> str:
        """Name of the random numbers that the factor draws on."""
        return self.feature or self.name

    @property
    def component_stream(self) -> str:
        """Name of the random numbers that choose its component."""
        return (self.mixture.stream if self.mixture else "") or self.stream


def describe_inputs(
    features: pd.DataFrame, model: Model, *, mixtures: Mapping[str, pd.DataFrame] | None = None
) -> tuple[Input, ...]:
    """Describe every factor of the model for the rows of `features`.

    Parameters
    ----------
    features
        Inventory rows (one per parcel to be ranked); ``<feature>_evidence`` is read where present.
    model
        The scoring model.
    mixtures
        Feature -> table with columns ``parcel_id, value, share``: the values of that feature in
        the soil components of a parcel and their shares. Tables of several features list the
        same components in the same order, so that a draw takes one component for all of them.
    """
    mixtures = mixtures or {}
    return tuple(_input(factor, features, mixtures.get(factor.feature)) for factor in model.factors)


def _input(factor: Factor, features: pd.DataFrame, parts: pd.DataFrame | None) -> Input:
    prior = spread_of(factor.feature, words=bool(factor.table))
    mark = f"{factor.feature}_evidence"
    evidence = features[mark] if mark in features else pd.Series(UNDECLARED, index=features.index)
    column = features[factor.feature]
    limits = limitation(factor, column)
    mixture = None if parts is None else _mixture(factor, parts, features.index)
    make = _word_input if factor.table else _curve_input
    return make(factor, prior, sizes(prior, evidence), column, limits, mixture)


def _curve_input(
    factor: Factor,
    prior: Spread,
    spread: Floats,
    column: pd.Series,
    limits: Floats,
    mixture: Mixture | None,
) -> Input:
    unknown = np.isnan(limits)
    value = column.astype("Float64").to_numpy(dtype=float, na_value=np.nan)
    x, y = np.array(factor.curve, dtype=float).T
    return Input(
        factor.name,
        factor.score,
        factor.weight,
        factor.low,
        factor.high,
        x,
        y,
        value=np.where(unknown, 0.0, value),
        spread=spread,
        redraw=unknown.astype(float),
        lognormal=prior.shape == "lognormal",
        shared=prior.shared,
        mixture=mixture,
        feature=factor.feature,
    )


def _word_input(
    factor: Factor,
    prior: Spread,
    spread: Floats,
    column: pd.Series,
    limits: Floats,
    mixture: Mixture | None,
) -> Input:
    del prior
    unknown = np.isnan(limits)
    return Input(
        factor.name,
        factor.score,
        factor.weight,
        factor.low,
        factor.high,
        np.array([0.0, 1.0]),
        np.array([0.0, 1.0]),
        value=np.where(unknown, 0.0, limits),
        spread=np.zeros(len(limits)),
        redraw=np.where(unknown, 1.0, spread),
        mixture=mixture,
        feature=factor.feature,
        county=_county_words(column, limits),
    )


def _county_words(column: pd.Series, limits: Floats) -> Floats:
    """Limitations of the county's words at 64 evenly spaced ranks, words in their own order."""
    known = ~np.isnan(limits)
    if known.sum() < ENOUGH_KNOWN:
        return _ranks()
    order = np.argsort(column[known].astype(str).to_numpy(dtype=str), kind="stable")
    return np.asarray(limits[known][order][(_ranks() * known.sum()).astype(int)])


def _mixture(factor: Factor, parts: pd.DataFrame, parcels: pd.Index) -> Mixture:
    """Components of the parcels; one whose value is unknown counts as the model says."""
    limits = limitation(factor, parts["value"])
    limits = np.where(np.isnan(limits), factor.unknown, limits)
    row = parcels.get_indexer(pd.Index(parts["parcel_id"]))
    share = parts["share"].to_numpy(dtype=float)
    keep = (row >= 0) & (share > 0)
    return Mixture(row[keep].astype(np.int64), limits[keep], share[keep], COMPONENT)


def county_table(item: Input) -> Floats:
    """Limitations at 64 evenly spaced ranks among the parcels where the feature is known.

    With fewer than 20 known values all limitations from 0 to 1 are held equally likely.
    """
    if item.county is not None:
        return item.county
    known = item.value[item.redraw < 1.0]
    if len(known) < ENOUGH_KNOWN:
        return _ranks()
    values = np.quantile(known, _ranks(), method="inverted_cdf")
    return np.asarray(np.interp(values, item.curve_x, item.curve_y))


def _ranks() -> Floats:
    return (np.arange(QUANTILES) + 0.5) / QUANTILES
