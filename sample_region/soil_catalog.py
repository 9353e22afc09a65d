"""Invented kinds of soil with their layers, wetness and restrictions.

Names are invented. Properties are typical of glaciated country in the upper Midwest of the USA
(general knowledge of the trade, no single source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Layer:
    """One horizon; depths in cm, conductivity in um/s."""

    name: str
    top_cm: int
    bottom_cm: int
    texture: str
    sand: float
    clay: float
    organic: float
    ksat: float
    density: float
    cobbles: int = 0


@dataclass(frozen=True)
class Soil:
    """One kind of soil; `wet_cm` is the top of the wet layer in the wet season (None: none)."""

    name: str
    drainage: str | None
    group: str | None
    subgroup: str
    layers: tuple[Layer, ...]
    wet_cm: int | None = None
    wet_months: tuple[int, ...] = ()
    perched: bool = False
    flooding: str = "None"
    ponding: str = "None"
    restriction: tuple[str, str, int] | None = None
    hydric: str = "No"
    misc: bool = False


SPRING: Final = (11, 12, 1, 2, 3, 4, 5)
LONG: Final = (10, 11, 12, 1, 2, 3, 4, 5, 6)
ALL_YEAR: Final = tuple(range(1, 13))


def _loam(name: str, top: int, bottom: int, ksat: float, clay: float = 24) -> Layer:
    return Layer(name, top, bottom, "L" if clay < 27 else "CL", 38, clay, 0.5, ksat, 1.55, 2)


def _silt(name: str, top: int, bottom: int, *, organic: float = 3.0, clay: float = 18) -> Layer:
    return Layer(name, top, bottom, "SIL", 14, clay, organic, 9.0, 1.35)


def _clay(name: str, top: int, bottom: int, ksat: float = 0.7, clay: float = 52) -> Layer:
    return Layer(name, top, bottom, "SIC" if clay < 55 else "C", 6, clay, 0.6, ksat, 1.45)


def _sand(name: str, top: int, bottom: int, ksat: float = 120.0, organic: float = 0.3) -> Layer:
    return Layer(name, top, bottom, "S", 94, 2, organic, ksat, 1.58)


def _loamy_sand(name: str, top: int, bottom: int, ksat: float = 60.0) -> Layer:
    return Layer(name, top, bottom, "LS", 82, 6, 1.5, ksat, 1.5)


def _sandy_loam(name: str, top: int, bottom: int, ksat: float = 28.0) -> Layer:
    return Layer(name, top, bottom, "SL", 65, 12, 1.2, ksat, 1.5, 1)


def _muck(name: str, top: int, bottom: int) -> Layer:
    return Layer(name, top, bottom, "MUCK", 0, 0, 70.0, 14.0, 0.25)


_TILL = (_silt("Ap", 0, 22), _loam("Bt1", 22, 60, 5.0, 30), _loam("Bt2", 60, 95, 3.5, 28))
_DENSE = Layer("Cd", 95, 200, "L", 40, 22, 0.3, 0.8, 1.85, 3)

SOILS: Final = (
    Soil(
        "Hobbenfell",
        "Well drained",
        "C",
        "Typic Hapludalfs",
        (*_TILL, _loam("C", 95, 200, 3.0, 22)),
    ),
    Soil(
        "Tarnwick",
        "Moderately well drained",
        "D",
        "Oxyaquic Hapludalfs",
        (*_TILL, _DENSE),
        60,
        SPRING,
        True,
        restriction=("Densic material", "Noncemented", 95),
    ),
    Soil(
        "Wendlewick",
        "Somewhat poorly drained",
        "C/D",
        "Aeric Endoaqualfs",
        (
            _silt("Ap", 0, 25),
            _silt("BE", 25, 40, organic=0.8),
            _loam("Btg", 40, 110, 2.6, 32),
            _loam("Cg", 110, 200, 2.0, 26),
        ),
        38,
        SPRING,
        True,
    ),
    Soil(
        "Muddlecombe",
        "Poorly drained",
        "C/D",
        "Typic Argiaquolls",
        (
            Layer("Ap", 0, 30, "SICL", 10, 34, 5.5, 4.0, 1.3),
            _loam("Btg", 30, 110, 1.8, 36),
            _loam("Cg", 110, 200, 1.5, 30),
        ),
        8,
        LONG,
        ponding="Frequent",
        hydric="Yes",
    ),
    Soil(
        "Sprattling",
        "Somewhat excessively drained",
        "A",
        "Typic Hapludalfs",
        (_loamy_sand("Ap", 0, 25), _loamy_sand("Bt", 25, 70), _sand("C", 70, 200, 140.0)),
    ),
    Soil(
        "Gorsemoor",
        "Excessively drained",
        "A",
        "Typic Udipsamments",
        (_sand("A", 0, 12, 110.0, 1.2), _sand("Bw", 12, 80), _sand("C", 80, 200, 160.0)),
    ),
    Soil(
        "Ottlebeck",
        "Poorly drained",
        "A/D",
        "Typic Psammaquents",
        (Layer("A", 0, 20, "LFS", 80, 6, 6.0, 40.0, 1.35), _sand("Cg", 20, 200, 95.0)),
        5,
        LONG,
        ponding="Frequent",
        hydric="Yes",
    ),
    Soil(
        "Fernacre",
        "Well drained",
        "B",
        "Mollic Hapludalfs",
        (
            _silt("Ap", 0, 25),
            Layer("Bt", 25, 75, "SICL", 12, 30, 0.8, 6.5, 1.42),
            _sandy_loam("2BC", 75, 105),
            Layer("2C", 105, 200, "GR-S", 90, 3, 0.2, 150.0, 1.65, 8),
        ),
    ),
    Soil(
        "Clagworth",
        "Somewhat poorly drained",
        "D",
        "Aeric Epiaqualfs",
        (
            Layer("Ap", 0, 20, "SICL", 10, 36, 3.0, 2.2, 1.35),
            _clay("Btg", 20, 90),
            _clay("C", 90, 200, 0.4, 50),
        ),
        30,
        LONG,
        True,
    ),
    Soil(
        "Marlby",
        "Moderately well drained",
        "D",
        "Oxyaquic Vertic Hapludalfs",
        (
            Layer("Ap", 0, 20, "SICL", 12, 32, 2.6, 2.6, 1.38),
            _clay("Bt", 20, 100, 0.9, 46),
            _clay("C", 100, 200, 0.5, 48),
        ),
        55,
        SPRING,
        True,
    ),
    Soil(
        "Brackenmire",
        "Very poorly drained",
        "D",
        "Mollic Epiaquepts",
        (Layer("A", 0, 30, "SIC", 6, 48, 8.0, 1.4, 1.2), _clay("Bg", 30, 200, 0.3, 60)),
        0,
        ALL_YEAR,
        ponding="Frequent",
        hydric="Yes",
    ),
    Soil(
        "Flintover",
        "Well drained",
        "D",
        "Lithic Hapludalfs",
        (
            Layer("A", 0, 15, "CB-L", 42, 20, 2.6, 7.0, 1.4, 12),
            _loam("Bt", 15, 42, 5.0, 29),
            Layer("R", 42, 120, "BR", 0, 0, 0.0, 0.05, 2.4),
        ),
        restriction=("Lithic bedrock", "Indurated", 42),
    ),
    Soil(
        "Craggleby",
        "Well drained",
        "C",
        "Typic Hapludalfs",
        (
            _silt("A", 0, 18),
            _loam("Bt", 18, 88, 5.0, 30),
            Layer("R", 88, 150, "BR", 0, 0, 0.0, 0.05, 2.4),
        ),
        restriction=("Lithic bedrock", "Indurated", 88),
    ),
    Soil(
        "Eddleford",
        "Moderately well drained",
        "B",
        "Fluvaquentic Hapludolls",
        (_silt("A", 0, 45), _silt("C1", 45, 120, organic=1.0), _sandy_loam("C2", 120, 200)),
        75,
        SPRING,
        flooding="Occasional",
    ),
    Soil(
        "Quagsby",
        "Poorly drained",
        "B/D",
        "Fluvaquentic Endoaquolls",
        (_silt("A", 0, 50, organic=5.0), _silt("Cg", 50, 200, organic=1.5)),
        10,
        LONG,
        flooding="Frequent",
        ponding="Occasional",
        hydric="Yes",
    ),
    Soil(
        "Dunnockby",
        "Moderately well drained",
        "A",
        "Aquic Udipsamments",
        (_sand("A", 0, 15, 100.0, 1.5), _sand("Bw", 15, 70), _sand("C", 70, 200, 110.0)),
        85,
        SPRING,
    ),
    Soil(
        "Soddenholt",
        "Very poorly drained",
        "B/D",
        "Typic Haplosaprists",
        (_muck("Oa1", 0, 60), _muck("Oa2", 60, 200)),
        0,
        ALL_YEAR,
        ponding="Frequent",
        hydric="Yes",
    ),
    Soil(
        "Udorthents",
        "Well drained",
        "C",
        "Typic Udorthents",
        (_loam("^Ap", 0, 20, 4.0, 24), _loam("^C", 20, 200, 2.0, 28)),
    ),
    Soil("Urban land", None, None, "", (), misc=True),
    Soil("Rock outcrop", None, "D", "", (), misc=True),
    Soil("Pits, gravel", None, None, "", (), misc=True),
    Soil("Water", None, None, "", (), misc=True),
)

SOIL: Final = {soil.name: soil for soil in SOILS}
