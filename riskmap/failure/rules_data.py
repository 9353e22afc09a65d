"""Rule sets of the trade as named data: each value with its source and how sure we are of it.

Every table here is switchable: a department names the sets it works under. ``status`` says how the
value came to us: ``read`` (in the published text), ``derived`` (arithmetic on read values),
``from memory`` (not confirmed in a stored text; check before relying on it), ``common practice``
(a fact of the trade without a source) or ``own`` (this project's own choice).

A local code always wins over these tables; a permit always wins over a local code's minimum.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from riskmap.contract.units import FOOT_M, GALLON_L, GPD_PER_FT2_L_D_M2

Status = Literal["read", "derived", "from memory", "common practice", "own"]
LoadingKey = Literal["class", "percolation"]


@dataclass(frozen=True)
class FlowRule:
    """Daily flow per person or per bedroom.

    ``each_l_d`` is liters per day for each person (``per="person"``) or bedroom.
    """

    name: str
    per: Literal["person", "bedroom"]
    each_l_d: float
    source: str
    status: Status


@dataclass(frozen=True)
class LoadingRule:
    """Long-term acceptance (application) rates by soil class or by percolation time.

    ``names`` label the rows and ``rates_l_d_m2`` hold their rates. With ``key="percolation"`` row i
    holds for percolation times up to and including ``slowest_min_in[i]`` (or below it when
    ``upper_open``), minutes per inch; times under ``fastest_min_in`` or above the last row are
    unsuitable and get no rate. ``wall_credit_m`` is the height of sidewall that the rule counts as
    absorption area, ``bed_factor`` multiplies the area of beds.
    """

    name: str
    key: LoadingKey
    names: tuple[str, ...]
    rates_l_d_m2: tuple[float, ...]
    source: str
    status: Status
    slowest_min_in: tuple[float, ...] = ()
    fastest_min_in: float = 0.0
    upper_open: bool = False
    wall_credit_m: float = 0.0
    bed_factor: float = 1.0


@dataclass(frozen=True)
class RulePeriod:
    """The sizing rules in force in a place from one year to another, both included.

    ``None`` leaves an end open.
    """

    flow_rule: str
    loading_rule: str
    valid_from: int | None = None
    valid_to: int | None = None


def _rates(*gpd_ft2: float) -> tuple[float, ...]:
    return tuple(rate * GPD_PER_FT2_L_D_M2 for rate in gpd_ft2)


PERSON_USE: Final = FlowRule(
    "person_use",
    "person",
    68.6 * GALLON_L,
    "EPA/625/R-00/008 (2002), Table 3-1, weighted mean of four studies, 68.6 gal/person/day (from "
    "memory); EPA homeowner guidance, close to 70 gal/person/day (read)",
    "from memory",
)
PERSON_DESIGN: Final = FlowRule(
    "person_design",
    "person",
    75.0 * GALLON_L,
    "Design practice of the trade, 75 gal/person/day, quoted in an onsite-trade column",
    "read",
)
BEDROOM_TRADE: Final = FlowRule(
    "bedroom_trade",
    "bedroom",
    150.0 * GALLON_L,
    "Design practice of the trade, 150 gal/bedroom/day, quoted in an onsite-trade column",
    "read",
)
BEDROOM_ILLINOIS: Final = FlowRule(
    "bedroom_illinois",
    "bedroom",
    200.0 * GALLON_L,
    "Illinois 77 IAC 905 App. A Illus. H Exh. A: 200 ft2/bedroom at 1.0 gal/ft2/day",
    "derived",
)
BEDROOM_MONTANA: Final = FlowRule(
    "bedroom_montana",
    "bedroom",
    100.0 * GALLON_L,
    "Montana Circular DEQ-4 Table 8-1: the areas for 3 bedrooms are 300 gal/day over the rate; "
    "other numbers of bedrooms in proportion",
    "derived",
)
FLOW_RULES: Final[Mapping[str, FlowRule]] = {
    rule.name: rule
    for rule in (
        PERSON_USE,
        PERSON_DESIGN,
        BEDROOM_TRADE,
        BEDROOM_ILLINOIS,
        BEDROOM_MONTANA,
    )
}

TEXAS: Final = LoadingRule(
    "texas_soil_class",
    "class",
    ("Ia", "Ib", "II", "III", "IV"),
    _rates(0.50, 0.38, 0.25, 0.20, 0.10),
    "Texas 30 TAC 285.91(1); class Ia is given as more than 0.50. Absorptive area is the bottom "
    "plus one foot of sidewall around it",
    "read",
    wall_credit_m=FOOT_M,
)
MONTANA: Final = LoadingRule(
    "montana_percolation",
    "percolation",
    ("<3", "3-<6", "6-<10", "10-<16", "16-<31", "31-<51", "51-<121", ">=121"),
    _rates(0.8, 0.8, 0.6, 0.5, 0.4, 0.3, 0.2, 0.15),
    "Montana Circular DEQ-4 Table 8-1",
    "read",
    slowest_min_in=(3.0, 6.0, 10.0, 16.0, 31.0, 51.0, 121.0, float("inf")),
    upper_open=True,
)
ILLINOIS: Final = LoadingRule(
    "illinois_percolation",
    "percolation",
    ("18-60", "90", "120", "150", "180", "240", "300", "360"),
    _rates(1.0, 0.95, 0.85, 0.75, 0.69, 0.62, 0.57, 0.52),
    "Illinois 77 IAC 905 App. A Illus. H Exh. A (minutes for the last 6 in; under 18 and over 360 "
    "unsuitable; area is bottom area; beds need 1.5 times the area)",
    "read",
    slowest_min_in=tuple(m / 6.0 for m in (60, 90, 120, 150, 180, 240, 300, 360)),
    fastest_min_in=18 / 6.0,
    bed_factor=1.5,
)
EPA_2002: Final = LoadingRule(
    "epa_texture_structure",
    "class",
    (
        "coarse sand",
        "fine sand",
        "coarse sandy loam, massive",
        "coarse sandy loam, weak",
        "coarse sandy loam, strong",
        "loam, massive",
        "loam, weak",
        "loam, strong",
        "silt loam, weak",
        "silt loam, strong",
        "clay loam, weak",
        "clay loam, strong",
        "clay, strong",
    ),
    _rates(0.8, 0.4, 0.2, 0.4, 0.6, 0.2, 0.4, 0.6, 0.4, 0.6, 0.2, 0.4, 0.2),
    "EPA/625/R-00/008 (2002), Table 4-3, septic-tank effluent at 150 mg/L BOD",
    "from memory",
)
LOADING_RULES: Final[Mapping[str, LoadingRule]] = {
    rule.name: rule for rule in (TEXAS, MONTANA, ILLINOIS, EPA_2002)
}

MOUND_SAND_L_D_M2: Final = 1.2 * GPD_PER_FT2_L_D_M2
"""Rate of sand fill under a mound's bed: sand, septic-tank effluent, 1.2 gal/ft2/day (a
Minnesota-family local code text, 2015; read)."""

TEXTURE_CLASS: Final[Mapping[str, str]] = {
    "sand": "Ib",
    "loamy sand": "Ib",
    "sandy loam": "II",
    "loam": "II",
    "silt": "III",
    "silt loam": "III",
    "sandy clay loam": "III",
    "clay loam": "III",
    "silty clay loam": "III",
    "sandy clay": "IV",
    "silty clay": "IV",
    "clay": "IV",
}
"""USDA texture class -> class of ``texas_soil_class`` (30 TAC 285.91(6), from memory)."""

CLAY_CLASS_PCT: Final = ((20.0, "II"), (35.0, "III"), (float("inf"), "IV"))
"""Clay content below the figure -> class; own choice for soils known by clay alone."""

KSAT_ANCHORS_UM_S: Final = (0.42, 4.0, 14.0, 42.0, 141.0)
KSAT_ANCHOR_CLASSES: Final = ("IV", "III", "II", "Ib", "Ia")
"""Saturated conductivity that stands for each class. 4, 14 and 42 are break points of the national
absorption-field rule (slow water movement; poor filter); 0.42 and 141 bound the survey's slow and
rapid classes (from memory). Giving a class to each is our own choice."""

PUMP_TABLE_GAL: Final = (500, 750, 900, 1000, 1250, 1500, 1750, 2000, 2250, 2500)
PUMP_TABLE_YR: Final = (
    (5.8, 2.6, 1.5, 1.0, 0.7, 0.4, 0.3, 0.2, 0.1, None),
    (9.1, 4.2, 2.6, 1.8, 1.3, 1.0, 0.7, 0.6, 0.4, 0.3),
    (11.0, 5.2, 3.3, 2.3, 1.7, 1.3, 1.0, 0.8, 0.7, 0.5),
    (12.4, 5.9, 3.7, 2.6, 2.0, 1.5, 1.2, 1.0, 0.8, 0.7),
    (15.6, 7.5, 4.8, 3.4, 2.6, 2.0, 1.7, 1.4, 1.2, 1.0),
    (18.9, 9.1, 5.9, 4.2, 3.3, 2.6, 2.1, 1.8, 1.5, 1.3),
    (22.1, 10.7, 6.9, 5.0, 3.9, 3.1, 2.6, 2.2, 1.9, 1.6),
    (25.4, 12.4, 8.0, 5.9, 4.5, 3.7, 3.1, 2.6, 2.2, 2.0),
    (28.6, 14.0, 9.1, 6.7, 5.2, 4.2, 3.5, 3.0, 2.6, 2.3),
    (31.9, 15.6, 10.2, 7.5, 5.9, 4.8, 4.0, 3.5, 3.0, 2.6),
)
"""Years between pump-outs: rows by tank volume (US gallons), columns by 1 to 10 persons. Table in
wide use by extension services; attributed to Mancl (1984), J. Environ. Eng. 110(1):283 (the table
was read, the attribution is from memory). The cell without a value has none in print."""

PUMPED_SHARE: Final = 0.122
PUMPED_SHARE_YR: Final = 38 / 12
"""12.2% of 8,826 systems were pumped within 38 months (Sci. Total Environ. 2023, one Georgia
county; abstract read)."""
