"""What systems are expected to add at wells: mass, direction, depth, by other routes."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.stats import lognorm

from riskmap.contract.arrays import Floats
from riskmap.contract.grid import grid_from_bounds
from riskmap.contract.units import YEAR_D
from riskmap.groundwater.exposure import ASTRAY_FRAC, REACH_M, exposure, speeds
from riskmap.groundwater.gradient import FlowField, flow_field
from riskmap.groundwater.settings import GroundwaterSettings

WATER = GroundwaterSettings(direction_sd_deg=20.0, recharge_m_yr=0.3, thickness_m=40.0)
KG_YR = np.array([10.0])


def eastward(gradient: float = 0.01) -> FlowField:
    grid = grid_from_bounds(west_m=-1000, north_m=1000, cell_m=20, values=np.zeros((100, 100)))
    return flow_field(
        grid.with_values(50 - gradient * grid.centers()[0]),
        conductivity_m_d=WATER.conductivity_m_d, porosity_frac=WATER.porosity_frac,
    )  # fmt: skip


def at(x: Floats, y: Floats, top: float, bottom: float, **system: float) -> pd.DataFrame:
    """One system at the origin, wells around it."""
    wells = pd.DataFrame({"x_m": x, "y_m": y})
    return exposure(
        pd.DataFrame({"x_m": [0.0], "y_m": [0.0], **{n: [v] for n, v in system.items()}}), wells,
        load_kg_yr=KG_YR, screen_m=(np.full(len(wells), top), np.full(len(wells), bottom)),
        flow=eastward(), settings=WATER,
    )  # fmt: skip


def test_the_load_passes_whole_through_a_circle() -> None:
    """Around a circle, over all depth, flux times concentration is the load, at each speed."""
    turn = np.linspace(-np.pi, np.pi, 721)[:-1]
    mean = at(100 * np.cos(turn), 100 * np.sin(turn), 0.0, 400.0)["expected_at_screen_mg_l"].mean()
    flux = WATER.conductivity_m_d * 0.01
    slowness = (1 / speeds()).mean()
    # g/m3 over 400 m of depth and a circle of 2 pi 100 m, in water that moves at `flux`
    assert mean * 400 * 2 * np.pi * 100 * flux == pytest.approx(
        KG_YR[0] * 1000 / YEAR_D * slowness, rel=1e-6
    )


def test_direction_is_a_normal_density_with_a_share_that_is_astray() -> None:
    turn = np.radians([0.0, 20.0, 40.0, 180.0])
    found = at(80 * np.cos(turn), 80 * np.sin(turn), 0.0, 400.0)["expected_at_screen_mg_l"]
    spread = np.radians(20.0)

    def density(angle: float) -> float:
        fan = np.exp(-0.5 * (angle / spread) ** 2) / (np.sqrt(2 * np.pi) * spread)
        return float(ASTRAY_FRAC / (2 * np.pi) + (1 - ASTRAY_FRAC) * fan)

    expected = np.array([density(angle) for angle in turn])
    np.testing.assert_allclose(found / found[0], expected / expected[0], rtol=1e-6)


def test_speeds_are_the_belief() -> None:
    """Middles of equal parts of a log-normal between 0.2 and 5 (its 5 and 95% ends)."""
    belief = lognorm(s=np.log(5.0) / 1.6448536269514722)
    np.testing.assert_allclose(speeds(), belief.ppf([0.1, 0.3, 0.5, 0.7, 0.9]), rtol=1e-9)


def test_depth_is_buried_by_recharge_and_a_deep_screen_gets_less() -> None:
    x, y = np.array([60.0]), np.array([0.0])
    shares = [
        at(x, y, top, top + 3.0)["expected_at_screen_mg_l"][0] for top in (0.0, 6.0, 20.0)
    ]  # fmt: skip
    assert shares[0] > shares[1] > shares[2]
    near, far = (at(np.array([d]), y, 6.0, 9.0).iloc[0] for d in (40.0, 450.0))
    assert (
        far["expected_at_screen_mg_l"] / far["expected_on_top_mg_l"]
        > near["expected_at_screen_mg_l"] / near["expected_on_top_mg_l"]
    )


def test_the_window_share_by_integration() -> None:
    """The screen's mean over depth, by quadrature of narrow windows."""
    x, y = np.array([120.0]), np.array([30.0])
    whole = at(x, y, 4.0, 12.0)["expected_at_screen_mg_l"][0]

    def narrow(depth: float) -> float:
        return float(at(x, y, depth - 0.5, depth + 0.5)["expected_at_screen_mg_l"][0])

    middle = quad(narrow, 4.5, 11.5, epsabs=1e-6)[0]
    ends = 0.5 * (narrow(4.5) + narrow(11.5))
    assert whole * 8 == pytest.approx(middle + ends, rel=0.01)


def test_a_young_system_has_not_arrived_and_a_far_one_is_not_summed() -> None:
    x, y = np.array([200.0, REACH_M + 1.0]), np.zeros(2)
    old, young = (at(x, y, 0.0, 10.0, age_yr=age) for age in (500.0, 0.001))
    assert old["expected_at_screen_mg_l"][0] > 0
    assert young.to_numpy().max() == 0
    assert old["expected_at_screen_mg_l"][1] == 0


def test_places_that_are_not_known() -> None:
    found = at(np.array([np.nan, 50.0]), np.zeros(2), 0.0, 5.0)
    assert np.isnan(found.iloc[0]).all()
    assert np.isfinite(found.iloc[1]).all()
