"""Time and memory of the doubt at county size.

``python benchmarks/doubt.py [parcels] [draws]``: draws alone, 20 factors with every kind of
distribution. ``python benchmarks/doubt.py REGION.toml``: scenarios and draws as in a run of that
region, each timed; a county of 100,000 systems is made by ``python -m sample_region.make``.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np
import pandas as pd

import riskmap
from riskmap.ranking.inputs import Input, Mixture
from riskmap.ranking.uncertainty import propagate, propagate_inputs
from riskmap.stages.doubt import scenarios_of
from riskmap.stages.result import Result
from riskmap.stages.scenarios import draw_outcomes


def invented_inputs(parcels: int, factors: int, seed: int = 1) -> list[Input]:
    """Factors: a third soil mixtures, a third normal, a third lognormal; some with shared error."""
    rng = np.random.default_rng(seed)
    found = []
    for index in range(factors):
        mixture = None
        if index % 3 == 0:
            count = rng.integers(2, 5, parcels)
            row = np.repeat(np.arange(parcels), count)
            mixture = Mixture(row, rng.random(len(row)), rng.random(len(row)))
        curve_x = np.array([1.0, 3.0, 5.0, 8.0])
        found.append(
            Input(
                f"factor{index}",
                "failure" if index < factors * 0.6 else "groundwater",
                weight=float(rng.integers(1, 6)),
                low=0.5,
                high=8.0,
                curve_x=curve_x,
                curve_y=np.array([0.0, 0.3, 0.8, 1.0]),
                value=rng.gamma(4.0, 1.0, parcels),
                spread=rng.choice([0.1, 0.5], parcels),
                redraw=rng.choice([0.0, 1.0], parcels, p=[0.9, 0.1]),
                lognormal=index % 3 == 1,
                shared=0.1 * (index % 4 == 1),
                mixture=mixture,
            )
        )
    return found


def main(parcels: int = 100_000, draws: int = 1024, factors: int = 20) -> None:
    """Run once to compile, then at full size, and print what it took."""
    for size in (64, parcels):
        inputs = invented_inputs(size, factors)
        names = pd.Index([f"P{i}" for i in range(size)])
        start, busy = time.perf_counter(), time.process_time()
        propagate_inputs(
            inputs, names, failure_share=0.6, top=min(500, size // 4), draws=draws, seed=3
        )
        took, used = time.perf_counter() - start, time.process_time() - busy
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{parcels} parcels x {factors} factors x {draws} draws: {took:.1f} s by the clock, "
        f"{used:.1f} s of processor, peak {peak:.0f} MB"
    )


def time_county(result: Result, *, draws: int = 1024) -> None:
    """Print what describing, scenarios and draws of an assessed county take."""
    rows = result.parcels.index[result.parcels["rank"].notna()]
    features = pd.DataFrame(result.parcels.loc[rows].drop(columns="geometry"))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    marks = [(time.perf_counter(), time.process_time())]
    scenarios = scenarios_of(result, rows)
    marks.append((time.perf_counter(), time.process_time()))
    outcomes = draw_outcomes(scenarios, seed=1)
    marks.append((time.perf_counter(), time.process_time()))
    propagate(features, result.model, top=500, draws=draws, seed=1, outcomes=outcomes)
    marks.append((time.perf_counter(), time.process_time()))
    for name, (start, busy), (end, done) in zip(
        ("describe", "scenarios", "draws"), marks, marks[1:], strict=False
    ):
        print(f"{name}: {end - start:.1f} s by the clock, {done - busy:.1f} s of processor")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{len(rows)} systems, {len(result.model.factors)} factors of which "
        f"{len(outcomes.factors)} come from scenarios, {draws} draws: "
        f"{marks[-1][0] - marks[0][0]:.1f} s, peak {peak:.0f} MB of which {before:.0f} before"
    )
    if result.groundwater is not None and result.groundwater.rerun is not None:
        print(f"{len(result.groundwater.rerun.pairs.well)} pairs of system and well kept")


if __name__ == "__main__":
    if sys.argv[1:] and sys.argv[1].endswith(".toml"):
        time_county(riskmap.assess(riskmap.open_region(sys.argv[1])))
    else:
        main(*map(int, sys.argv[1:3]))
