"""The ``[groundwater]`` and ``[wells]`` sections: the aquifer, its plumes, and what wells are like.

Beliefs are about numbers that a whole county shares and that are not measured everywhere; a county
that has its own figure should give it. Those on ``decay_1_d`` and ``denitrified_frac`` lean to one
side, because the usual values (nitrate lasts; sand) do.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from riskmap.contract.settings import JUDGED, Belief, Section, setting
from riskmap.groundwater.vulnerability import AQUIFER, VADOSE

TRADE: Final = "common practice, no source"
THIN: Final = (
    "at most 1 cm: mapped septic plumes spread less than that both ways (Groundwater Project, "
    "septic systems book, chapter 5)"
)
HANTZSCHE: Final = "Hantzsche and Finnemore (1992, Ground Water 30:490-499)"

DISPERSIVITIES: Final = Belief(
    1 / 3, 3.0,
    f"all three ways alike; {JUDGED}; sites of one scale spread over one to two powers of ten "
    "(Gelhar et al. 1992, Water Resour. Res. 28:1955-1974, from memory)",
)  # fmt: skip
SIDEWAYS: Final = Belief(
    0.5, 2.0, f"across and down alike; {JUDGED}; their shares of the one along have no source"
)


@dataclass(frozen=True)
class GroundwaterSettings(Section):
    """The aquifer, its water, and the plumes in it."""

    aquifer: str = setting(
        "sand and gravel", "Aquifer that the wells draw on", choices=tuple(AQUIFER), source=JUDGED
    )
    vadose: str = setting(
        "sand and gravel with silt and clay", "What lies between soil and water table",
        choices=tuple(VADOSE), source=JUDGED,
    )  # fmt: skip
    conductivity_m_d: float = setting(
        10.0, "Hydraulic conductivity of the aquifer", unit="m/day", low=1e-4, high=1e4,
        source="medium sand; give the aquifer's own (Freeze and Cherry 1979, table 2.2, span 1e-4 "
        "for silt to 1e4 for gravel; from memory)",
        beliefs=(Belief(
            0.2, 5.0,
            f"{JUDGED}; one kind of ground spans two to three powers of ten (Freeze and Cherry "
            "1979, table 2.2, from memory), a county's own figure is taken to be closer",
        ),),
    )  # fmt: skip
    porosity_frac: float = setting(
        0.2, "Effective porosity", unit="0-1", low=0.01, high=0.6,
        source="35 Ill. Adm. Code 671 App. A: sand .21, gravel .19, sandstone .06",
        beliefs=(Belief(
            0.7, 1.4,
            "35 Ill. Adm. Code 671 App. A: sand and gravel .15, sand .21; Washington practice .22; "
            "widened by assumption, since the effective part is seldom measured",
        ),),
    )  # fmt: skip
    dispersivity_along_m: float = setting(
        10.0, "Dispersivity along the flow; it acts with decay and on the plume's front only",
        unit="m", low=0.01, high=1000, source=f"{JUDGED} (Domenico 1987 for its role)",
        beliefs=(DISPERSIVITIES,),
    )  # fmt: skip
    dispersivity_across_m: float = setting(
        0.01, "Dispersivity across the flow", unit="m", low=0, high=100,
        source=THIN, beliefs=(DISPERSIVITIES, SIDEWAYS),
    )  # fmt: skip
    dispersivity_down_m: float = setting(
        0.01, "Dispersivity downwards", unit="m", low=0, high=10,
        source=THIN, beliefs=(DISPERSIVITIES, SIDEWAYS),
    )  # fmt: skip
    thickness_m: float = setting(
        50.0, "Thickness of the aquifer that plumes spread in", unit="m", low=1, high=1000,
        source=f"{JUDGED}: deeper than most household wells; give the aquifer's own",
        beliefs=(Belief(0.5, 2.0, JUDGED),),
    )  # fmt: skip
    recharge_m_yr: float = setting(
        0.25, "Rain that reaches the water table", unit="m/yr", low=0, high=3,
        source="10 inches a year, the middle of the humid East; the national map runs from under 1 "
        "to over 20 (Wolock 2003, USGS Open-File Report 03-311, from memory)",
        beliefs=(Belief(0.6, 1.7, JUDGED),),
    )  # fmt: skip
    denitrified_frac: float = setting(
        0.15, "Share of the nitrogen lost below the field", unit="0-1", low=0, high=1,
        source=f"{HANTZSCHE}: 0.10-0.15 in sand, up to 0.35 in clay or organic soil",
        beliefs=(Belief(-0.05, 0.2, f"{HANTZSCHE}: 0.10-0.35", "uniform", "shift"),),
    )  # fmt: skip
    per_person_kg_yr: float = setting(
        4.2, "Nitrogen of a person", unit="kg N/yr", low=1, high=10,
        source="4.2 in a Florida basin budget; 4.68 for a mix of systems in Amador et al. (2018, "
        "Water Air Soil Pollut.)",
        beliefs=(Belief(
            0.8, 1.25,
            "4.2 kg/yr (a Florida basin budget), 4.68 (Amador et al. 2018), 4.09 (EPA 2002, from "
            "memory); widened to about 3.4-5.3 by assumption",
        ),),
    )  # fmt: skip
    seasonal_months: float = setting(
        5.0, "Months in which somebody lives in a house whose land use is seasonal", unit="months",
        low=0, high=12, source=f"{JUDGED}: a summer's five months; it scales flow and nitrogen",
    )  # fmt: skip
    background_mg_l: float = setting(
        0.5, "Nitrate-nitrogen of recharge without systems", unit="mg/L as N", low=0, high=50,
        source=f"{HANTZSCHE}: 0.5-1.0",
        beliefs=(Belief(0.5, 2.0, f"{HANTZSCHE}: 0.5-1.0 mg/L; both ways by assumption"),),
    )  # fmt: skip
    decay_1_d: float = setting(
        0.0, "Rate at which nitrate is lost in the aquifer", unit="1/day", low=0, high=0.01,
        source="nitrate taken as lasting",
        beliefs=(Belief(
            0.0, 2e-4, f"{JUDGED}: from lasting to a half-life of about ten years in the aquifer",
            "uniform", "shift",
        ),),
    )  # fmt: skip
    effluent_mg_l: float = setting(
        50.0, "Nitrogen of the effluent, which no plume is stronger than", unit="mg/L as N",
        low=10, high=1000, source="domestic effluent 50-60 (a state agency's sheet)",
    )  # fmt: skip
    source_width_m: float = setting(
        15.0, "Width of a field across the flow where its area is not known", unit="m",
        low=1, high=100, source=JUDGED,
    )  # fmt: skip
    source_depth_m: float = setting(
        1.0, "Depth over which effluent mixes at the water table, at least", unit="m",
        low=0.1, high=10, source=JUDGED,
    )  # fmt: skip
    direction_sd_deg: float = setting(
        20.0, "Doubt of the flow's direction, one standard deviation", unit="degree",
        low=0, high=45,
        source=f"{JUDGED}: a water table mapped from few levels, and a flow that swings in a year",
    )  # fmt: skip
    max_distance_m: float = setting(
        1500.0, "How far paths are followed", unit="m", low=100, high=10_000, source=JUDGED
    )
    max_time_yr: float = setting(
        30.0, "How long paths are followed", unit="yr", low=1, high=200, source=JUDGED
    )
    least_added_mg_l: float = setting(
        0.01, "Smaller additions at a well do not count", unit="mg/L as N", low=1e-6, high=1,
        source=JUDGED,
    )  # fmt: skip
    balance_radius_m: float = setting(
        400.0, "Circle of the neighborhood's nitrogen balance", unit="m", low=50, high=5000,
        source=JUDGED,
    )  # fmt: skip
    temperature_c: float = setting(
        12.0, "Temperature of the ground water; the mean of the air serves", unit="degree C",
        low=2, high=28, source=JUDGED,
    )  # fmt: skip


@dataclass(frozen=True)
class WellSettings(Section):
    """What wells draw, and how easily what is in the ground gets into them."""

    home_l_d: float = setting(
        1000.0, "Draw of a home's well", unit="L/day", low=100, high=1e5, source=JUDGED
    )
    public_l_d: float = setting(
        50_000.0, "Draw of a public well without a yield on record", unit="L/day",
        low=100, high=1e8, source=f"some 150 people at 330 L a day; {JUDGED}",
    )  # fmt: skip
    unknown_screen_m: float = setting(
        10.0, "Depth below the water table that a well of unknown depth draws on", unit="m",
        low=1, high=100, source=JUDGED,
    )  # fmt: skip
    depth_safe_m: float = setting(
        60.0, "Depth beyond which depth adds no risk", unit="m", low=20, high=200, source=JUDGED
    )
    depth_poor_m: float = setting(
        8.0, "Depth at or above which the risk by depth is full", unit="m", low=0, high=20,
        source=JUDGED,
    )  # fmt: skip
    casing_safe_m: float = setting(
        30.0, "Casing beyond which casing adds no risk", unit="m", low=12, high=60, source=JUDGED
    )
    casing_poor_m: float = setting(
        6.0, "Casing up to which the risk by casing is full", unit="m", low=0, high=12,
        source=f"20 ft of casing: {TRADE}",
    )  # fmt: skip
    age_new_yr: float = setting(
        10.0, "Age up to which age adds no risk", unit="yr", low=0, high=30, source=JUDGED
    )
    age_old_yr: float = setting(
        60.0, "Age from which the risk by age is full", unit="yr", low=30, high=100, source=JUDGED
    )
    depth_weight: float = setting(
        0.5, "Weight of shallow depth", unit="0-1", low=0, high=1, source=JUDGED
    )
    casing_weight: float = setting(
        0.5, "Weight of short casing", unit="0-1", low=0, high=1, source=JUDGED
    )
    age_weight: float = setting(0.3, "Weight of old age", unit="0-1", low=0, high=1, source=JUDGED)
    dug_weight: float = setting(
        0.9, "Weight of a dug or driven well", unit="0-1", low=0, high=1,
        source=f"dug wells fare worst: {TRADE}",
    )  # fmt: skip
    least_keep_out_frac: float = setting(
        0.2, "Share of the germ risk that even a sound deep well passes", unit="0-1",
        low=0, high=1, source=JUDGED,
    )  # fmt: skip
    base_chance_frac: float = setting(
        0.02, "Chance of germs with no drainfield near", unit="0-1", low=0, high=0.5,
        source=JUDGED,
    )  # fmt: skip
    field_odds: float = setting(
        1.08, "Factor on the odds of germs by each drainfield within 229 m", unit="ratio",
        low=1, high=1.5,
        source="odds of viral illness per holding tank in 640 acres: 1.08 (Borchardt et al. 2003, "
        f"Environ. Health Perspect. 111:742); per drainfield: {JUDGED}",
    )  # fmt: skip

    def conflicts(self) -> list[str]:
        """Refuse ranges whose ends meet."""
        if self.age_new_yr >= self.age_old_yr:
            return ["age_new_yr must be below age_old_yr"]
        if self.casing_poor_m >= self.casing_safe_m or self.depth_poor_m >= self.depth_safe_m:
            return ["the poor depth or casing must be below the safe one"]
        return []
