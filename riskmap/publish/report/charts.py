"""Charts of the report: how well known, how scores and ages spread, what drives the list."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from riskmap.contract.arrays import Floats
from riskmap.contract.evidence import EVIDENCE
from riskmap.publish import palette
from riskmap.publish.report.figures import drawn, label, tint
from riskmap.publish.report.section import Figure

EVIDENCE_FILL: Final[Mapping[str, str]] = {
    "measured": tint(palette.ACCENT, 1.0),
    "mapped": tint(palette.ACCENT, 0.62),
    "inferred": tint(palette.ACCENT, 0.32),
    "assumed": tint(palette.ACCENT, 0.1),
    "unknown": palette.PANEL,
}
"""Fill of each mark: the darker, the better known; unknown stays empty."""

_EDGE: Final[Mapping[str, Any]] = {"edgecolor": palette.OUTLINE, "linewidth": 0.5}


def evidence_bar(counts: Sequence[int]) -> Figure:
    """Thin bar of how one item is known; counts in the order of the evidence marks."""
    total = max(sum(counts), 1)
    width, height, x = 160, 12, 0.5
    parts = []
    for word, count in zip(EVIDENCE, counts, strict=True):
        span = (width - 1) * count / total
        if count:
            parts.append(
                f'<rect x="{x:.1f}" y="0.5" width="{span:.1f}" height="{height - 1}" '
                f'fill="{EVIDENCE_FILL[word]}" stroke="{palette.OUTLINE}" stroke-width="0.7"/>'
            )
        x += span
    words = ", ".join(
        f"{word} {100 * count / total:.0f}%"
        for word, count in zip(EVIDENCE, counts, strict=True)
        if count
    )
    return Figure(_small_svg("known", width, height, words, "".join(parts)), "", words)


def evidence_legend() -> Figure:
    """Key to the fills of the bars."""
    parts = []
    for place, word in enumerate(EVIDENCE):
        x = 0.5 + 112 * place
        parts.append(
            f'<rect x="{x}" y="2.5" width="22" height="11" fill="{EVIDENCE_FILL[word]}" '
            f'stroke="{palette.OUTLINE}" stroke-width="0.7"/>'
            f'<text x="{x + 28}" y="12">{word}</text>'
        )
    words = "Key of the bars: " + ", ".join(EVIDENCE)
    return Figure(_small_svg("key", 560, 16, words, "".join(parts)), "", words)


def _small_svg(kind: str, width: int, height: int, words: str, content: str) -> str:
    return (
        f'<svg class="{kind}" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'role="img" aria-label="{html.escape(words)}">{content}</svg>'
    )


def scores_figure(scores: Mapping[str, Floats]) -> Figure:
    """Histograms of scores (label -> values 0-100)."""
    edges = np.arange(0, 101, 4.0)

    def paint(drawing: Drawing) -> None:
        panels = drawing.subplots(1, len(scores), sharey=True, squeeze=False)[0]
        for axes, (name, values) in zip(panels, scores.items(), strict=True):
            known = values[np.isfinite(values)]
            counts = np.histogram(np.clip(known, 0, 100), edges)[0]
            color = palette.CLASS_COLORS["high"]
            axes.bar(edges[:-1], counts, np.diff(edges), align="edge", color=color, **_EDGE)
            axes.set(xlim=(0, 100), title=label(name))
            axes.set_xticks([0, 25, 50, 75, 100])
            axes.tick_params(axis="x", labelsize=7)
            axes.grid(axis="y")
        panels[0].set_ylabel("Systems per 4 points")
        drawing.supxlabel("Score", fontsize=8.5)

    words = "; ".join(f"{name}: {_five(values)}" for name, values in scores.items())
    return drawn(
        paint, name="scores", title="How the scores spread", words=f"{words}.", height_in=2.3
    )


def ages_figure(ages: Mapping[str, tuple[Floats, npt.NDArray[np.bool_]]]) -> Figure:
    """Histograms of age by kind: label -> (ages in years, whether from a record), small panels."""
    across = 3
    down = -(-len(ages) // across)
    edges = np.append(np.arange(0, 81, 5.0), 85.0)

    def paint(drawing: Drawing) -> None:
        panels = drawing.subplots(down, across, squeeze=False, sharex=True).ravel()
        for axes in panels[len(ages) :]:
            axes.set_axis_off()
        for axes, (name, (years, recorded)) in zip(panels, ages.items(), strict=False):
            _age_panel(axes, edges, years, recorded)
            axes.set_title(label(f"{name} ({np.isfinite(years).sum():,})", longest=30))
        for axes in panels[max(0, len(ages) - across) : len(ages)]:
            axes.tick_params(axis="x", labelbottom=True)
        looks = (("from a record", 1.0), ("inferred or assumed", 0.25))
        handles = [
            Patch(label=word, facecolor=tint(palette.ACCENT, strength), **_EDGE)
            for word, strength in looks
        ]
        drawing.legend(handles=handles, loc="outside upper right", ncols=2)
        drawing.supxlabel("Age (years; last bar: 80 and more)", fontsize=8.5)
        drawing.supylabel("Systems", fontsize=8.5)

    words = "; ".join(f"{name}: {_five(years)} years" for name, (years, _) in ages.items())
    return drawn(
        paint,
        name="ages",
        title="Age of the systems by kind",
        words=f"{words}.",
        height_in=0.8 + 1.35 * down,
    )


def _age_panel(axes: Axes, edges: Floats, years: Floats, recorded: npt.NDArray[np.bool_]) -> None:
    known = np.isfinite(years)
    inside = np.clip(years, 0, edges[-1] - 1)
    base = np.histogram(inside[known & recorded], edges)[0]
    rest = np.histogram(inside[known & ~recorded], edges)[0]
    width = np.diff(edges)
    axes.bar(edges[:-1], base, width, align="edge", color=palette.ACCENT, **_EDGE)
    pale = tint(palette.ACCENT, 0.25)
    axes.bar(edges[:-1], rest, width, bottom=base, align="edge", color=pale, **_EDGE)
    axes.set_xlim(0, edges[-1])
    axes.set_xticks(np.arange(0, 81, 20))
    axes.yaxis.set_major_locator(MaxNLocator(4, integer=True))
    axes.grid(axis="y")


def drivers_figure(names: Sequence[str], top: Floats, rest: Floats, *, top_words: str) -> Figure:
    """Paired bars: mean points of each factor at the head of the list and among the rest.

    Parameters
    ----------
    names
        Labels of the factors (f,).
    top, rest
        Mean points in the two scores at the head of the list and among the others (f,).
    top_words
        Legend for the head of the list.
    """

    def paint(drawing: Drawing) -> None:
        axes = drawing.subplots()
        rows = np.arange(len(names))
        dark, pale = palette.CLASS_COLORS["on file"], palette.CLASS_COLORS["middle"]
        axes.barh(rows - 0.2, top, 0.38, color=dark, label=top_words, **_EDGE)
        axes.barh(rows + 0.2, rest, 0.38, color=pale, label="All other ranked systems", **_EDGE)
        axes.set(ylim=(len(names) - 0.4, -0.6), xlabel="Mean points in the two scores")
        axes.set_yticks(rows, [label(name, longest=40) for name in names])
        axes.tick_params(axis="y", length=0)
        axes.grid(axis="x")
        axes.legend(loc="lower right")

    words = "; ".join(
        f"{label(name, longest=60)}: {high:.1f} against {low:.1f}"
        for name, high, low in zip(names, top, rest, strict=True)
    )
    return drawn(
        paint,
        name="drivers",
        title="What drives the list: mean points at its head and among the rest",
        words=f"{words}.",
        height_in=0.7 + 0.27 * len(names),
    )


def _five(values: Floats) -> str:
    known = values[np.isfinite(values)]
    if not len(known):
        return "no values"
    low, middle, high = np.quantile(known, [0.1, 0.5, 0.9])
    return f"a tenth below {low:.0f}, the middle {middle:.0f}, a tenth above {high:.0f}"
