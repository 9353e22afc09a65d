"""What orders of one county's list are worth, held against its hidden truth.

The truth is read here and nowhere in the program. Systems are those that the result ranks. A system
is *known to have failed* where the last finding of "failed" has no later repair permit.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from riskmap.ranking.blocks import block_ids
from riskmap.ranking.metrics import (
    Floats,
    block_resamples,
    brier,
    ranking_figures,
)

BLOCK_M: Final = 2000.0
RESAMPLES: Final = 400
SEED: Final = 7
LIST: Final = "the program's list"
SIMPLE_ORDERS: Final = (
    "oldest first",
    "soil rule first",
    "records first",
    "failure score",
    "on file first, then score",
)
OUTCOMES: Final = ("failed", "stressed", "in_2_yr", "in_5_yr", "by_5_yr")
"""What a chance is about; ``in`` some years is asked of those not failed now, ``by`` of all."""
CHANCE_FIGURES: Final = ("said", "found", "brier", "constant", "slope")


def read_systems(
    county: Path, result: Path, *, columns: Sequence[str] = (), chances: Sequence[str] = ()
) -> pd.DataFrame:
    """Read the ranked systems of a result with their truth and every order, higher first.

    Parameters
    ----------
    county, result
        Folder of the invented county, and of the program's result for it.
    columns
        Further columns of ``parcels.parquet`` that order the list.
    chances
        Columns of ``parcels.parquet`` that say a chance, as ``column:outcome`` (`OUTCOMES`).

    Returns
    -------
    DataFrame
        Index ``parcel_id``; ``failed, stressed, fails_in_yr, known, block``, and a column for every
        order and every chance, named as given.
    """
    truth = pd.read_csv(county / "truth.csv", dtype={"parcel_id": str}).set_index("parcel_id")
    parcels = pd.read_parquet(result / "parcels.parquet").set_index("parcel_id")
    parcels = parcels[parcels["rank"].notna() & parcels.index.isin(truth.index)]
    systems = truth.loc[parcels.index, ["failed", "stressed", "fails_in_yr"]].astype(float)
    paper = on_file(county).reindex(parcels.index)
    systems["known"] = paper["known"].eq(True)
    systems["block"] = block_ids(
        parcels["x_m"].to_numpy(float), parcels["y_m"].to_numpy(float), size_m=BLOCK_M
    )
    age = parcels["age_yr"].astype(float)
    age = age.fillna(age.median())
    score = parcels["failure_score"].astype(float)
    limits = parcels.filter(regex="^limit_").astype(float).sum(axis=1)
    systems["oldest first"] = age
    systems["soil rule first"] = parcels["soil_rating"].astype(float).fillna(0) + 0.001 * limits
    systems["records first"] = paper["burden"].fillna(0.0) + age / 1000
    systems["failure score"] = score
    systems["on file first, then score"] = score + 1000.0 * systems["known"]
    systems[LIST] = -parcels["rank"].astype(float)
    for name in columns:
        systems[name] = parcels[name].astype(float).fillna(-np.inf)
    for name in chances:
        systems[name] = parcels[name.split(":")[0]].astype(float)
    return systems


def on_file(county: Path) -> pd.DataFrame:
    """Tell what the office's files hold of each parcel, from the files themselves.

    Returns
    -------
    DataFrame
        Index ``parcel_id``; ``known`` (found failed, no repair since) and ``burden``: 100 for that,
        10 for each complaint since the last repair (at most 9), 5 for a last finding of stressed, 1
        for each repair (at most 4).
    """
    visits = pd.read_csv(county / "inspections" / "inspections.csv", dtype=str)
    visits["when"] = pd.to_datetime(visits["VISITED"], format="%m/%d/%Y")
    permits = pd.read_csv(county / "permits" / "permits.csv", dtype=str)
    repairs = permits[permits["ACTION"] == "REPAIR"]
    issued = pd.to_datetime(repairs["ISSUED"], errors="coerce").groupby(repairs["PIN"])
    repaired = pd.DataFrame({"last": issued.max(), "count": issued.count()})
    visits = visits.dropna(subset="PARCEL").merge(
        repaired, left_on="PARCEL", right_index=True, how="left"
    )
    open_visits = visits[~(visits["last"] >= visits["when"])].sort_values("when", kind="stable")
    by_parcel = open_visits.groupby("PARCEL")
    paper = pd.DataFrame(index=visits["PARCEL"].unique()).join(repaired["count"], how="outer")
    paper["known"] = by_parcel["FOUND"].agg(lambda found: (found == "FAILED").any())
    paper["known"] = paper["known"].eq(True)
    complaints = by_parcel["REASON"].agg(lambda reason: (reason == "COMPLAINT").sum())
    stressed = by_parcel["FOUND"].last() == "STRESSED"
    paper["burden"] = (
        100.0 * paper["known"]
        + 10.0 * complaints.reindex(paper.index).fillna(0).clip(upper=9)
        + 5.0 * stressed.reindex(paper.index).eq(True)
        + paper["count"].fillna(0).clip(upper=4)
    )
    return paper[["known", "burden"]]


def order_draws(
    systems: pd.DataFrame, orders: Sequence[str], figures: Sequence[str]
) -> pd.DataFrame:
    """Figures of the orders on these systems and on bootstrap samples of whole blocks.

    Parameters
    ----------
    systems
        As :func:`read_systems` gives them, all or some.
    orders
        Columns of `systems`, higher first.
    figures
        Names out of :func:`riskmap.ranking.metrics.ranking_figures`.

    Returns
    -------
    DataFrame
        Row 0 is the county itself, the others are the samples; columns (order, figure).
    """
    failed = systems["failed"].to_numpy(float)
    ones = np.ones(len(failed))
    rankings = {name: systems[name].to_numpy(float) for name in orders}
    wanted = {key: figure for key, figure in ranking_figures().items() if key in figures}
    rows = []
    for sample in _samples(systems):
        truth, weight = failed[sample], ones[sample]
        rows.append(
            {
                (name, key): figure(truth, ranking[sample], weight)
                for name, ranking in rankings.items()
                for key, figure in wanted.items()
            }
        )
    return pd.DataFrame(rows)


def chance_draws(systems: pd.DataFrame, chances: Sequence[str]) -> pd.DataFrame:
    """Figures of the chances, rows as :func:`order_draws`, columns (chance, figure).

    ``said`` and ``found`` are means; ``brier`` and that of a ``constant``; ``slope``: see
    :func:`calibration_slope`.
    """
    columns: dict[tuple[str, str], list[float]] = {}
    for name in chances:
        truth, chance, rows = _outcome(systems, name)
        for sample in _samples(rows):
            for key, value in _chance_figures(truth[sample], chance[sample]).items():
                columns.setdefault((name, key), []).append(value)
    return pd.DataFrame(columns)


def _outcome(systems: pd.DataFrame, name: str) -> tuple[Floats, Floats, pd.DataFrame]:
    """Truth and chance where the chance is known."""
    outcome = name.split(":")[1]
    rows = systems[systems[name].notna()]
    if outcome in ("failed", "stressed"):
        return rows[outcome].to_numpy(float), rows[name].to_numpy(float), rows
    if outcome.startswith("in_"):
        rows = rows[rows["failed"] == 0]
    within = float(outcome.split("_")[1])
    truth = (rows["fails_in_yr"] <= within).to_numpy(float)
    return truth, rows[name].to_numpy(float), rows


def _chance_figures(truth: Floats, chance: Floats) -> dict[str, float]:
    ones = np.ones(len(truth))
    found = float(truth.mean())
    values = (
        float(chance.mean()),
        found,
        float(brier(truth, chance, ones)),
        found * (1 - found),
        calibration_slope(truth, chance),
    )
    return dict(zip(CHANCE_FIGURES, values, strict=True))


def calibration_slope(truth: Floats, chance: Floats) -> float:
    """Slope of the logistic line of the truth on the log-odds said, by Newton's steps (Cox 1958).

    1 is right, below 1 says too extreme. NaN where nothing or everything failed, or where one
    chance is said of all.
    """
    odds = logit(np.clip(chance, 1e-4, 1 - 1e-4))
    if not 0 < truth.sum() < len(truth) or np.ptp(odds) < 1e-9:
        return float("nan")
    design = np.column_stack([np.ones(len(odds)), odds - odds.mean()])
    line = np.array([logit(truth.mean()), 0.0])
    for _ in range(50):
        said = expit(design @ line)
        curvature = design.T @ (design * (said * (1 - said))[:, None])
        step = np.linalg.solve(curvature, design.T @ (truth - said))
        line = line + step
        if np.abs(step).max() < 1e-9:
            break
    return float(line[1])


def _samples(systems: pd.DataFrame) -> list[np.ndarray]:
    blocks = systems["block"].to_numpy()
    drawn = block_resamples(blocks, resamples=RESAMPLES, seed=SEED)
    return [np.arange(len(systems)), *drawn]
