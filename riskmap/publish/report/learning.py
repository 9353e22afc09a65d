"""Parts of the report on learning: what visits teach, and where service was inferred."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import pandas as pd
from matplotlib.figure import Figure as Drawing

from riskmap.publish import palette
from riskmap.publish.report.figures import CURVE_COLORS, DASHES, drawn
from riskmap.publish.report.section import Block, Figure, Section, Table, number
from riskmap.ranking.contenders import LEARNED, SHRUNK, WORDS
from riskmap.ranking.service_classifier import PUBLISHED, Service
from riskmap.ranking.validation import Comparison

HEADS: Final = {
    "average_precision": "Average precision",
    "found_per_100_visits": "Failures found per 100 visits",
    "brier": "Brier score",
}
LIFTS: Final = {"lift_5%": "Top 5%", "lift_10%": "Top 10%", "lift_20%": "Top 20%"}
"""Figure -> heading; in the tables' order."""

DRAWN: Final = ("score", *LEARNED, SHRUNK)
"""Rankings whose chances are drawn, so far as they were tried."""


def learning_section(words: Sequence[str], comparison: Comparison | None) -> Section:
    """Say what was decided about learning and show the figures it was decided on."""
    blocks: list[Block] = [text for text in (words[-1], " ".join(words[:-1])) if text]
    if comparison is not None:
        blocks += [
            _figures_table(
                comparison.figures,
                HEADS,
                "Rankings on places that they had not seen",
                "In brackets: 90% intervals by drawing whole places again. Failures found: in the "
                "first tenth of the list. A lower Brier score is better.",
            ),
            _figures_table(
                comparison.figures,
                LIFTS,
                "Lift: failures at the head of the list, as a multiple of a random list's",
                "Where a ranking cannot separate failed systems from sound ones, its lift is 1.",
            ),
            _split_table(comparison),
            calibration_figure(comparison),
        ]
    return Section("What visits teach, and what ranks", blocks)


def _figures_table(
    figures: pd.DataFrame, heads: Mapping[str, str], caption: str, note: str
) -> Table:
    rows = []
    for name in dict.fromkeys(figures["contender"]):
        own = figures[figures["contender"] == name].set_index("figure")
        rows.append((WORDS[name].capitalize(), *(_interval(own.loc[f]) for f in heads)))
    numeric = frozenset(range(1, len(heads) + 1))
    return Table(("Ranking", *heads.values()), rows, numeric, caption, note)


def _interval(row: pd.Series) -> str:
    return f"{number(row['value'])} ({number(row['low'])} to {number(row['high'])})"


def _split_table(comparison: Comparison) -> Table:
    table = comparison.optimism
    rows = [
        (WORDS[str(name)].capitalize(), number(random), number(blocks))
        for name, random, blocks in zip(
            table["contender"], table["random_split"], table["held_out_blocks"], strict=True
        )
    ]
    return Table(
        ("Ranking", "By a random split", "By places held out"),
        rows,
        frozenset({1, 2}),
        "Average precision: how much too high a random split is",
    )


def calibration_figure(comparison: Comparison) -> Figure:
    """Predicted chance against share found, by ranking."""
    tables = {n: comparison.reliability[n] for n in DRAWN if n in comparison.reliability}

    def paint(drawing: Drawing) -> None:
        axes = drawing.subplots()
        most = max(t[["said", "found"]].to_numpy(float).max() for t in tables.values())
        axes.plot([0, most], [0, most], color=palette.LINE, linewidth=1.2, label="as said")
        for place, (name, table) in enumerate(tables.items()):
            axes.plot(
                table["said"],
                table["found"],
                marker="o",
                markersize=3,
                linewidth=1.1,
                color=CURVE_COLORS[place],
                linestyle=DASHES[place],
                label=WORDS[name],
            )
        axes.set(xlabel="Chance said", ylabel="Share found failing", xlim=(0, None), ylim=(0, None))
        axes.grid(axis="both")
        axes.legend(loc="upper left")

    score = tables["score"]
    words = "; ".join(
        f"predicted {100 * said:.0f}%, found {100 * found:.0f}%"
        for said, found in zip(score["said"], score["found"], strict=True)
        if np.isfinite(found)
    )
    return drawn(
        paint,
        name="calibration",
        title="Predicted chance against share found, on places held out",
        words=f"For the score: {words}.",
        height_in=2.9,
        caption="Predicted chance against share found, by tenths of the visits.",
    )


def service_section(service: Service, *, filled: int, open_before: int) -> Section:
    """Say how many parcels were filled, how sure that is, and what others reached.

    Parameters
    ----------
    service
        What the classifier found.
    filled
        Parcels that were marked as on sewer or onsite.
    open_before
        Built parcels without a record.
    """
    blocks: list[Block] = [
        f"For {open_before:,} built parcels no record says whether they are on sewer; {filled:,} "
        f"got a word and are marked as inferred. {service.words}"
    ]
    accuracy = service.accuracy
    if accuracy is not None:
        rows = [
            ("Here, on places held out", f"{100 * accuracy.accuracy:.1f}%"),
            ("Here, by a random split (too high)", f"{100 * accuracy.random_split:.1f}%"),
            *((f"Published: {where}", f"{100 * share:.1f}%") for where, share in PUBLISHED),
        ]
        note = "Published: da Luz, Taneja and Kumpel (2025), ACS ES&T Engineering, parcels of two "
        note += "states."
        blocks.append(Table(("Accuracy", "Right"), rows, frozenset({1}), "Sewer or onsite", note))
    return Section("Sewer or onsite where no record says it", blocks)
