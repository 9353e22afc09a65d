"""How far the groundwater's county-wide numbers may be from the region file's: a declared table.

Each row is one number that a whole county shares and nobody has measured everywhere. It is given as
a factor on, or a shift of, the region's own value, so that the middle stays what the region says;
``low`` and ``high`` hold 90% of the belief between them. A county that knows better should say so.
``decay_added_1_d`` and ``denitrified_shift_frac`` lean to one side, because the region's usual
values (nitrate lasts; sand) do.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np

from riskmap.contract.parameters import JUDGED, UncertainParameter
from riskmap.groundwater.nitrogen import NITROGEN
from riskmap.groundwater.settings import ASSESSMENT, AssessmentSettings

GROUNDWATER_PARAMETERS: Final = (
    UncertainParameter(
        "conductivity_factor", 0.2, 5.0, "lognormal", "of the region's",
        f"{JUDGED}; one kind of ground spans two to three powers of ten (Freeze and Cherry 1979, "
        "table 2.2, from memory), a county's own figure is held to be closer",
    ),
    UncertainParameter(
        "porosity_factor", 0.7, 1.4, "lognormal", "of the region's",
        "35 Ill. Adm. Code 671 App. A: sand and gravel .15, sand .21; Washington practice .22; "
        "widened by assumption, since the effective part is seldom measured",
    ),
    UncertainParameter(
        "dispersivity_factor", 1 / 3, 3.0, "lognormal", "of the plume's, all three ways",
        f"{JUDGED}; sites of one scale spread over one to two powers of ten (Gelhar et al. 1992, "
        "Water Resour. Res. 28:1955-1974, from memory)",
    ),
    UncertainParameter(
        "transverse_factor", 0.5, 2.0, "lognormal", "of the share across and down",
        f"{JUDGED}; a tenth and a hundredth of the one along are common practice without source",
    ),
    UncertainParameter(
        "thickness_factor", 0.5, 2.0, "lognormal", "of the aquifer's thickness", JUDGED
    ),
    UncertainParameter("recharge_factor", 0.6, 1.7, "lognormal", "of the region's", JUDGED),
    UncertainParameter(
        "denitrified_shift_frac", -0.05, 0.2, "uniform", "added to the region's share",
        "Hantzsche and Finnemore 1992 (Ground Water 30:490-499): .10-.35, against .15 for sand",
        of="value",
    ),
    UncertainParameter(
        "per_person_factor", 0.8, 1.25, "lognormal", "of 4.2 kg N/person/yr",
        "4.2 kg/yr (a Florida basin budget), 4.68 (Amador et al. 2018), 4.09 (EPA 2002, from "
        "memory); widened to about 3.4-5.3 by assumption",
    ),
    UncertainParameter(
        "background_factor", 0.5, 2.0, "lognormal", "of the region's",
        "Hantzsche and Finnemore 1992: .5-1.0 mg/L; both ways by assumption",
    ),
    UncertainParameter(
        "decay_added_1_d", 0.0, 2e-4, "uniform", "1/d, added to the plume's",
        f"{JUDGED}: from lasting to a half-life of about ten years in the aquifer",
        of="value",
    ),
)  # fmt: skip
"""The parameters drawn anew for every scenario, the same for all systems; the names are the fields
of :class:`GroundwaterParameters`."""


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

    @classmethod
    def of(cls, drawn: Mapping[str, float]) -> GroundwaterParameters:
        """Take the parameters of :data:`GROUNDWATER_PARAMETERS` by name."""
        return cls(**{one.name: drawn[one.name] for one in GROUNDWATER_PARAMETERS})

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
