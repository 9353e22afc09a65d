"""The mat against published ranges."""

from __future__ import annotations

import numpy as np
import pytest

from riskmap.contract.units import FOOT_M, GPD_PER_FT2_L_D_M2, UM_S_M_D
from riskmap.failure.clogging import MAT_THICKNESS_M, Surface, mature_resistance_d
from riskmap.failure.geometry import field_shape
from riskmap.failure.sizing import rate_of_ksat

CM_HOUR_UM_S = 1e4 / 3600


def _mature(ksat_um_s: np.ndarray, kind: str = "trench") -> np.ndarray:
    n = ksat_um_s.size
    shape = field_shape([kind] * n, wall_credit_m=FOOT_M)
    standard = Surface(
        shape.bottom_per_m2,
        shape.wall_per_m2,
        shape.inlet_m,
        shape.brim_m,
        np.full(n, np.inf),
        ksat_um_s * UM_S_M_D,
    )
    return mature_resistance_d(rate_of_ksat(ksat_um_s) / 1000, standard)


def _factor(ksat_um_s: np.ndarray) -> np.ndarray:
    return MAT_THICKNESS_M / _mature(ksat_um_s) / (ksat_um_s * UM_S_M_D)


class TestPublishedValues:
    def test_mat_conductivity_in_sandy_loam(self) -> None:
        """Bumgarner & McCray 2007 (Water Res. 41:2349), 29 cells in sandy loam: 1e-3 to 1e-1.

        Sandy loam's conductivity: class average of a pedotransfer data set, 1.595 cm/h.
        """
        factor = _factor(np.array([1.595 * CM_HOUR_UM_S]))
        assert 1e-3 <= factor[0] <= 1e-1

    def test_mat_conductivity_from_clay_to_loam(self) -> None:
        factor = _factor(np.geomspace(0.05, 9.0, 40))
        assert factor.min() >= 1e-3
        assert factor.max() <= 1e-1 + 1e-12

    def test_resistance_does_not_follow_native_conductivity(self) -> None:
        """Bumgarner & McCray: biozone set by loading and surface, not by native conductivity.

        From the slowest to the fastest soil class conductivity rises 336-fold; the mature
        resistance stays within a factor of three.
        """
        resistance = _mature(np.geomspace(0.42, 141.0, 60))
        assert resistance.max() / resistance.min() < 3

    def test_acceptance_varies_far_less_than_conductivity(self) -> None:
        """Niec & Spychala 2014 (Water 6:2808): about an order of magnitude less."""
        ksat = np.geomspace(0.42, 300.0, 200)
        slope = np.diff(np.log(rate_of_ksat(ksat))) / np.diff(np.log(ksat))
        assert (slope > 0).all()
        assert slope.max() < 0.5
        assert slope.mean() < 1 / 3

    @pytest.mark.parametrize(
        ("ksat_ft_min", "gpd_ft2"), [(0.01, 0.650), (0.001, 0.405), (0.0001, 0.3005)]
    )
    def test_acceptance_is_of_healy_and_laaks_order(
        self, ksat_ft_min: float, gpd_ft2: float
    ) -> None:
        """Healy & Laak 1974, 5K - 1.2/log10 K (from memory): within a factor of three."""
        ksat = ksat_ft_min * FOOT_M / 60 * 1e6
        found = float(rate_of_ksat(ksat)) / GPD_PER_FT2_L_D_M2
        assert gpd_ft2 / 3 < found < gpd_ft2 * 3
