"""Which wells to sample first.

A well whose last sample was bad comes first, then one whose nitrate was raised; the rest follow by
risk. The risk is the ``well_risk_frac`` of :mod:`riskmap.groundwater` where it is given. Otherwise
it is the load around the well: the sum over ranked systems within 229 m of groundwater score / 100
times (1 - distance / 229 m), so that a system of full score at the well counts 1 and one at 229 m
nothing. A clean sample of the last three years halves the risk (authors' judgment). Wells
that were sampled at a visit, and whose result is still to come, are last.

229 m is the radius within which drainfields counted in Borchardt et al. (2021, Environ. Health
Perspect. 129). The nitrate limit is 10 mg/L as N (40 CFR 141.62); half of it is where public
systems must sample more often (40 CFR 141.23).
"""

from __future__ import annotations

from datetime import date
from typing import Final

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from riskmap.contract.results import SAMPLING
from riskmap.contract.units import YEAR_D
from riskmap.groundwater.nitrogen import LIMIT_MG_L

REACH_M: Final = 229.0
RAISED_MG_L: Final = LIMIT_MG_L / 2
FRESH_YEARS: Final = 3.0
CLEAN_SHARE: Final = 0.5
SAMPLED_USES: Final = ("domestic", "public", "unknown")

ABOVE: Final = "last sample above the limit or with coliform: sample again now"
RAISED: Final = "nitrate raised at the last sample: sample again"
NEVER: Final = "no sample on record"
OLD: Final = "last sample more than three years old"
FRESH: Final = "clean sample of the last three years"
AWAITED: Final = "sampled at a visit of the last half year, result not on record yet"
AWAITED_D: Final = 183
"""How long the result of a sample is waited for (authors' judgment); then it counts as lost."""

_TESTS: Final = "nitrate (as N), total coliform and E. coli"


def sampling_order(
    wells: pd.DataFrame,
    systems: pd.DataFrame,
    samples: pd.DataFrame | None = None,
    *,
    today: date,
    taken: pd.Series | None = None,
) -> pd.DataFrame:
    """Put drinking-water wells into the order in which to sample them.

    Parameters
    ----------
    wells
        ``well_id``, ``x_m``, ``y_m``; ``use``, ``depth_m``, ``well_risk_frac``,
        ``nitrate_predicted_mg_l`` and ``chance_above_limit_frac`` if known. Wells
        for other uses than drinking are left out, wells without a position go last.
    systems
        The ranked table: ``x_m``, ``y_m``, ``groundwater_score``, ``rank``.
    samples
        The canonical ``well_samples``, or None.
    today
        Date of the run.
    taken
        Day on which a visit last took a sample, by index of `wells`; None: nobody did.

    Returns
    -------
    DataFrame
        Index of `wells` (those kept), in order; the columns of
        :data:`riskmap.contract.results.SAMPLING` but where and whose the wells are.
    """
    uses = wells["use"].fillna("unknown") if "use" in wells else "unknown"
    table = wells.drop(columns=["parcel_id"], errors="ignore").assign(use=uses)
    table = table[table["use"].isin(SAMPLED_USES)]
    found = _near(table, systems).join(last_results(table["well_id"], samples))
    table = table.drop(columns=list(found), errors="ignore").join(found)
    given = "well_risk_frac" in table
    table["risk"] = table["well_risk_frac"].astype(float) if given else table["load"]
    table["why"] = _why(table, today)
    if taken is not None:
        table.loc[_awaited(table, taken, today), "why"] = AWAITED
    table["test_for"] = _TESTS
    for name in ("depth_m", "nitrate_predicted_mg_l", "chance_above_limit_frac"):
        if name not in table:
            table[name] = np.nan
    group = table["why"].map({ABOVE: 0, RAISED: 1, AWAITED: 3}).fillna(2)
    weight = table["risk"].fillna(-1.0) * np.where(table["why"] == FRESH, CLEAN_SHARE, 1.0)
    order = np.lexsort((table["well_id"].astype(str), -weight, group))
    table = table.iloc[order]
    table["order"] = np.arange(1, len(table) + 1)
    return table[[name for name in SAMPLING.column_names if name in table]]


def load_near(
    wells_xy_m: np.ndarray, systems_xy_m: np.ndarray, groundwater_score: np.ndarray
) -> pd.DataFrame:
    """Sum of nearness-weighted groundwater scores, count, nearest and worst within 229 m.

    Parameters
    ----------
    wells_xy_m, systems_xy_m
        Positions (n, 2) and (m, 2), finite.
    groundwater_score
        Scores of the systems (m,), 0-100; NaN counts as none.

    Returns
    -------
    DataFrame
        (n,) ``load``, ``systems_near``, ``nearest_system_m``, ``worst_groundwater_score``.
    """
    count = len(wells_xy_m)
    table = pd.DataFrame(
        {"load": np.zeros(count), "systems_near": np.zeros(count, int),
         "nearest_system_m": np.full(count, np.nan),
         "worst_groundwater_score": np.full(count, np.nan)}
    )  # fmt: skip
    if not count or not len(systems_xy_m):
        return table
    tree = cKDTree(systems_xy_m)
    table["nearest_system_m"] = tree.query(wells_xy_m)[0]
    pairs = cKDTree(wells_xy_m).sparse_distance_matrix(tree, REACH_M, output_type="coo_matrix")
    score = np.asarray(groundwater_score, float)[pairs.col]
    part = np.nan_to_num(score) / 100 * (1 - pairs.data / REACH_M)
    table["load"] = np.bincount(pairs.row, part, count)
    table["systems_near"] = np.bincount(pairs.row, minlength=count)
    worst = pd.Series(score).groupby(pairs.row).max()
    table.loc[worst.index, "worst_groundwater_score"] = worst
    return table


def _near(wells: pd.DataFrame, systems: pd.DataFrame) -> pd.DataFrame:
    onsite = systems[systems["rank"].notna().to_numpy() & systems["x_m"].notna().to_numpy()]
    placed = wells[["x_m", "y_m"]].notna().all(axis=1).to_numpy()
    near = load_near(
        wells.loc[placed, ["x_m", "y_m"]].to_numpy(float),
        onsite[["x_m", "y_m"]].to_numpy(float),
        onsite["groundwater_score"].to_numpy(dtype=float, na_value=np.nan),
    )
    return near.set_index(wells.index[placed]).reindex(wells.index)


def last_results(well_ids: pd.Series, samples: pd.DataFrame | None) -> pd.DataFrame:
    """Last sample, last nitrate and last coliform of each well (undated samples count as old).

    Returns
    -------
    DataFrame
        Index of ``well_ids``: ``last_sample``, ``last_nitrate_mg_l`` (the limit where
        ``last_nitrate_below_limit``), ``last_coliform``.
    """
    if samples is None:
        samples = pd.DataFrame(columns=["well_id", "date"])
    dated = samples.assign(date=pd.to_datetime(samples["date"]))
    if "nitrate_below_limit" in dated:  # a detection limit that high shows nothing
        coarse = dated["nitrate_below_limit"].fillna(False) & (dated["nitrate_mg_l"] >= RAISED_MG_L)
        dated["nitrate_mg_l"] = dated["nitrate_mg_l"].mask(coarse.astype(bool))
    below = dated.get("nitrate_below_limit", pd.Series(False, dated.index))
    tested = dated.get("nitrate_mg_l", pd.Series(np.nan, dated.index)).notna()
    dated["below"] = below.astype("boolean").where(tested)
    groups = dated.sort_values("date", kind="stable", na_position="first").groupby("well_id")
    found = pd.DataFrame({"last_sample": groups["date"].max()})
    for target, source in (
        ("last_nitrate_mg_l", "nitrate_mg_l"), ("last_nitrate_below_limit", "below"),
        ("last_coliform", "coliform"),
    ):  # fmt: skip
        found[target] = groups[source].last() if source in dated else pd.NA
    return found.reindex(well_ids).set_index(well_ids.index)


def _awaited(table: pd.DataFrame, taken: pd.Series, today: date) -> pd.Series:
    """Flag wells sampled of late at a visit, after the last sample that is on record."""
    day = pd.to_datetime(taken.reindex(table.index))
    recent = day >= pd.Timestamp(today) - pd.Timedelta(days=AWAITED_D)
    return recent & ~(table["last_sample"] >= day)


def samples_taken(inspections: pd.DataFrame | None) -> pd.Series:
    """Day on which a visit last took a water sample, index ``parcel_id``."""
    if inspections is None:
        return pd.Series(dtype="datetime64[ns]")
    took = inspections[inspections["well_sampled"].eq(True).fillna(False).to_numpy(bool)]
    return took.groupby("parcel_id")["date"].max()


def _why(table: pd.DataFrame, today: date) -> np.ndarray:
    nitrate = pd.to_numeric(table["last_nitrate_mg_l"], errors="coerce")
    germs = table["last_coliform"].astype("boolean").fillna(False).to_numpy(dtype=bool)
    age_yr = (pd.Timestamp(today) - table["last_sample"]).dt.days / YEAR_D
    tested = nitrate.notna() | table["last_coliform"].notna() | table["last_sample"].notna()
    return np.select(
        [(nitrate > LIMIT_MG_L).to_numpy() | germs, (nitrate >= RAISED_MG_L).to_numpy(),
         (~tested).to_numpy(), (age_yr <= FRESH_YEARS).to_numpy()],
        [ABOVE, RAISED, NEVER, FRESH],
        default=OLD,
    )  # fmt: skip
