"""Invented map units: symbol, name, slopes, and the mixture of soils in each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class MapUnit:
    """A map unit: symbol, name, slope range and the mixture of soils with percentages."""

    symbol: str
    name: str
    slope: tuple[float, float, float]
    mixture: tuple[tuple[str, int], ...]


UNITS: Final = (
    MapUnit(
        "HoB",
        "Hobbenfell silt loam, 2 to 6 percent slopes",
        (2, 4, 6),
        (("Hobbenfell", 75), ("Tarnwick", 15), ("Wendlewick", 10)),
    ),
    MapUnit(
        "HoC",
        "Hobbenfell silt loam, 6 to 12 percent slopes",
        (6, 9, 12),
        (("Hobbenfell", 80), ("Tarnwick", 12), ("Sprattling", 8)),
    ),
    MapUnit(
        "HtD",
        "Hobbenfell-Tarnwick complex, 12 to 20 percent slopes",
        (12, 15, 20),
        (("Hobbenfell", 55), ("Tarnwick", 35), ("Craggleby", 10)),
    ),
    MapUnit(
        "TaB",
        "Tarnwick silt loam, 1 to 4 percent slopes",
        (1, 3, 4),
        (("Tarnwick", 70), ("Hobbenfell", 15), ("Wendlewick", 10), ("Muddlecombe", 5)),
    ),
    MapUnit(
        "WeA",
        "Wendlewick silt loam, 0 to 3 percent slopes",
        (0, 2, 3),
        (("Wendlewick", 72), ("Tarnwick", 15), ("Muddlecombe", 13)),
    ),
    MapUnit(
        "Mu",
        "Muddlecombe silty clay loam, 0 to 2 percent slopes",
        (0, 1, 2),
        (("Muddlecombe", 85), ("Wendlewick", 10), ("Soddenholt", 5)),
    ),
    MapUnit(
        "FeA",
        "Fernacre silt loam, 0 to 3 percent slopes",
        (0, 2, 3),
        (("Fernacre", 82), ("Sprattling", 10), ("Wendlewick", 8)),
    ),
    MapUnit(
        "SpB",
        "Sprattling loamy sand, 1 to 6 percent slopes",
        (1, 4, 6),
        (("Sprattling", 78), ("Fernacre", 12), ("Gorsemoor", 10)),
    ),
    MapUnit(
        "SpC",
        "Sprattling loamy sand, 6 to 15 percent slopes",
        (6, 10, 15),
        (("Sprattling", 75), ("Gorsemoor", 25)),
    ),
    MapUnit(
        "GoB",
        "Gorsemoor sand, 1 to 8 percent slopes",
        (1, 5, 8),
        (("Gorsemoor", 80), ("Sprattling", 15), ("Dunnockby", 5)),
    ),
    MapUnit(
        "Ot",
        "Ottlebeck loamy fine sand, 0 to 2 percent slopes",
        (0, 1, 2),
        (("Ottlebeck", 84), ("Dunnockby", 10), ("Soddenholt", 6)),
    ),
    MapUnit(
        "ClA",
        "Clagworth silty clay loam, 0 to 3 percent slopes",
        (0, 1, 3),
        (("Clagworth", 78), ("Marlby", 14), ("Brackenmire", 8)),
    ),
    MapUnit(
        "MaB",
        "Marlby silty clay loam, 2 to 8 percent slopes",
        (2, 4, 8),
        (("Marlby", 80), ("Clagworth", 15), ("Hobbenfell", 5)),
    ),
    MapUnit(
        "Br",
        "Brackenmire silty clay, ponded, 0 to 1 percent slopes",
        (0, 0.5, 1),
        (("Brackenmire", 90), ("Clagworth", 10)),
    ),
    MapUnit(
        "FlD",
        "Flintover-Craggleby complex, 6 to 18 percent slopes",
        (6, 12, 18),
        (("Flintover", 50), ("Craggleby", 38), ("Hobbenfell", 12)),
    ),
    MapUnit(
        "FrF",
        "Flintover-Rock outcrop complex, 18 to 45 percent slopes",
        (18, 28, 45),
        (("Flintover", 62), ("Rock outcrop", 25), ("Craggleby", 13)),
    ),
    MapUnit(
        "Ed",
        "Eddleford silt loam, 0 to 2 percent slopes, occasionally flooded",
        (0, 1, 2),
        (("Eddleford", 80), ("Quagsby", 15), ("Fernacre", 5)),
    ),
    MapUnit(
        "Qu",
        "Quagsby silt loam, 0 to 1 percent slopes, frequently flooded",
        (0, 0.5, 1),
        (("Quagsby", 85), ("Eddleford", 10), ("Soddenholt", 5)),
    ),
    MapUnit(
        "DuA",
        "Dunnockby sand, lake plain, 0 to 4 percent slopes",
        (0, 2, 4),
        (("Dunnockby", 76), ("Gorsemoor", 12), ("Ottlebeck", 12)),
    ),
    MapUnit(
        "So",
        "Soddenholt muck, 0 to 1 percent slopes",
        (0, 0.5, 1),
        (("Soddenholt", 92), ("Muddlecombe", 8)),
    ),
    MapUnit(
        "UhB",
        "Urban land-Hobbenfell complex, 1 to 6 percent slopes",
        (1, 3, 6),
        (("Urban land", 55), ("Hobbenfell", 25), ("Udorthents", 20)),
    ),
    MapUnit("Pg", "Pits, gravel", (0, 10, 45), (("Pits, gravel", 90), ("Udorthents", 10))),
    MapUnit("W", "Water", (0, 0, 0), (("Water", 100),)),
)

UNIT_NUMBER: Final = {unit.symbol: number for number, unit in enumerate(UNITS)}
