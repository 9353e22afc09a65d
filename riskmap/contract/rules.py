"""The ``[rules]`` section: a county's code, and what is taken where its records are silent.

Several packages use these rules, so they are declared here. Local code always decides.
"""

from __future__ import annotations

from dataclasses import MISSING, dataclass
from typing import Final

from riskmap.contract.columns import FIRST_YEAR, LAST_YEAR
from riskmap.contract.rule_sets import BEDROOM_TRADE, FLOW_RULES, LOADING_RULES, PERSON_USE, TEXAS
from riskmap.contract.settings import JUDGED, Section, setting
from riskmap.contract.units import FOOT_M, GALLON_L

TRADE: Final = "common practice, no source"
HUD: Final = "HUD Handbook 4000.1; 24 CFR 200.926d (federal single-family mortgage standard)"
WYOMING: Final = "one town's code in Wyoming"


@dataclass(frozen=True)
class RulePeriod(Section):
    """The sizing rules in force from one year to another, both included; None: an open end."""

    flow_rule: str = setting(MISSING, "Design flow by this flow rule", choices=tuple(FLOW_RULES))
    accept_rule: str = setting(
        MISSING, "Acceptance rate by this acceptance rule", choices=tuple(LOADING_RULES)
    )
    first_year: int | None = setting(
        None, "First year in force; open if left out", unit="calendar year",
        low=FIRST_YEAR, high=LAST_YEAR, key="from",
    )  # fmt: skip
    last_year: int | None = setting(
        None, "Last year in force; open if left out", unit="calendar year",
        low=FIRST_YEAR, high=LAST_YEAR, key="to",
    )  # fmt: skip

    def conflicts(self) -> list[str]:
        """Refuse a period that ends before it begins."""
        first, last = self.first_year, self.last_year
        if first is not None and last is not None and first > last:
            return [f"the period ends ({last}) before it begins ({first})"]
        return []


@dataclass(frozen=True)
class Rules(Section):
    """The county's code, and what is taken where records are silent."""

    well_setback_m: float = setting(
        100 * FOOT_M, "Field to drinking-water well", unit="m", low=0, high=1000, source=HUD
    )
    water_setback_m: float = setting(
        50 * FOOT_M, "Field to stream or lake", unit="m", low=0, high=1000, source=WYOMING
    )
    line_setback_m: float = setting(
        10 * FOOT_M, "Field to lot line", unit="m", low=0, high=100, source=HUD
    )
    building_setback_m: float = setting(
        10 * FOOT_M, "Field to building", unit="m", low=0, high=100, source=WYOMING
    )
    vertical_separation_m: float = setting(
        0.9144, "Unsaturated soil required between a field's bottom and seasonal water or a "
        "restriction; the sand of a mound counts", unit="m", low=0, high=5,
        source="3 ft; 2 to 4 ft in most codes (common practice, no source)",
    )  # fmt: skip
    max_slope_pct: float = setting(
        25.0, "Steepest ground a field may lie on", unit="%", low=1, high=100, source=TRADE
    )
    max_mound_slope_pct: float = setting(
        15.0, "Steepest ground a mound may lie on", unit="%", low=1, high=100, source=TRADE
    )
    flow_rule: str = setting(
        PERSON_USE.name, "How daily flow is figured where it is not known",
        choices=tuple(FLOW_RULES), source=PERSON_USE.source,
    )  # fmt: skip
    accept_rule: str = setting(
        TEXAS.name, "How much water a soil is taken to accept in the long term",
        choices=tuple(LOADING_RULES), source=TEXAS.source,
    )  # fmt: skip
    sizing: tuple[RulePeriod, ...] = setting(
        (RulePeriod(BEDROOM_TRADE.name, TEXAS.name),),
        "Sizing rules by year of installation, as `[[rules.sizing]]` tables", source=TRADE,
    )  # fmt: skip
    persons_per_dwelling: float = setting(
        2.5, "Persons of a household where neither they nor bedrooms are known", unit="persons",
        low=0.1, high=20, source="US average, from memory",
    )  # fmt: skip
    persons_per_bedroom: float = setting(
        0.85, "Persons per bedroom where they are not known; design rules count on two",
        unit="persons", low=0.1, high=5, source=f"2.5 persons in about 3 bedrooms; {JUDGED}",
    )  # fmt: skip
    unknown_bedrooms: float = setting(
        3.0, "Bedrooms that a system was designed for where none are on record", unit="count",
        low=1, high=20, source=JUDGED,
    )  # fmt: skip
    design_use_frac: float = setting(
        0.5, "Share of the permit's design flow used on an ordinary day, where nothing better is "
        "known", unit="0-1", low=0.05, high=1,
        source=f"0.85 x 68.6 gal/150 gal gives 0.4; design practice about half; {JUDGED}",
    )  # fmt: skip
    unknown_tank_l: float = setting(
        1000 * GALLON_L, "Tank volume where it is not known", unit="L", low=500, high=50_000,
        source=TRADE,
    )  # fmt: skip
    unknown_age_yr: float = setting(
        25.0, "Age of a system where it is not known", unit="yr", low=0, high=150, source=JUDGED
    )
    unrepaired_yr: float = setting(
        5.0, "Years a failed field goes unrepaired; sets how many fields are taken as "
        "failed, and how long an inspector's finding holds", unit="yr", low=0.5, high=30,
        source="a North Carolina watershed study took five, with 2 to 3% failing a year: 10 to "
        "15% failing at once (county document, read)",
    )  # fmt: skip
    horizon_yr: int = setting(
        5, "Years the chance of failing looks ahead", unit="yr", low=1, high=50, source=JUDGED
    )
    building_reach_m: float = setting(
        30.0, "How far from the building a field is likely to lie", unit="m", low=5, high=500,
        source=TRADE,
    )  # fmt: skip
    permit_radius_m: float = setting(
        10.0, "Ground around a permit's point taken as the treatment area", unit="m",
        low=1, high=200, source=f"holds a usual field; {TRADE}",
    )  # fmt: skip
    small_lot_m2: float = setting(
        8_000.0, "Lots up to this size without a footprint are taken whole, less setbacks",
        unit="m2", low=0, high=1e6, source=TRADE,
    )  # fmt: skip
    lot_band_m: float = setting(
        90.0, "On larger lots without a footprint, the band along the lot line where houses are",
        unit="m", low=1, high=1000, source=f"houses are near roads, roads along lines; {TRADE}",
    )  # fmt: skip
    min_building_m2: float = setting(
        20.0, "Smaller footprints are sheds", unit="m2", low=0, high=1000, source=TRADE
    )
    min_area_m2: float = setting(
        20.0, "Smaller scraps of ground are no treatment area", unit="m2", low=0, high=1000,
        source=TRADE,
    )  # fmt: skip
    min_covered_frac: float = setting(
        0.5, "Least share of a treatment area that a layer must cover to describe it", unit="0-1",
        low=0, high=1, source=JUDGED,
    )  # fmt: skip
    length_to_width: float = setting(
        3.0, "Proportion of a field, its length along the contour", unit="ratio", low=1, high=50,
        source=TRADE,
    )  # fmt: skip
    flat_slope_pct: float = setting(
        2.0, "Below this slope rows may run in any direction", unit="%", low=0, high=100,
        source=TRADE,
    )  # fmt: skip
    mound_ratio: float = setting(
        1.5, "Ground a mound with its side slopes takes, against a field in the ground",
        unit="ratio", low=1, high=10, source=TRADE,
    )  # fmt: skip
    sewer_share_frac: float = setting(
        0.5, "Share of the main building, or of the lot, in the sewer area from which it counts as "
        "sewered", unit="0-1", low=0, high=1, source=JUDGED,
    )  # fmt: skip
