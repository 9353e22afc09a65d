"""Picture of planners' zones: from overlapping reasons to zones that share their borders."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure as Drawing
from scipy import ndimage

from docs.pictures.board import ACCENT, INK, PALE, WARN, WELL, field, outline, picture, tint
from riskmap.action.zone_reasons import ZoneSettings
from riskmap.action.zones import LABELS, draw_zones
from riskmap.contract.grid import Grid, grid_from_bounds

COLORS = {"capture": ACCENT, "nitrate": WARN, "dense_old": tint(INK, 0.55), "vulnerable": PALE}


def _scene() -> tuple[Grid, dict[str, np.ndarray]]:
    """Invented cells: a capture area, a neighborhood of nitrate, dense systems, patchy ground."""
    grid = grid_from_bounds(west_m=0, north_m=2000, cell_m=20, values=np.zeros((100, 150)))
    x, y = grid.centers()
    patches = ndimage.gaussian_filter(np.random.default_rng(5).normal(size=x.shape), 9)
    bend = 1000 + 250 * np.sin(x / 500)
    flags = {
        "capture": (np.abs(y - bend) < 20 + 0.12 * x) & (x > 250) & (x < 1300),
        "nitrate": np.hypot((x - 1250) / 1.4, y - 1150) < 330,
        "dense_old": np.hypot(x - 1250, y - 1050) < 650,
        "vulnerable": (patches > 0.035) & (x > 300),
    }
    return grid, flags


@picture(
    "zones",
    "Left: four kinds of reasons overlap on a plan. Right: the zones made of them lie side by side "
    "with smooth common borders; land with several reasons went to the first kind.",
    height_in=2.4,
)
def zones(drawing: Drawing) -> None:
    """Reasons as cells beside zones as polygons."""
    grid, flags = _scene()
    before, after = drawing.subplots(1, 2)
    field(before, "Reasons overlap", frame=True)
    field(after, "Zones do not", frame=True)
    x, y = grid.centers()
    for kind, cells in flags.items():
        before.contourf(x, y, cells, levels=[0.5, 1], colors=[COLORS[kind]], alpha=0.45)
        before.contour(x, y, cells, levels=[0.5], colors=[INK], linewidths=0.5)
    drawn = draw_zones(grid, flags, ZoneSettings())
    for kind, shape in zip(drawn.kind, drawn.shapes, strict=True):
        outline(after, shape, facecolor=COLORS[kind], edgecolor=INK, linewidth=0.7, alpha=0.7)
        middle = shape.representative_point()
        after.text(middle.x, middle.y, LABELS[kind].split()[0], fontsize=6, ha="center")
    for axes in (before, after):
        axes.plot(260, 1000 + 250 * np.sin(260 / 500), "o", color=WELL, markersize=4)
        axes.set(xlim=(0, 3000), ylim=(0, 2000))
