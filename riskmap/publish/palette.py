"""Colors and classes, each once: map, lists, front page and reports take them from here.

The five class colors run from pale sand to deep plum with falling lightness, so that their order
survives grayscale print and color-blind eyes. Gray with hatching is kept for what is not ranked:
it must never be mistaken for low risk.

Contrast follows the Web Content Accessibility Guidelines (WCAG) 2.1, success criteria 1.4.3 (text,
4.5 : 1) and 1.4.11 (graphics, 3 : 1); the formula is that of the guidelines' glossary.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from riskmap.contract.vocabulary import FLOOD_WORDS, NOT_RANKED

CLASS_COLORS: Final = {
    "on file": "#4a1852",
    "highest": "#93355f",
    "high": "#cf6a4f",
    "middle": "#ecae62",
    "lower": "#f5e6b5",
    NOT_RANKED: "#c3c8cd",
}

STAGE_COLORS: Final = {
    "failed": CLASS_COLORS["on file"],
    "stressed": CLASS_COLORS["high"],
    "sound": CLASS_COLORS["lower"],
}
"""The likely state of a field, worst first: the same run from pale to dark."""

INK: Final = "#1f2a33"
SOFT_INK: Final = "#4d5963"
PAPER: Final = "#fbfaf7"
PANEL: Final = "#ffffff"
LINE: Final = "#d8d5cc"
RULE: Final = "#efede6"
"""Thin lines between rows."""
TRACK: Final = "#e7e5de"
"""Ground of bars."""
GROUND: Final = "#f1f0ea"
"""What lies behind a map."""
TERRAIN: Final = "#b9bdb9"
FAINT: Final = "#b9bec2"
"""Parcels that a filter leaves out."""
OUTLINE: Final = "#6d7780"
ACCENT: Final = "#1c5a63"
ACCENT_PALE: Final = "#e3eeef"
HATCH: Final = "#7b848c"
WARN_INK: Final = "#7a2e12"
WARN_PAPER: Final = "#fdf3e7"

LAYER_COLORS: Final = {
    "streams": "#3f7fae",
    "roads": "#7a7068",
    "places": INK,
    "waterbodies": "#a9c9dd",
    "waterbodies_line": "#3f7fae",
    "wells": "#0f4c75",
    "floodplain": "#7fb2cf",
    "sewer_area": "#6d7780",
    "zones": "#1c5a63",
    "treatment_areas": "#4d5963",
    "buildings": "#8a8f94",
    "replacement_places": "#0b7a8a",
    "selected": "#0b7a8a",
}
"""Colors of the layers, other than the classes."""

ZONE_LOOKS: Final = {
    "wellhead": ("#0f4c75", ()),
    "capture": ("#1c5a63", (9, 4)),
    "nitrate": ("#8c2155", (2, 4)),
    "dense_old": ("#6b4a1e", (12, 4, 2, 4)),
    "hot_spot": ("#9c2f13", (5, 3)),
    "vulnerable": ("#4f3a7a", (14, 6)),
}
"""Kind of zone -> color of its outline, and lengths of its dashes and gaps in pixels."""

SOIL_COLORS: Final = {
    "very limited": "#8c6d46",
    "somewhat limited": "#c9ab7c",
    "not limited": "#ece0c8",
    "not rated": "#c3c8cd",
}

ROUTE_COLORS: Final = (
    "#0b5fa5", "#b3420b", "#2a7d3f", "#7a3f98", "#8a6d00", "#a3195b", "#3d5a6c",
)  # fmt: skip
"""Inspectors' lines on a season's plan; their names stand beside them too."""

FLOOD_COLORS: Final = {
    FLOOD_WORDS["floodway"]: "#1f5f8b",
    FLOOD_WORDS["hundred_year"]: "#5b9bc4",
    FLOOD_WORDS["five_hundred_year"]: "#b4d3e6",
}

TEXT_PAIRS: Final = (
    (INK, PAPER),
    (INK, PANEL),
    (SOFT_INK, PAPER),
    (SOFT_INK, PANEL),
    (PANEL, ACCENT),
    (ACCENT, PANEL),
    (ACCENT, PAPER),
    (INK, ACCENT_PALE),
    (WARN_INK, WARN_PAPER),
    (WARN_INK, PAPER),
)
"""Every pair of text and ground used anywhere; each must reach 4.5 : 1."""

GRAPHIC_PAIRS: Final = (
    (OUTLINE, PANEL),
    (OUTLINE, PAPER),
    (HATCH, PAPER),
    (ACCENT, PANEL),
    (LAYER_COLORS["streams"], PAPER),
    (LAYER_COLORS["roads"], PAPER),
    *((color, PAPER) for color, _ in ZONE_LOOKS.values()),
    (LAYER_COLORS["wells"], PAPER),
    (LAYER_COLORS["selected"], PAPER),
)
"""Marks that carry meaning on their ground; each must reach 3 : 1."""

CLASS_TEXT: Final = {
    "on file": PANEL,
    "highest": PANEL,
    "high": "#000000",
    "middle": "#000000",
    "lower": "#000000",
    NOT_RANKED: "#000000",
}
"""Text color that is readable on each class color."""

PAGE_COLORS: Final = {
    "ink": INK,
    "soft": SOFT_INK,
    "paper": PAPER,
    "panel": PANEL,
    "line": LINE,
    "rule": RULE,
    "track": TRACK,
    "ground": GROUND,
    "outline": OUTLINE,
    "accent": ACCENT,
    "accent_pale": ACCENT_PALE,
    "warn_ink": WARN_INK,
    "warn_paper": WARN_PAPER,
}
"""Colors of every page by the names that its template or style sheet uses."""


def css_colors(colors: Mapping[str, str] = PAGE_COLORS) -> str:
    """Write colors as custom properties of a style sheet.

    >>> css_colors({"warn_ink": "#102030"})
    '--warn-ink:#102030;'
    """
    return "".join(f"--{name.replace('_', '-')}:{color};" for name, color in colors.items())


def channels(color: str) -> tuple[int, int, int]:
    """Red, green and blue (0-255) of ``#rrggbb``.

    >>> channels("#0000ff")
    (0, 0, 255)
    """
    text = color.lstrip("#")
    if len(text) != 6:
        raise ValueError(f"a color is written #rrggbb, not {color!r}")
    return int(text[0:2], 16), int(text[2:4], 16), int(text[4:6], 16)


def luminance(color: str) -> float:
    """Relative luminance, 0 (black) to 1 (white), by the guidelines' glossary."""
    red, green, blue = (_linear(value / 255) for value in channels(color))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two colors, 1 to 21, whichever is the lighter.

    >>> round(contrast("#000000", "#ffffff"), 3)
    21.0
    """
    lighter, darker = sorted((luminance(first), luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def lightness(color: str) -> float:
    """CIE L* of a color, 0 to 100 (CIE 15:2004)."""
    share = luminance(color)
    if share > (6 / 29) ** 3:
        return 116 * float(share ** (1 / 3)) - 16
    return share * (29 / 3) ** 3


def _linear(value: float) -> float:
    return value / 12.92 if value <= 0.03928 else float(((value + 0.055) / 1.055) ** 2.4)
