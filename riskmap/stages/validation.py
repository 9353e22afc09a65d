"""How well a county's samples agree with the predicted nitrate, and published figures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from riskmap.contract.errors import NotEnoughDataError
from riskmap.contract.quantities import percent
from riskmap.contract.units import YEAR_D
from riskmap.groundwater.holdout import PUBLISHED, hold_out_comparison
from riskmap.groundwater.nitrogen import neighborhood_nitrate_mg_l
from riskmap.groundwater.settings import GroundwaterSettings
from riskmap.ranking.settings import LearningSettings
from riskmap.stages.county import County
from riskmap.stages.groundwater import Groundwater

VALIDATION_COLUMNS: Final = (
    "nitrate_predicted_mg_l", "systems_reaching", "drainfields_within_229_m",
    "well_vulnerability_frac", "depth_known_m", "ease_of_path_frac",
    "balance_mg_l", "water_depth_m",
)  # fmt: skip

MOST_WELLS = 4000
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
    """Do :func:`well_validation` as a stage; None without terrain."""
    if groundwater is None:
        return None
    region = county.region
    return well_validation(
        groundwater,
        county.tables.get("well_samples"),
        region.groundwater,
        region.learning,
        seed=region.run.seed,
    )


def well_validation(
    groundwater: Groundwater,
    samples: pd.DataFrame | None,
    settings: GroundwaterSettings,
    learning: LearningSettings,
    *,
    seed: int,
) -> WellValidation | None:
    """Compare predicted with measured nitrate, held out by blocks of land.

    Parameters
    ----------
    groundwater
        The stage's wells, systems and surface.
    samples
        The canonical ``well_samples``: ``well_id``, ``nitrate_mg_l``, ``nitrate_below_limit``. The
        median of a well's samples counts; a result below the laboratory's limit as half of it.
    settings
        The region's, for the neighborhood's nitrogen balance.
    learning
        Blocks held out, and in how many parts.
    seed
        Of the sample of wells, where there are many.

    Returns
    -------
    WellValidation or None
        None without samples, or with too few for a test.
    """
    if samples is None or not len(samples):
        return None
    table = groundwater.wells.join(measured_nitrate(samples), on="well_id")
    table = table[table["measured_mg_l"].notna()]
    if len(table) > MOST_WELLS:
        table = table.sample(MOST_WELLS, random_state=seed).sort_index()
    depth = table["depth_m"].astype(float)
    time_yr = table["shortest_travel_time_d"].astype(float) / YEAR_D
    features = table.assign(
        depth_known_m=depth.fillna(depth.median() if depth.notna().any() else 0.0),
        ease_of_path_frac=np.where(time_yr.notna(), 1.0 / (1.0 + time_yr), 0.0),
        balance_mg_l=_balance(table, groundwater, settings),
        water_depth_m=_water_depth_m(table, groundwater),
    )
    try:
        found = hold_out_comparison(
            pd.DataFrame(features[list(VALIDATION_COLUMNS)]).astype(float),
            table["measured_mg_l"],
            x_m=table["x_m"],
            y_m=table["y_m"],
            plume_column="nitrate_predicted_mg_l",
            block_m=learning.block_m,
            folds=learning.folds,
            seed=seed,
        )
    except NotEnoughDataError:
        return None
    return WellValidation(found, PUBLISHED, validation_words(found), int(found["samples"].iloc[0]))


def _balance(
    wells: pd.DataFrame, groundwater: Groundwater, settings: GroundwaterSettings
) -> NDArray[np.float64]:
    """Neighborhood mass balance at each well, mg/L as N."""
    systems = groundwater.systems
    return neighborhood_nitrate_mg_l(
        systems["x_m"], systems["y_m"],
        load_kg_yr=systems["nitrogen_load_kg_yr"], flow_l_d=systems["daily_flow_l_d"],
        target_x_m=wells["x_m"], target_y_m=wells["y_m"], settings=settings,
    )  # fmt: skip


def _water_depth_m(wells: pd.DataFrame, groundwater: Groundwater) -> NDArray[np.float64]:
    """Depth to the water table at each well; the middle depth where it is not known."""
    head, land = groundwater.surface.head, groundwater.land
    depth = land.with_values(land.values - head.values).sample(wells["x_m"], wells["y_m"])
    middle = np.nanmedian(depth) if np.isfinite(depth).any() else 0.0
    return np.where(np.isfinite(depth), depth, middle)


def measured_nitrate(samples: pd.DataFrame) -> pd.Series:
    """Median nitrate of each well, mg/L as N; below the laboratory's limit counts as half of it."""
    value = samples["nitrate_mg_l"].astype(float)
    if "nitrate_below_limit" in samples:
        below = samples["nitrate_below_limit"].fillna(False).astype(bool)
        value = value.where(~below, value / 2.0)
    return value.groupby(samples["well_id"]).median().rename("measured_mg_l")


def validation_words(table: pd.DataFrame) -> str:
    """Say in plain words how far the prediction of nitrate can be trusted."""
    plain = table.iloc[0]
    best = table[table["split"] == "blocks"].sort_values("r2", kind="stable").iloc[-1]
    low, high = PUBLISHED["r2"].min(), PUBLISHED["r2"].max()
    text = (
        f"Of {plain['samples']:,.0f} sampled wells, {plain['above_limit']:,.0f} are above the "
        "limit. Ranked by the prediction as it is, the first tenth holds "
        f"{_share(plain['found_in_first_10_pct_frac'])} of them (by chance: 10%); the rank "
        f"correlation is {plain['rank_correlation']:.2f}. Learned on other blocks of land, the "
        f"best method ({best['method']}) explains {percent(max(best['r2'], 0.0))} of the "
        "variation of the logs and finds "
        f"{_share(best['found_in_first_10_pct_frac'])}. Published studies of private wells reached "
        f"{percent(low)} to {percent(high)}."
    )
    if table["suspect"].any():
        return text + " A value above 60% is suspect: look for leakage."
    return text + " Use it to order sampling, not to judge any well."


def _share(value: float) -> str:
    return "an unknown share" if np.isnan(value) else percent(value)
