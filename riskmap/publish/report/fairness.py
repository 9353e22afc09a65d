"""Part of the report on fairness: picks against need, by neighborhood."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import pandas as pd
from matplotlib.figure import Figure as Drawing

from riskmap.contract.quantities import percent
from riskmap.publish import palette
from riskmap.publish.report.figures import drawn, label
from riskmap.publish.report.section import Block, Figure, Section, Table, number
from riskmap.ranking.fairness import Fairness

TOO_FEW: Final = "too few to say"
MOST_DRAWN: Final = 24
MARKS: Final = {
    "fewer than its need": ("v", palette.WARN_INK),
    "in line with its need": ("o", palette.ACCENT),
    "more than its need": ("^", palette.SOFT_INK),
}

INTRO: Final = (
    "Need is the sum of the chances of failing in a neighborhood. A ratio of 1 means that a "
    "neighborhood gets the picks that its share of the need would bring; the bar is the 95% "
    "interval. No protected attribute, nor a close substitute, is a factor of the score: a model "
    "that names one is refused. A list of the worst first gives more to places whose "
    "systems are each likely to fail, and less to places with many of moderate chance; wells count "
    "in the priority but not in this need. Neither is unfair in itself, but both should be seen."
)


def fairness_section(parts: Mapping[str, Fairness]) -> Section:
    """Pictures and sentences on how each kind of pick falls against need.

    Parameters
    ----------
    parts
        Word for the picks (``inspections``, ``letters``) -> comparison.
    """
    sentences = [sentence for part in parts.values() for sentence in part.words]
    blocks: list[Block] = [" ".join([*sentences, INTRO])]
    for what, part in parts.items():
        judged = part.table[part.table["verdict"] != TOO_FEW]
        if len(judged):
            blocks += [fairness_figure(judged, what=what), _table(part.table, what)]
    return Section("How picks fall across neighborhoods", blocks)


def fairness_figure(judged: pd.DataFrame, *, what: str) -> Figure:
    """Ratio of picks to need with its interval, by neighborhood, least served first."""
    table = judged.sort_values("ratio", kind="stable").head(MOST_DRAWN)

    def paint(drawing: Drawing) -> None:
        axes = drawing.subplots()
        axes.axvline(1.0, color=palette.OUTLINE, linewidth=0.9)
        for verdict, (mark, color) in MARKS.items():
            rows = [i for i, word in enumerate(table["verdict"]) if word == verdict]
            own = table.iloc[rows]
            axes.hlines(rows, own["ratio_low"], own["ratio_high"], color=color, linewidth=1.1)
            axes.plot(own["ratio"], rows, mark, color=color, markersize=5, label=verdict)
        axes.set(ylim=(len(table) - 0.4, -0.6), xlabel=f"{what.capitalize()} per need (1: even)")
        axes.set_xlim(left=0)
        axes.set_yticks(range(len(table)), [label(name) for name in table.index])
        axes.tick_params(axis="y", length=0)
        axes.grid(axis="x")
        drawing.legend(loc="outside upper center", ncols=3)

    words = "; ".join(
        f"{label(name, longest=60)}: {row['ratio']:.2f} ({row['verdict']})"
        for name, row in table.iterrows()
    )
    return drawn(
        paint,
        name=f"fairness-{what}",
        title=f"{what.capitalize()} against need, by neighborhood",
        words=f"{words}.",
        height_in=1.1 + 0.24 * len(table),
        caption=f"{what.capitalize()} against need, by neighborhood; bars are 95% intervals.",
    )


def _table(table: pd.DataFrame, what: str) -> Table:
    rows = [
        (
            label(name, longest=60),
            f"{int(row['systems']):,}",
            percent(float(row["need_frac"]), 1.0),
            f"{int(row['picks']):,}",
            number(float(row["expected_picks"])),
            row["verdict"],
        )
        for name, row in table.sort_values("need_frac", ascending=False, kind="stable").iterrows()
    ]
    heads = ("Neighborhood", "Systems", "Share of need", what.capitalize(), "By need", "Verdict")
    return Table(heads, rows, frozenset({1, 2, 3, 4}), f"{what.capitalize()} by neighborhood")
