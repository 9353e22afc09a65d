"""How far the numbers of the failure physics may be off, for the whole county at once.

Ranges hold 90% of what is believed of each number. They are wide where the number is our own
choice, and a county that knows better should say so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from riskmap.contract.parameters import JUDGED, UncertainParameter
from riskmap.failure.mat import MATURING_YR, SOLIDS_GAIN, Growth
from riskmap.failure.soil_hydraulics import ALPHA_PER_M

FAILURE_PARAMETERS: Final = (
    UncertainParameter(
        "water_use",
        50.7 / 68.6,
        75 / 68.6,
        "lognormal",
        "of the flow rule's",
        "EPA/625/R-00/008 (2002), Table 3-1: studies from 50.7 to 70.8 gal/person/day around a "
        "weighted mean of 68.6 (from memory); design practice 75 (read)",
    ),
    UncertainParameter(
        "field_margin",
        0.7,
        1.4,
        "lognormal",
        "of the margin fitted",
        f"{JUDGED}: the share of failed fields that the margin is fitted to is known that roughly",
    ),
    UncertainParameter(
        "alpha_per_m",
        4.0,
        36.0,
        "lognormal",
        "1/m",
        "Elrick & Reynolds (1992, Soil Sci. Soc. Am. J. 56:320), categories 4, 12 and 36 per m: "
        "unstructured fine to coarse soils (from memory)",
        of="value",
    ),
    UncertainParameter(
        "maturing_yr", 0.7, 5.0, "lognormal", "yr", f"{JUDGED}: months to a few years", of="value"
    ),
    UncertainParameter(
        "solids_gain", 0.5, 2.0, "lognormal", f"of {SOLIDS_GAIN:g}", f"{JUDGED}: own formulation"
    ),
    UncertainParameter(
        "hazard",
        0.6,
        1.6,
        "lognormal",
        "of the aging curve's hazard",
        f"{JUDGED}: Dix & Hoxie (2001) give bounds (under 0.5% a year, over 80% serving), which "
        "leave about that much room",
    ),
    UncertainParameter(
        "unrecorded_pump_outs_per_yr",
        0.0,
        0.1,
        "uniform",
        "1/yr",
        "12.2% pumped in 38 months, 4% a year, by the records of one county (Sci. Total Environ. "
        "2023, abstract read); advice is once in 3 to 5 years. What no record tells: judgment",
        of="value",
    ),
)
"""The parameters that are drawn anew for every scenario, the same for all systems."""


@dataclass(frozen=True)
class FailureParameters:
    """One set of parameters; the defaults are those that the plain assessment takes.

    ``water_use``, ``field_margin`` and ``hazard`` are factors on the flow, on the acceptance rate
    (times the margin fitted) and on the aging curve's hazard.
    """

    water_use: float = 1.0
    field_margin: float = 1.0
    alpha_per_m: float = ALPHA_PER_M
    maturing_yr: float = MATURING_YR
    solids_gain: float = 1.0
    hazard: float = 1.0
    unrecorded_pump_outs_per_yr: float = 0.0

    @classmethod
    def of(cls, drawn: Mapping[str, float]) -> FailureParameters:
        """Take the parameters of :data:`FAILURE_PARAMETERS` by name."""
        return cls(**{one.name: drawn[one.name] for one in FAILURE_PARAMETERS})

    @property
    def growth(self) -> Growth:
        """How fast mats grow by these parameters."""
        return Growth(self.maturing_yr, SOLIDS_GAIN * self.solids_gain)
