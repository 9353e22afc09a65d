"""From the inventory and the scoring model to distributions of every factor."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.stats import triang

from riskmap.ranking.curves import limitation
from riskmap.ranking.draws import LOGNORMAL, NORMAL, QUANTILES, Plan
from riskmap.ranking.model import Factor, Model
from riskmap.ranking.priors import UNDECLARED, Prior, prior_of
from riskmap.ranking.sequences import mix, normal_draws, sobol

Floats = npt.NDArray[np.float64]

COMPONENT: Final = "soil component"
ENOUGH_KNOWN: Final = 20
"""Known values of a feature below which nothing is learnt from the county about the unknown."""


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
        """Name of the random numbers that stand behind the factor."""
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
    prior = prior_of(factor.feature, words=bool(factor.table))
    mark = f"{factor.feature}_evidence"
    evidence = features[mark] if mark in features else pd.Series(UNDECLARED, index=features.index)
    column = features[factor.feature]
    limits = limitation(factor, column)
    mixture = None if parts is None else _mixture(factor, parts, features.index)
    make = _word_input if factor.table else _curve_input
    return make(factor, prior, prior.spread(evidence), column, limits, mixture)


def _curve_input(
    factor: Factor,
    prior: Prior,
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
    prior: Prior,
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


def parcel_keys(parcels: pd.Index) -> npt.NDArray[np.uint64]:
    """64-bit keys of the parcel numbers: the same for a parcel in every chunk and run."""
    text = parcels.astype(str).to_numpy(dtype=object)
    return np.asarray(pd.util.hash_array(text, categorize=False), dtype=np.uint64)


def plan(
    inputs: Sequence[Input],
    keys: npt.NDArray[np.uint64],
    *,
    failure_share: float,
    draws: int,
    seed: int,
    weight_doubt: bool = False,
) -> Plan:
    """Lay out the inputs for the kernels.

    With `weight_doubt`, weights vary too, triangular between their bounds, the same for the whole
    county in each draw.
    """
    curves = [(item.curve_x, item.curve_y) for item in inputs]
    begin, end, share, limit = _mixtures(inputs, len(keys))
    failure = np.array([item.score == "failure" for item in inputs], dtype=np.bool_)
    streams = list(
        dict.fromkeys([*(i.stream for i in inputs), *(i.component_stream for i in inputs)])
    )
    own = np.array([streams.index(item.stream) for item in inputs])
    shared = normal_draws(draws, len(streams), seed + 1)[own]
    return Plan(
        value=_stack([item.value for item in inputs]),
        spread=_stack([item.spread for item in inputs]),
        redraw=_stack([item.redraw for item in inputs]),
        begin=begin,
        end=end,
        mixture_share=share,
        mixture_limit=limit,
        shape=np.array([LOGNORMAL if item.lognormal else NORMAL for item in inputs]),
        curve=np.stack([_pad([x for x, _ in curves]), _pad([y for _, y in curves])], axis=1),
        size=np.array([len(x) for x, _ in curves]),
        county=np.array([county_table(item) for item in inputs]),
        points=sobol(draws, len(streams), seed),
        stream=own,
        component_stream=np.array([streams.index(item.component_stream) for item in inputs]),
        shared=np.ascontiguousarray(shared * np.array([[item.shared] for item in inputs])),
        common=np.array([item.shared > 0 for item in inputs]),
        weight=_weights(inputs, failure, draws, seed, weight_doubt),
        failure=failure,
        share=np.full(draws, failure_share),
        keys=np.ascontiguousarray(keys, dtype=np.uint64),
        angle_keys=np.array([mix(np.uint64(index)) for index in range(len(streams))], np.uint64),
    )


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


def _stack(columns: list[Floats]) -> Floats:
    return np.ascontiguousarray(np.stack(columns, axis=1), dtype=float)


def _pad(curves: list[Floats]) -> Floats:
    longest = max(len(curve) for curve in curves)
    return np.array([np.pad(curve, (0, longest - len(curve)), mode="edge") for curve in curves])


def _weights(
    inputs: Sequence[Input], failure: npt.NDArray[np.bool_], draws: int, seed: int, doubt: bool
) -> Floats:
    """Weights per draw (factors, draws), scaled so that each score's add up to 1."""
    weight = np.repeat([[item.weight] for item in inputs], draws, axis=1).astype(float)
    if doubt:
        points = sobol(draws, len(inputs), seed + 2)
        for index, item in enumerate(inputs):
            if item.high > item.low:
                width = item.high - item.low
                mode = (item.weight - item.low) / width
                weight[index] = triang.ppf(points[index], mode, loc=item.low, scale=width)
    for kind in (failure, ~failure):
        if kind.any():
            weight[kind] /= weight[kind].sum(axis=0)
    return weight


def _mixtures(
    inputs: Sequence[Input], parcels: int
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], Floats, Floats]:
    begin = np.full((parcels, len(inputs)), -1, dtype=np.int64)
    end = begin.copy()
    shares, limits, offset = [np.empty(0)], [np.empty(0)], 0
    for index, item in enumerate(inputs):
        if item.mixture is None or len(item.mixture.row) == 0:
            continue
        order = np.argsort(item.mixture.row, kind="stable")
        row = item.mixture.row[order]
        share = item.mixture.share[order]
        rows, first, count = np.unique(row, return_index=True, return_counts=True)
        running = np.cumsum(share)
        before = np.repeat(running[first] - share[first], count)
        total = np.repeat(np.add.reduceat(share, first), count)
        begin[rows, index] = first + offset
        end[rows, index] = first + count + offset
        shares.append((running - before) / total)
        limits.append(item.mixture.limit[order])
        offset += len(row)
    return begin, end, np.concatenate(shares), np.concatenate(limits)
