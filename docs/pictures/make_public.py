"""Picture of the public edition: which counts are withheld."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure as Drawing
from matplotlib.patches import Rectangle

from docs.pictures.board import INK, PALE_TO_DARK, SOFT, note, picture
from riskmap.action.derivable import Layout, ranges_from_sums
from riskmap.action.suppression import withhold

COUNTS = pd.DataFrame(
    {
        "systems": [64, 15, 40, 52, 31, 80],
        "high": [22, 3, 20, 14, 0, 25],
        "low": [42, 12, 20, 38, 31, 55],
    },
    index=[f"area {letter}" for letter in "ABCDEF"],
)


@picture(
    "suppression",
    "A table of six areas. One small count is withheld (dark, hatched); further counts are "
    "withheld to protect it (pale, hatched), each with the range that a reader could still work "
    "out; all others are shown.",
    height_in=2.4,
)
def suppression(drawing: Drawing) -> None:
    """Show a table with what is withheld and what could be worked out."""
    kept = withhold(COUNTS, total="systems", groups=[["high", "low"]])
    hidden = np.vstack([kept.areas, kept.sums])
    low, high = ranges_from_sums(COUNTS.to_numpy(), hidden, Layout(0, ((1, 2),)))
    axes = drawing.subplots()
    for row, name in enumerate(COUNTS.index):
        note(axes, name, -0.1, row + 0.5, ha="right", va="center")
        for column in range(3):
            small = bool(kept.small.to_numpy()[row, column])
            gone = bool(hidden[row, column])
            shade = PALE_TO_DARK[1] if small else (PALE_TO_DARK[0] if gone else "#ffffff")
            cell = Rectangle(
                (column, row), 0.94, 0.88, facecolor=shade, edgecolor=SOFT,
                hatch="////" if gone else "", linewidth=0.6,
            )  # fmt: skip
            axes.add_patch(cell)
            text = f"{COUNTS.iat[row, column]}"
            if gone:
                text = f"{low[row, column]} to {high[row, column]}"
            style = {"fc": "w", "lw": 0, "pad": 1} if gone else None
            note(axes, text, column + 0.47, row + 0.45, ha="center", va="center", bbox=style)
    for column, name in enumerate(("systems", "high priority", "the rest")):
        note(axes, name, column + 0.47, -0.15, ha="center", va="bottom", color=INK)
    axes.set(xlim=(-0.6, 3), ylim=(6.1, -0.6))
    axes.axis("off")
