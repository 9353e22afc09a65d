"""How far the groundwater's county-wide numbers may be from the region file's: a declared table.

Each row is one number that a whole county shares and nobody has measured everywhere. It is given as
a factor on, or a shift of, the region's own value, so that the middle stays what the region says;
``low`` and ``high`` hold 90 % of the belief between them. A county can put its own rows in place of
these. ``decay_added_1_d`` and ``denitrified_shift_frac`` lean to one side, because the region's
usual values (nitrate lasts; sand) do.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Final, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from riskmap.groundwater.nitrogen import NITROGEN
from riskmap.groundwater.settings import ASSESSMENT, AssessmentSettings

Floats = NDArray[np.float64]

JUDGED: Final = "assumption of this project, no source"
LOW: Final = 0.05
"""Share of the belief below ``low``, and above ``high``."""


class ParameterRange(NamedTuple):
    """Belief in one number: 5 % and 95 % of it, its distribution, what it acts on, its source."""

    low: float
    high: float
    distribution: Literal["lognormal", "normal", "uniform"]
    acts: Literal["factor", "shift"]
    source: str


RANGES: Final[Mapping[str, ParameterRange]] = {
    "conductivity_factor": ParameterRange(
        0.2, 5.0, "lognormal", "factor",
        "assumption of this project; one kind of ground spans two to three powers of ten (Freeze "
        "and Cherry 1979, table 2.2, from memory), a county's own figure is held to be closer",
    ),
    "porosity_factor": ParameterRange(
        0.7, 1.4, "lognormal", "factor",
        "35 Ill. Adm. Code 671 App. A: sand and gravel .15, sand .21; Washington practice .22; "
        "widened by assumption, since the effective part is seldom measured",
    ),
    "dispersivity_factor": ParameterRange(
        1 / 3, 3.0, "lognormal", "factor",
        "Gelhar et al. 1992 (Water Resour. Res. 28:1955-1974), from memory: sites of one scale "
        "spread over one to two powers of ten; the width taken is an assumption",
    ),
    "transverse_factor": ParameterRange(
        0.5, 2.0, "lognormal", "factor",
        "share of the dispersivity that acts across and down; a tenth and a hundredth are common "
        "practice without source; width: " + JUDGED,
    ),
    "thickness_factor": ParameterRange(0.5, 2.0, "lognormal", "factor", JUDGED),
    "recharge_factor": ParameterRange(0.6, 1.7, "lognormal", "factor", JUDGED),
    "denitrified_shift_frac": ParameterRange(
        -0.05, 0.2, "uniform", "shift",
        "Hantzsche and Finnemore 1992 (Ground Water 30:490-499): .10-.35, against .15 for sand",
    ),
    "per_person_factor": ParameterRange(
        0.8, 1.25, "lognormal", "factor",
        "4.2 kg/yr (a Florida basin budget), 4.68 (Amador et al. 2018), 4.09 (EPA 2002, from "
        "memory); widened to about 3.4-5.3 by assumption",
    ),
    "background_factor": ParameterRange(
        0.5, 2.0, "lognormal", "factor",
        "Hantzsche and Finnemore 1992: .5-1.0 mg/L; both ways by assumption",
    ),
    "decay_added_1_d": ParameterRange(
        0.0, 2e-4, "uniform", "shift",
        "from lasting to a half-life of about ten years in the aquifer; " + JUDGED,
    ),
}  # fmt: skip
"""Name -> belief; the names are the fields of :class:`GroundwaterParameters`."""


@dataclass(frozen=True)
class GroundwaterParameters:
    """One scenario's county-wide numbers, against the region's own; the defaults change nothing.

    Factors on conductivity, effective porosity, dispersivity (along, across and down), the share
    of it across and down, aquifer thickness, recharge, nitrogen per person and background nitrate;
    shifts of the share lost in the soil and of the decay rate in the aquifer, 1/d.
    """

    conductivity_factor: float = 1.0
    porosity_factor: float = 1.0
    dispersivity_factor: float = 1.0
    transverse_factor: float = 1.0
    thickness_factor: float = 1.0
    recharge_factor: float = 1.0
    denitrified_shift_frac: float = 0.0
    per_person_factor: float = 1.0
    background_factor: float = 1.0
    decay_added_1_d: float = 0.0

    def __post_init__(self) -> None:
        values = [getattr(self, f.name) for f in fields(self)]
        factors = [getattr(self, f.name) for f in fields(self) if f.name.endswith("_factor")]
        if not (np.isfinite(values).all() and min(factors) > 0):
            raise ValueError("groundwater parameters must be finite, and factors positive")

    @property
    def per_person_kg_yr(self) -> float:
        """Nitrogen of a person, kg N/yr."""
        return NITROGEN["per_person_kg_yr"].value * self.per_person_factor

    def settings(self, base: AssessmentSettings) -> AssessmentSettings:
        """Give the settings of a full assessment under these numbers.

        Porosity, the share lost in the soil and the background stay within their bounds, the decay
        rate at or above zero. Nitrogen per person is no part of them; see ``per_person_kg_yr``.
        """
        plume = base.plume
        sideways = self.dispersivity_factor * self.transverse_factor
        changed = replace(
            plume,
            dispersivity_along_m=plume.dispersivity_along_m * self.dispersivity_factor,
            dispersivity_across_m=plume.dispersivity_across_m * sideways,
            dispersivity_down_m=plume.dispersivity_down_m * sideways,
            thickness_m=plume.thickness_m * self.thickness_factor,
            recharge_m_yr=plume.recharge_m_yr * self.recharge_factor,
            decay_1_d=max(plume.decay_1_d + self.decay_added_1_d, 0.0),
        )
        return replace(
            base,
            conductivity_m_d=np.asarray(base.conductivity_m_d, float) * self.conductivity_factor,
            porosity_frac=_bounded("porosity_frac", base.porosity_frac * self.porosity_factor),
            soil_denitrified_frac=_bounded(
                "soil_denitrified_frac", base.soil_denitrified_frac + self.denitrified_shift_frac
            ),
            background_mg_l=_bounded(
                "background_mg_l", base.background_mg_l * self.background_factor
            ),
            plume=changed,
        )


def _bounded(name: str, value: float) -> float:
    spec = ASSESSMENT[name]
    return float(np.clip(value, spec.lower, spec.upper))


def parameter_values(normals: ArrayLike, belief: ParameterRange, *, tail: float = 0.01) -> Floats:
    """Turn standard normal numbers into values of one parameter.

    Parameters
    ----------
    normals
        Standard normal numbers, any shape; the same number is the same quantile of every
        distribution, so that evenly spread numbers give evenly spread values.
    belief
        A row of :data:`RANGES`. A uniform one reaches beyond ``low`` and ``high`` by 1/18 of
        their distance, so that 90 % lies between them.
    tail
        Share of the belief cut off on each side: what lies further out is set to that quantile, so
        that no scenario has an aquifer that nobody would believe in.

    >>> parameter_values([-1.6448536, 0.0, 1.6448536], RANGES["conductivity_factor"]).round(3)
    array([0.2, 1. , 5. ])
    """
    edge = float(ndtri(1 - LOW))
    z = np.clip(np.asarray(normals, float), ndtri(tail), -ndtri(tail))
    if belief.distribution == "uniform":
        step = (belief.high - belief.low) * LOW / (1 - 2 * LOW)
        return np.asarray(belief.low - step + (belief.high - belief.low + 2 * step) * ndtr(z))
    low, high = belief.low, belief.high
    if belief.distribution == "lognormal":
        low, high = float(np.log(low)), float(np.log(high))
    value = 0.5 * (low + high) + 0.5 * (high - low) / edge * z
    return np.asarray(np.exp(value) if belief.distribution == "lognormal" else value, float)


def draw_parameters(
    normals: Mapping[str, ArrayLike], *, ranges: Mapping[str, ParameterRange] = RANGES
) -> Sequence[GroundwaterParameters]:
    """Scenarios from standard normal numbers (K,) per parameter; one not named stays as it is.

    Raises
    ------
    ValueError
        If a name is not in ``ranges``, or the lengths differ.
    """
    strange = sorted(set(normals) - set(ranges))
    if strange:
        raise ValueError(f"no range declared for {', '.join(strange)}")
    drawn = {name: parameter_values(z, ranges[name]).ravel() for name, z in normals.items()}
    sizes = {len(values) for values in drawn.values()}
    if len(sizes) > 1:
        raise ValueError("every parameter needs as many numbers")
    count = sizes.pop() if sizes else 0
    return tuple(
        GroundwaterParameters(**{name: float(values[k]) for name, values in drawn.items()})
        for k in range(count)
    )
