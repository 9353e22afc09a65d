"""The county map of the report: hexagons by the middle priority of the systems in them.

Hexagons, not lots: at this size lots are dots, and a report goes through many hands. A hexagon with
fewer than :data:`FEW` systems gets no class, so that no household can be picked out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing
from matplotlib.patches import Patch, PathPatch, Rectangle
from matplotlib.path import Path

from riskmap.contract.arrays import Floats
from riskmap.contract.quantities import Units
from riskmap.contract.units import MILE_M
from riskmap.contract.vocabulary import FIRST_CLASSES
from riskmap.publish import palette
from riskmap.publish.report.figures import WIDTH_IN, drawn
from riskmap.publish.report.section import Figure
from riskmap.publish.words.class_words import IN_LINE, SHARE_COLORS, SHARE_ENDS, band_words
from riskmap.spatial.hexagons import hexagon_of, middles_of

FEW: Final = 5
"""Systems below which a hexagon gets no class (own choice, as many health departments do)."""

ACROSS: Final = (48, 40, 34, 29, 25, 21, 18, 15)
"""Hexagons across the longer side of the county, tried in this order."""

ENOUGH: Final = 0.6
"""Share of the hexagons with a system that should have a class."""

FEW_WORDS: Final = f"fewer than {FEW} systems"
NONE_WORDS: Final = "parcels, none ranked"
BANDS: Final = tuple(band_words(SHARE_ENDS, "%"))


@dataclass(frozen=True)
class Hexagons:
    """Cells of a county: middles (n, 2) in meters, size (middle to corner), what is in them.

    ``systems`` counts ranked systems; ``word`` is the band of the share in line for a visit,
    :data:`FEW_WORDS` or :data:`NONE_WORDS`.
    """

    middles: Floats
    size_m: float
    systems: npt.NDArray[np.int64]
    word: npt.NDArray[np.object_]


def hexagons(ranked: gpd.GeoDataFrame) -> Hexagons:
    """Gather the parcels that have a shape into hexagons."""
    shapes = ranked.geometry
    usable = (shapes.notna() & ~shapes.is_empty).to_numpy()
    points = shapely.get_coordinates(shapely.centroid(shapes.values[usable]))
    if not len(points):
        return Hexagons(np.empty((0, 2)), 1.0, np.empty(0, np.int64), np.empty(0, object))
    priority = ranked["priority"].where(ranked["rank"].notna()).to_numpy(float, na_value=np.nan)
    size, cells = _fitting_cells(points, np.isfinite(priority[usable]))
    first = ranked["priority_class"].isin(FIRST_CLASSES).to_numpy(float)
    first = np.where(np.isfinite(priority), first, np.nan)[usable]
    groups = pd.Series(first).groupby([cells[:, 0], cells[:, 1]])
    systems, share = groups.count(), 100 * groups.mean().fillna(0.0)
    word = np.array(BANDS, dtype=object)[np.searchsorted(SHARE_ENDS, share.round())]
    count = np.asarray(systems, np.int64)
    word = np.where(count == 0, NONE_WORDS, np.where(count < FEW, FEW_WORDS, word))
    middles = middles_of(list(systems.index), across_m=np.sqrt(3.0) * size)
    return Hexagons(middles, size, count, word)


def _fitting_cells(
    points: Floats, ranked: npt.NDArray[np.bool_]
) -> tuple[float, npt.NDArray[np.int64]]:
    """Size and cells: the smallest hexagons of which most that hold a system hold enough."""
    reach = float(np.ptp(points, axis=0).max())
    for across in ACROSS:
        size = max(reach / across / np.sqrt(3), 40.0)
        cells = hexagon_of(points[:, 0], points[:, 1], across_m=np.sqrt(3.0) * size)
        systems = np.unique(cells[ranked], axis=0, return_counts=True)[1]
        if len(systems) and (systems >= FEW).mean() >= ENOUGH:
            break
    return size, cells


def map_figure(
    ranked: gpd.GeoDataFrame,
    *,
    units: Units,
    layers: Mapping[str, gpd.GeoDataFrame] | None = None,
) -> Figure | None:
    """Draw the county by the share in line for a visit, with the streams and lakes of `layers`.

    Returns None where no parcel has a shape.

    Parameters
    ----------
    ranked
        All parcels with lots, ``priority`` and its class; projected m.
    units
        ``us`` or ``si``, for the scale bar.
    layers
        ``streams`` and ``waterbodies``, where there are any.
    """
    cells = hexagons(ranked)
    if not len(cells.middles):
        return None
    low = cells.middles.min(axis=0) - cells.size_m
    high = cells.middles.max(axis=0) + cells.size_m
    span = high - low
    height = float(np.clip(WIDTH_IN * 0.72 * span[1] / span[0], 1.8, 4.4))

    def paint(drawing: Drawing) -> None:
        axes = drawing.subplots()
        axes.set(xlim=(low[0], high[0]), ylim=(low[1], high[1]), aspect="equal")
        axes.set_axis_off()
        _paint_cells(axes, cells)
        _paint_water(axes, layers or {}, (*low, *high), tolerance_m=float(span.max()) / 1200)
        _scale_bar(axes, low, high, units)
        _legend(drawing, cells)

    words = _map_words(cells)
    return drawn(
        paint,
        name="county-map",
        title="Where the risk is",
        words=words,
        height_in=height,
        caption=f"Share of the systems of each hexagon that are {IN_LINE}; north is up. {words}",
    )


def _map_words(cells: Hexagons) -> str:
    parts = [
        f"{word}: {int((cells.word == word).sum()):,}"
        for word in (*BANDS[::-1], FEW_WORDS)
        if (cells.word == word).any()
    ]
    return f"Hexagons by share: {'; '.join(parts)}." if parts else "No hexagon holds a system."


def _looks(word: str) -> dict[str, Any]:
    if word == NONE_WORDS:
        return {"facecolor": "none", "edgecolor": palette.LINE, "linewidth": 0.5}
    if word == FEW_WORDS:
        return {
            "facecolor": palette.PANEL,
            "edgecolor": palette.HATCH,
            "linewidth": 0.4,
            "hatch": "///",
        }
    return {
        "facecolor": dict(zip(BANDS, SHARE_COLORS, strict=True))[word],
        "edgecolor": palette.OUTLINE,
        "linewidth": 0.35,
    }


def _paint_cells(axes: Axes, cells: Hexagons) -> None:
    angles = np.deg2rad(np.arange(30, 390, 60))
    ring = cells.size_m * np.column_stack([np.cos(angles), np.sin(angles)])
    codes = [Path.MOVETO, *[Path.LINETO] * 5, Path.CLOSEPOLY]
    for word in (NONE_WORDS, FEW_WORDS, *BANDS):
        middles = cells.middles[cells.word == word]
        if not len(middles):
            continue
        corners = middles[:, None, :] + np.vstack([ring, ring[:1]])[None]
        path = Path(corners.reshape(-1, 2), codes * len(middles))
        axes.add_patch(PathPatch(path, **_looks(word)))


def _paint_water(
    axes: Axes,
    layers: Mapping[str, gpd.GeoDataFrame],
    box: tuple[float, ...],
    *,
    tolerance_m: float,
) -> None:
    for name in ("waterbodies", "streams"):
        layer = layers.get(name)
        if layer is None or layer.empty:
            continue
        usable = layer.geometry[layer.geometry.notna()].values
        shapes = shapely.simplify(shapely.clip_by_rect(usable, *box), tolerance_m)
        parts = [part for part in shapely.get_parts(shapes) if not part.is_empty]
        path = _path_of(parts)
        if path is None:
            continue
        line = palette.LAYER_COLORS["streams"]
        face = palette.LAYER_COLORS["waterbodies"] if name == "waterbodies" else "none"
        axes.add_patch(PathPatch(path, facecolor=face, edgecolor=line, linewidth=0.7))


def _path_of(parts: Sequence[shapely.Geometry]) -> Path | None:
    """One path of all lines and rings; each ring of an area is closed."""
    vertices, codes = [], []
    for part in parts:
        lines = [part.exterior, *part.interiors] if isinstance(part, shapely.Polygon) else [part]
        for line in lines:
            xy = shapely.get_coordinates(line)
            if len(xy) > 1:
                vertices.append(xy)
                codes += [Path.MOVETO, *[Path.LINETO] * (len(xy) - 1)]
    return Path(np.vstack(vertices), codes) if vertices else None


def _scale_bar(axes: Axes, low: Floats, high: Floats, units: Units) -> None:
    unit_m, unit = (MILE_M, "mile") if units == "us" else (1000.0, "km")
    width = float(high[0] - low[0])
    steps = [step for step in (0.25, 0.5, 1, 2, 5, 10, 20) if step * unit_m <= 0.3 * width]
    if not steps:
        return
    step = steps[-1]
    length, thick = step * unit_m, float(high[1] - low[1]) * 0.012
    x, y = float(low[0]), float(low[1]) - 3 * thick
    axes.set_ylim(y - 4 * thick, float(high[1]))
    axes.add_patch(Rectangle((x, y), length, thick, facecolor=palette.INK, linewidth=0))
    words = f"{step:g} {unit}" + ("s" if unit == "mile" and step > 1 else "")
    axes.text(x + length * 1.04, y + thick / 2, words, va="center")


def _legend(drawing: Drawing, cells: Hexagons) -> None:
    words = [*BANDS[::-1], FEW_WORDS, NONE_WORDS]
    here = [word for word in words if word in BANDS or (cells.word == word).any()]
    handles = [Patch(label=word.capitalize(), **_looks(word)) for word in here]
    drawing.legend(handles=handles, loc="outside right upper", title="Share in line")
