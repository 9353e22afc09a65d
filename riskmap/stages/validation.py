"""How well a county's samples agree with the predicted nitrate, and published figures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from riskmap.contract.errors import NotEnoughDataError
from riskmap.contract.quantities import percent
from riskmap.groundwater.holdout import PUBLISHED, hold_out_comparison
from riskmap.stages.county import County
from riskmap.stages.groundwater import Groundwater
from riskmap.stages.well_samples import county_results, known_wells, risk_of

MOST_WELLS: Final = 2000
"""Sampled wells compared on at most, a random choice of more: figures are steady long before."""


@dataclass(frozen=True)
class WellValidation:
    """How well measured nitrate is predicted on wells not seen.

    ``table``: rows of :func:`riskmap.groundwater.holdout.hold_out_comparison`; ``published``: what
    others reached; ``words``: the verdict; ``samples``: wells that counted.
    """

    table: pd.DataFrame
    published: pd.DataFrame
    words: str
    samples: int


def validate_county(county: County, groundwater: Groundwater | None) -> WellValidation | None:
    """Compare predicted with measured nitrate, held out by blocks of land.

    The median of a well's samples is held against; a result below the laboratory's limit counts as
    half of it.

    Returns
    -------
    WellValidation or None
        None without terrain or samples, or with too few for a test.
    """
    samples = county.tables.get("well_samples")
    if groundwater is None or samples is None or not len(samples):
        return None
    region = county.region
    wells = groundwater.wells.join(measured_nitrate(samples), on="well_id")
    wells = wells[wells[["measured_mg_l", "x_m", "y_m"]].notna().all(axis=1).to_numpy()]
    if len(wells) > MOST_WELLS:
        wells = wells.sample(MOST_WELLS, random_state=region.run.seed).sort_index()
    depth = wells["depth_m"].astype(float)
    usual = depth.median() if depth.notna().any() else 0.0
    try:
        found = hold_out_comparison(
            known_wells(wells, region.wells),
            wells[["x_m", "y_m"]].to_numpy(float),
            county_results(wells, samples, county),
            measured_mg_l=wells["measured_mg_l"].to_numpy(float),
            below=wells["below"].to_numpy(bool),
            simple={
                "fields within 229 m": wells["drainfields_within_229_m"].to_numpy(float),
                "shallow wells first": -depth.fillna(usual).to_numpy(),
            },
            risk=lambda nitrate: risk_of(wells, nitrate, region.groundwater, region.wells)[
                "well_risk_frac"
            ].to_numpy(float),
            water=region.groundwater,
            block_m=region.learning.block_m,
            folds=region.learning.folds,
            seed=region.run.seed,
        )
    except NotEnoughDataError:
        return None
    return WellValidation(found, PUBLISHED, validation_words(found), int(found["samples"].iloc[0]))


def measured_nitrate(samples: pd.DataFrame) -> pd.DataFrame:
    """Median nitrate of each well, mg/L as N; below the laboratory's limit counts as half of it.

    Returns
    -------
    DataFrame
        Index ``well_id``: ``measured_mg_l``, ``below`` (all its results lie below the limit).
    """
    value = samples["nitrate_mg_l"].astype(float)
    below = pd.Series(False, samples.index)
    if "nitrate_below_limit" in samples:
        below = samples["nitrate_below_limit"].fillna(False).astype(bool)
    tested = value.notna().to_numpy()
    table = pd.DataFrame({"measured_mg_l": value.where(~below, value / 2.0), "below": below})
    groups = table[tested].groupby(samples.loc[tested, "well_id"])
    return groups.agg({"measured_mg_l": "median", "below": "all"})


def validation_words(table: pd.DataFrame) -> str:
    """Say in plain words how far the prediction of nitrate can be trusted."""
    rows = {(row["method"], row["split"]): row for row in table.to_dict("records")}
    alone, best = rows["physics alone", "none"], rows["samples", "blocks"]
    listed = rows["sampling list, samples", "blocks"]
    low, high = PUBLISHED["r2"].min(), PUBLISHED["r2"].max()
    text = (
        f"Of {best['samples']:,.0f} sampled wells, {best['above_limit']:,.0f} are above the "
        "limit. Learned from samples on other blocks of land, the prediction explains "
        f"{percent(max(best['r2'], 0.0))} of the variation of the logs (published studies of "
        f"private wells: {percent(low)} to {percent(high)}); its rank correlation is "
        f"{best['rank_correlation']:.2f}, without samples {alone['rank_correlation']:.2f}. The "
        f"first tenth of the sampling list holds {_share(listed['found_in_first_10_pct_frac'])} "
        "of the wells above the limit (by chance: 10%). On average it said a chance of "
        f"{_tenths(best['said_above_frac'])} that a well is above the limit; "
        f"{_tenths(best['found_above_frac'])} were. {percent(best['held_by_range_frac'])} of the "
        "wells lie in their 90% range."
    )
    if table["suspect"].any():
        return text + " A value above 60% is suspect: look for leakage."
    return text + " Use it to order sampling, not to judge any well."


def _share(value: float) -> str:
    return "an unknown share" if np.isnan(value) else percent(value)


def _tenths(value: float) -> str:
    return f"{100 * value:.1f}%"
