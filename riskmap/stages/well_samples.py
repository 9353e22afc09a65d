"""What a county's samples teach about all its wells."""

from __future__ import annotations

import numpy as np
import pandas as pd

from riskmap.action.sampling import last_results
from riskmap.groundwater.censored import Results, results_of
from riskmap.groundwater.screens import screen_windows
from riskmap.groundwater.settings import GroundwaterSettings, WellSettings
from riskmap.groundwater.well_nitrate import Known, Nitrate, known_of_wells, predict_nitrate
from riskmap.groundwater.well_risk import well_risk
from riskmap.stages.county import County
from riskmap.stages.groundwater import Groundwater


def learn_from_samples(county: County, groundwater: Groundwater | None) -> pd.DataFrame | None:
    """Predict the nitrate of every well with the samples of the others.

    Returns
    -------
    DataFrame or None
        Index of ``groundwater.wells``: the columns of
        :func:`riskmap.groundwater.well_risk.well_risk`, ``nitrate_wells_sampled`` (other sampled
        wells behind the prediction), and of the well's own samples ``last_sample``,
        ``last_nitrate_mg_l``, ``last_nitrate_below_limit``. None without terrain.
    """
    if groundwater is None:
        return None
    region = county.region
    samples = county.tables.get("well_samples")
    wells = groundwater.wells
    results = county_results(wells, samples, county)
    nitrate = predict_nitrate(
        known_wells(wells, region.wells), wells["x_m"], wells["y_m"], results,
        water=region.groundwater, seed=region.run.seed,
    )  # fmt: skip
    risk = risk_of(wells, nitrate, region.groundwater, region.wells)
    own = last_results(wells["well_id"], samples).drop(columns="last_coliform")
    return risk.assign(nitrate_wells_sampled=nitrate.samples).join(own)


def county_results(wells: pd.DataFrame, samples: pd.DataFrame | None, county: County) -> Results:
    """Read the samples of some wells, as seen on the run's day."""
    return results_of(samples, wells["well_id"], today=pd.Timestamp(county.region.county.date))


def known_wells(wells: pd.DataFrame, settings: WellSettings) -> Known:
    """Gather what is known of wells that were assessed."""
    _, bottom, _ = screen_windows(wells, unknown_screen_m=settings.unknown_screen_m)
    return known_of_wells(pd.DataFrame(wells), depth_m=bottom)


def risk_of(
    wells: pd.DataFrame, nitrate: Nitrate, water: GroundwaterSettings, settings: WellSettings
) -> pd.DataFrame:
    """Risk of assessed wells under some prediction.

    Parameters
    ----------
    wells
        Columns of an assessment (w,).
    nitrate
        The prediction (w,).
    water, settings
        The region's.
    """
    near = wells["drainfields_within_229_m"].to_numpy(float)
    placed = np.isfinite(near)
    table = well_risk(
        nitrate=Nitrate(
            np.where(placed, nitrate.mean, np.nan), np.where(placed, nitrate.sd, np.nan),
            nitrate.samples,
        ),
        shortest_travel_time_d=wells["shortest_travel_time_d"].to_numpy(float),
        drainfields_near=near,
        own=pd.DataFrame(wells),
        water=water,
        settings=settings,
    )  # fmt: skip
    return table.set_index(wells.index)
