"""The ``[failure]`` section: how fields clog and age, and how far each number may be off.

Beliefs hold 90% of what is believed of a number. They are wide where the number is our own choice,
and a county that has its own figure should give it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from riskmap.contract.settings import JUDGED, Belief, Section, setting


@dataclass(frozen=True)
class FailureSettings(Section):
    """How fields clog and age, the same for the whole county."""

    water_use_ratio: float = setting(
        1.0, "Daily flow against that of the flow rule or the permit; no meter is changed",
        unit="ratio", low=0.1, high=5, source="the rule as it is",
        beliefs=(Belief(
            50.7 / 68.6, 75 / 68.6,
            "EPA/625/R-00/008 (2002), Table 3-1: studies from 50.7 to 70.8 gal/person/day around a "
            "weighted mean of 68.6 (from memory); design practice 75 (read)",
        ),),
    )  # fmt: skip
    margin_ratio: float = setting(
        1.0, "What fields pass in the long run, against the margin fitted to the county",
        unit="ratio", low=0.1, high=10, source="the margin as fitted",
        beliefs=(Belief(
            0.7, 1.4,
            f"{JUDGED}: the share of failed fields that the margin is fitted to is known that "
            "roughly",
        ),),
    )  # fmt: skip
    alpha_per_m: float = setting(
        12.0, "How fast soil loses conductivity as it dries: the exponent of the conductivity; one "
        "value for all soils keeps results monotone in conductivity",
        unit="1/m", low=0.1, high=500,
        source="most structured soils from clays to loams and also medium and fine sands: Elrick & "
        "Reynolds (1992, Soil Sci. Soc. Am. J. 56:320), from memory",
        beliefs=(Belief(
            1 / 3, 3.0,
            "Elrick & Reynolds (1992), categories 4, 12 and 36 per m: unstructured fine to coarse "
            "soils (from memory)",
        ),),
    )  # fmt: skip
    maturing_yr: float = setting(
        2.0, "Years at full load in which 63% of the mat has formed", unit="yr", low=0.05, high=50,
        source=f"{JUDGED}; mats are commonly said to mature within months to a few years",
        beliefs=(Belief(0.35, 2.5, f"{JUDGED}: months to a few years"),),
    )  # fmt: skip
    solids_gain: float = setting(
        0.2, "Mat resistances added per maturing time by the solids of a never-pumped tank at full "
        "load", unit="ratio", low=0, high=10,
        source=f"{JUDGED}: a never-pumped field at half its load then fails after some decades, at "
        "seven tenths after about fifteen years",
        beliefs=(Belief(0.5, 2.0, f"{JUDGED}: own formulation"),),
    )  # fmt: skip
    hazard_ratio: float = setting(
        1.0, "Hazard of wear held before the records, against the published service life",
        unit="ratio", low=0.05, high=20,
        source="the curve as it is",
        beliefs=(Belief(
            0.6, 1.6,
            f"{JUDGED}: Dix & Hoxie (2001) give bounds (under 0.5% a year, over 80% serving), "
            "which leave about that much room",
        ),),
    )  # fmt: skip
    unrecorded_pump_outs_per_yr: float = setting(
        0.0, "Pump-outs of a tank that are not on record", unit="1/yr", low=0, high=2,
        source="records taken as complete",
        beliefs=(Belief(
            0.0, 0.1,
            "12.2% pumped in 38 months, 4% a year, by the records of one county (Sci. Total "
            "Environ. 2023, abstract read); advice is once in 3 to 5 years. What is not on record: "
            "judgment",
            "uniform", "shift",
        ),),
    )  # fmt: skip


USUAL: Final = FailureSettings()
"""The settings as declared."""
