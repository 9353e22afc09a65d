"""Lays the described inputs out as flat arrays for the kernels of the doubt."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.stats import triang

from riskmap.contract.arrays import Floats
from riskmap.ranking.draws import LOGNORMAL, NORMAL, Plan
from riskmap.ranking.inputs import Input, county_table
from riskmap.ranking.outcomes import Outcomes
from riskmap.ranking.sequences import mix, normal_draws, sobol


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
    outcomes: Outcomes | None = None,
) -> Plan:
    """Lay out the inputs for the kernels; what `outcomes` has of a factor takes its input's place.

    With `weight_doubt`, weights vary too, triangular between their bounds, the same for the whole
    county in each draw.

    Parameters
    ----------
    inputs
        One per factor: values, errors and curve, each of n parcels.
    keys
        From :func:`parcel_keys` (n,).
    failure_share
        Share of the failure score in the priority, 0..1.
    draws
        Number of draws, best a power of two.
    seed
        Of all random numbers.
    weight_doubt
        Whether weights vary.
    outcomes
        Scenarios of the same parcels.
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
        **_outcomes(inputs, len(keys), outcomes),
    )


def _outcomes(inputs: Sequence[Input], parcels: int, outcomes: Outcomes | None) -> dict[str, Any]:
    """Fields of the plan that hold the scenarios."""
    names = () if outcomes is None else outcomes.factors
    place = [names.index(item.name) if item.name in names else -1 for item in inputs]
    said = None if outcomes is None else outcomes.by_chance
    return {
        "outcome": np.zeros((parcels, 0, 1), np.uint16) if outcomes is None else outcomes.limits,
        "outcome_of": np.array(place, np.int64),
        "by_chance": np.zeros((parcels, 0), np.float32) if said is None else said,
        "by_water": outcomes is not None and outcomes.by_water,
    }


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
