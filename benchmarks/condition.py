"""What the condition model costs for a large county, beside a general library's forward pass.

``python -m benchmarks.condition [SYSTEMS]`` invents a county of so many systems with up to sixty
years each, fits the model, works out the chances, and prints processor seconds and the most memory
used. Baseline, in the same run: hmmlearn's likelihood of as many chains of as many years with five
states, one value of the frailty and the same chances for all; the model's own pass has seven values
of the frailty, hazards that change by system, age and year, and complaints, visits and permits.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np
import pandas as pd
from hmmlearn.hmm import CategoricalHMM

from riskmap.condition.chances import IF_FAILED, chances, odds_of
from riskmap.condition.fit import fit
from riskmap.condition.lots import Lots, lots_of
from riskmap.condition.model import log_posterior, run
from riskmap.condition.records import records_on_file

YEAR, OLDEST, SINCE = 2026, 1967, 2011
FACTORS = 12
STAGES = np.array(["sound", "stressed", "failed"], dtype=object)


def county(systems: int, *, seed: int = 1) -> Lots:
    """Invent a county: hazards by age and factors, visits and complaints of the last years."""
    rng = np.random.default_rng(seed)
    ids = pd.Index([f"P{number:06d}" for number in range(systems)], name="parcel_id")
    built = rng.integers(OLDEST, YEAR - 1, systems)
    limits = rng.uniform(size=(systems, FACTORS))
    load = np.exp(0.6 * rng.standard_normal(systems) + (limits - 0.5).sum(axis=1) * 0.4)
    state = np.zeros(systems, dtype=int)
    age = np.zeros(systems)
    permits, visits = [_rows(ids, built, "new")], []
    for year in range(OLDEST, YEAR + 1):
        there = built <= year
        draw = rng.uniform(size=(4, systems))
        fails = there & (state == 1) & (draw[0] < 0.12 * np.sqrt(load))
        wears = (
            there & (state == 0) & (draw[0] < np.minimum(0.02 * load * ((age + 1) / 20) ** 0.4, 1))
        )
        mended = there & (state == 2) & (draw[1] < 0.15)
        state[fails], state[wears], state[mended] = 2, 1, 0
        age = np.where(there, age + 1, 0)
        age[mended] = 0
        permits.append(_rows(ids[mended], np.full(mended.sum(), year), "repair"))
        if year >= SINCE:
            complains = there & (draw[2] < np.array([0.001, 0.005, 0.06])[state])
            audited = there & (draw[3] < 0.04)
            for seen, reason in ((complains, "complaint"), (audited, "audit")):
                visits.append(_visits(ids[seen], year, reason, STAGES[state[seen]]))
    table = pd.DataFrame(
        {
            "year_built": built.astype(float),
            "first_year": built.astype(float),
            "first_permit_year": built.astype(float),
            "lot_m2": np.exp(rng.normal(7.5, 0.5, systems)),
            "neighborhood": rng.integers(0, 150, systems).astype(str),
            "pump_interval_yr": 4.0,
        },
        index=ids,
    )
    records = records_on_file(table, pd.concat(permits), pd.concat(visits))
    factors = pd.DataFrame(limits, index=ids, columns=[f"f{k}" for k in range(FACTORS)])
    return lots_of(table, records, factors, year=YEAR, passed_frac=1.0)


def _rows(ids: pd.Index, year: np.ndarray, action: str) -> pd.DataFrame:
    day = pd.to_datetime(pd.Series(year).astype(str) + "-06-01")
    return pd.DataFrame(
        {"parcel_id": ids.to_numpy(), "action": action, "issued": day, "inspected": day,
         "last_pumped": pd.NaT}
    )  # fmt: skip


def _visits(ids: pd.Index, year: int, reason: str, stage: np.ndarray) -> pd.DataFrame:
    return pd.DataFrame(
        {"parcel_id": ids.to_numpy(), "date": pd.Timestamp(year, 5, 1), "reason": reason,
         "stage": stage, "ponding_cm": np.nan, "last_pumped": pd.NaT}
    )  # fmt: skip


def library_seconds(lots: Lots) -> float:
    """Processor seconds of hmmlearn's likelihood of as many chains of as many years."""
    rng = np.random.default_rng(2)
    library = CategoricalHMM(n_components=5, init_params="", params="")
    library.startprob_ = np.full(5, 0.2)
    library.transmat_ = rng.dirichlet(np.ones(5), size=5)
    library.emissionprob_ = rng.dirichlet(np.ones(4), size=5)
    years = len(lots.office.share) - lots.histories.first
    seen = rng.integers(0, 4, (int(years.sum()), 1))
    begin = time.process_time()
    library.score(seen, years)
    return time.process_time() - begin


def main() -> None:
    """Command line."""
    systems = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    small = county(300)
    fit(small, np.full(FACTORS, 0.5))  # compiled before anything is timed
    lots = county(systems)
    years = int((len(lots.office.share) - lots.histories.first).sum())
    begin = time.process_time()
    fitted = fit(lots, np.full(FACTORS, 0.5))
    fitting = time.process_time() - begin
    failed, within = odds_of(fitted, IF_FAILED), odds_of(fitted, IF_FAILED, within_yr=5)
    chances(fitted, failed=failed, within=within)
    saying = time.process_time() - begin - fitting
    begin = time.process_time()
    run(fitted.model, fitted.theta)
    one = time.process_time() - begin
    begin = time.process_time()
    log_posterior(fitted.model, fitted.theta)
    slopes = time.process_time() - begin
    library = library_seconds(lots)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    sys.stdout.write(
        f"{systems:,} systems, {years:,} years, {len(fitted.theta)} parameters\n"
        f"fit {fitting:.0f} s of processor time, {fitted.evaluations} passes over all; "
        f"chances {saying:.0f} s; most memory {peak:.2f} GB\n"
        f"one pass {one:.2f} s, with slopes {slopes:.2f} s; baseline, hmmlearn's pass of five "
        f"states {library:.2f} s: ratio {one / library:.2f}\n"
    )


if __name__ == "__main__":
    main()
