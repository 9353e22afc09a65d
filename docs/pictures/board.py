"""What all pictures of the handbook share: a list to enter them in, and a few marks."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.ticker import NullFormatter

from riskmap.contract.vocabulary import CLASSES
from riskmap.publish import palette
from riskmap.publish.report.figures import CURVE_COLORS, DASHES, drawn, tint
from riskmap.publish.report.section import Figure

Paint = Callable[[Drawing], None]
PICTURES: Final[dict[str, Callable[[], Figure]]] = {}
"""Name of a picture (and of the method page it stands on) -> how to draw it."""

PALE_TO_DARK: Final = [palette.CLASS_COLORS[name] for name in reversed(CLASSES)]
INK, SOFT, LINE, PAPER = palette.INK, palette.SOFT_INK, palette.LINE, palette.PAPER
ACCENT, PALE, WARN = palette.ACCENT, palette.ACCENT_PALE, palette.WARN_INK
WATER, WELL = palette.LAYER_COLORS["waterbodies"], palette.LAYER_COLORS["wells"]
LINES: Final = tuple(zip(CURVE_COLORS, DASHES, strict=True))
"""Color and dash of up to four curves: told apart in gray by the dash."""

__all__ = [
    "ACCENT", "INK", "LINE", "LINES", "PALE", "PALE_TO_DARK", "PAPER", "PICTURES", "SOFT", "WARN",
    "WATER", "WELL", "field", "note", "outline", "picture",
    "plain_ticks", "scale_bar", "slim",
    "tint",
]  # fmt: skip


def picture(name: str, words: str, *, height_in: float = 2.6) -> Callable[[Paint], Paint]:
    """Enter a picture under `name`; `words` say what it shows to those who do not see it."""

    def enter(paint: Paint) -> Paint:
        title = name.replace("_", " ").capitalize()
        PICTURES[name] = lambda: slim(
            drawn(paint, name=name.replace("_", "-"), title=title, words=words, height_in=height_in)
        )
        return paint

    return enter


def slim(figure: Figure) -> Figure:
    r"""Round the coordinates to a tenth of a point: finer than any screen or printer shows.

    >>> slim(Figure('<path d="M 1.234 5 L 2.06 7.0" />')).svg
    '<path d="M1.2 5L2.1 7"/>'
    """

    def shorter(found: re.Match[str]) -> str:
        text = re.sub(r"-?\d+\.\d+", lambda number: f"{float(number[0]):.1f}", found[2])
        text = re.sub(r"\.0(?!\d)", "", " ".join(text.split()))
        return f'{found[1]}="' + re.sub(r" ?([A-Za-z]) ?", r"\1", text) + '"'

    svg = re.sub(r'\b(d)="([^"]*)"', shorter, figure.svg)
    svg = re.sub(r'\b(x|y)="(-?\d+\.\d)\d*"', r'\1="\2"', svg)
    return replace(figure, svg=re.sub(r">\s+<", "><", svg).replace(" />", "/>"))


def field(axes: Axes, title: str, *, frame: bool = False) -> None:
    """Make axes a plan: equal scales, no ticks."""
    axes.set(aspect="equal", xticks=[], yticks=[], title=title)
    for side in axes.spines.values():
        side.set_visible(frame)


def outline(axes: Axes, shape: Any, **style: Any) -> None:
    """Draw a polygon or parts of one, filled or as a line, holes left open."""
    for part in shapely.get_parts(shape):
        if part.is_empty or part.geom_type != "Polygon":
            continue
        rings = [np.asarray(ring.coords) for ring in (part.exterior, *part.interiors)]
        axes.add_patch(PathPatch(Path.make_compound_path(*(Path(r) for r in rings)), **style))
    axes.autoscale_view()


def note(axes: Axes, text: str, x: float, y: float, **style: Any) -> None:
    """Write a short text on a plan."""
    axes.text(x, y, text, **({"fontsize": 7.5, "color": INK} | style))


def plain_ticks(axes: Axes, *, x: bool = True, y: bool = False) -> None:
    """Write the ticks of logarithmic axes as plain numbers, at the decades only."""
    for axis, wanted in ((axes.xaxis, x), (axes.yaxis, y)):
        if wanted:
            axis.set_major_formatter("{x:g}")
            axis.set_minor_formatter(NullFormatter())


def scale_bar(axes: Axes, x: float, y: float, length_m: float) -> None:
    """Draw a bar with its length below."""
    axes.plot([x, x + length_m], [y, y], color=INK, linewidth=2, solid_capstyle="butt", zorder=4)
    axes.annotate(
        f"{length_m:g} m",
        (x + length_m / 2, y),
        (0, 3),
        textcoords="offset points",
        ha="center",
        va="bottom",
        fontsize=7,
        bbox={"fc": "w", "lw": 0, "pad": 0.5},
        zorder=3,
    )
