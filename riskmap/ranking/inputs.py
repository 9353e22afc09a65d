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

ENOUGH_KNOWN: Final = 20
"""Known values of a feature below which nothing is learnt from the county about the unknown."""


@dataclass(frozen=True)
class Mixture:
    """Rows whose limitation is one of a few, each with its share; long form, equal lengths.

    ``row`` counts parcels from 0; shares of a row need not add up to 1.
    """

    row: npt.NDArray[np.int64]
    limit: Floats
    share: Floats


@dataclass(frozen=True)
class Input:
    """What is known of one factor over all n parcels.

    The feature is ``value`` with an error of size ``spread`` (n,), normal or lognormal, plus an
    error of size ``shared`` that all parcels have together; the curve turns it into a limitation.
    With chance ``redraw`` (n,) it is any of the county's instead (1 where unknown). Where
    ``mixture`` has a row, the mixture alone holds.
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
        the soil components of a parcel and their shares.
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
    )


def _word_input(
    factor: Factor,
    prior: Prior,
    spread: Floats,
    column: pd.Series,
    limits: Floats,
    mixture: Mixture | None,
) -> Input:
    del prior, column
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
    )


def _mixture(factor: Factor, parts: pd.DataFrame, parcels: pd.Index) -> Mixture:
    limits = limitation(factor, parts["value"])
    row = parcels.get_indexer(pd.Index(parts["parcel_id"]))
    keep = (row >= 0) & ~np.isnan(limits) & (parts["share"].to_numpy() > 0)
    share = parts["share"].to_numpy(dtype=float)
    return Mixture(row[keep].astype(np.int64), limits[keep], share[keep])


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
    shared = normal_draws(draws, len(inputs), seed + 1)
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
        points=sobol(draws, len(inputs), seed),
        shared=np.ascontiguousarray(shared * np.array([[item.shared] for item in inputs])),
        common=np.array([item.shared > 0 for item in inputs]),
        weight=_weights(inputs, failure, draws, seed, weight_doubt),
        failure=failure,
        share=np.full(draws, failure_share),
        keys=np.ascontiguousarray(keys, dtype=np.uint64),
        angle_keys=np.array([mix(np.uint64(index)) for index in range(len(inputs))], np.uint64),
    )


def county_table(item: Input) -> Floats:
    """Limitations at 64 evenly spaced ranks among the parcels where the feature is known.

    With fewer than 20 known values all limitations from 0 to 1 are held equally likely.
    """
    known = item.value[item.redraw < 1.0]
    ranks = (np.arange(QUANTILES) + 0.5) / QUANTILES
    if len(known) < ENOUGH_KNOWN:
        return ranks
    limits = np.interp(known, item.curve_x, item.curve_y)
    return np.asarray(np.quantile(limits, ranks, method="inverted_cdf"))


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
