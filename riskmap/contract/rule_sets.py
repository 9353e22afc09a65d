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

from riskmap.contract.units import FOOT_M, GALLON_L, GPD_PER_FT2_L_D_M2, MIN_IN_MIN_CM

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
    holds for percolation times up to and including ``slowest_min_cm[i]`` (or below it when
    ``upper_open``); times under ``fastest_min_cm`` or above the last row are unsuitable and get no
    rate. ``wall_credit_m`` is the height of sidewall that the rule counts as
    absorption area, ``bed_factor`` multiplies the area of beds.
    """

    name: str
    key: LoadingKey
    names: tuple[str, ...]
    rates_l_d_m2: tuple[float, ...]
    source: str
    status: Status
    slowest_min_cm: tuple[float, ...] = ()
    fastest_min_cm: float = 0.0
    upper_open: bool = False
    wall_credit_m: float = 0.0
    bed_factor: float = 1.0


def _rates(*gpd_ft2: float) -> tuple[float, ...]:
    return tuple(rate * GPD_PER_FT2_L_D_M2 for rate in gpd_ft2)


def _times(*min_in: float) -> tuple[float, ...]:
    return tuple(minutes * MIN_IN_MIN_CM for minutes in min_in)


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
    slowest_min_cm=_times(3.0, 6.0, 10.0, 16.0, 31.0, 51.0, 121.0, float("inf")),
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
    slowest_min_cm=_times(*(m / 6.0 for m in (60, 90, 120, 150, 180, 240, 300, 360))),
    fastest_min_cm=18 / 6.0 * MIN_IN_MIN_CM,
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
