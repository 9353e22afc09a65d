"""Small maps for paper: one lot with what surrounds it, or the stops of one day, as vectors."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from riskmap.contract.quantities import Units
from riskmap.contract.units import FOOT_M, MILE_M
from riskmap.publish import palette
from riskmap.publish.words.text_safety import html_text, plain_text

Shapes = NDArray[Any]
Window = tuple[float, float, float]
"""Middle of a square (easting, northing) and half its side, m."""

SIDE: Final = 1000
"""Side of a map in drawing units."""
LABEL_SHARE: Final = 0.066
"""Least distance of two labels as a share of the side."""
LEAST_HALF_M: Final = 35.0
MOST_HALF_M: Final = 160.0
"""Bounds of half the side of a stop's map: fields and setbacks must stay readable."""

_BARS: Final[dict[str, list[tuple[float, str]]]] = {
    "us": [(n * FOOT_M, f"{n} ft") for n in (20, 50, 100, 200, 500, 1000)]
    + [(n * MILE_M, f"{n:g} mi") for n in (0.25, 0.5, 1, 2, 5, 10, 20, 50)],
    "si": [(float(n), f"{n} m") for n in (5, 10, 20, 50, 100, 200, 500)]
    + [(n * 1000.0, f"{n} km") for n in (1, 2, 5, 10, 20, 50, 100)],
}


@dataclass(frozen=True)
class Style:
    """How a layer is drawn; `width` in drawing units, `dash` an SVG dash list."""

    fill: str = "none"
    stroke: str = "none"
    width: float = 0.0
    dash: str = ""
    opacity: float = 1.0


STYLES: Final[Mapping[str, Style]] = {
    "waterbodies": Style(
        palette.LAYER_COLORS["waterbodies"], palette.LAYER_COLORS["waterbodies_line"], 3
    ),
    "lots": Style(stroke=palette.OUTLINE, width=2),
    "roads": Style(stroke=palette.LAYER_COLORS["roads"], width=6),
    "streams": Style(stroke=palette.LAYER_COLORS["streams"], width=9),
    "area": Style(palette.ACCENT, palette.ACCENT, 5, "18 10", 0.22),
    "buildings": Style(palette.LAYER_COLORS["buildings"], palette.INK, 2),
    "lot": Style(stroke=palette.INK, width=9),
}
"""Layers from the lowest to the highest; they differ in shape and line, not by color alone."""
GROUND: Final = ("waterbodies", "roads", "streams")
"""Layers for finding one's way."""
NAME_SIZE: Final = 34
"""Height of the letters of a road's name, drawing units."""


class MapSource:
    """The layers that maps are drawn from, each searched by an index built once."""

    def __init__(self, layers: Mapping[str, gpd.GeoDataFrame | None]) -> None:
        self._layers: dict[str, tuple[Shapes, shapely.STRtree]] = {}
        self._roads = layers.get("roads")
        for name, layer in layers.items():
            if layer is not None and len(layer):
                shapes = shapely.make_valid(layer.geometry.to_numpy())
                self._layers[name] = (shapes, shapely.STRtree(shapes))

    def within(self, name: str, window: Window) -> Shapes:
        """Shapes of a layer in a window, cut to a little beyond it, in stable order."""
        if name not in self._layers:
            return np.empty(0, dtype=object)
        shapes, tree = self._layers[name]
        frame = _frame(window)
        found = np.sort(tree.query(frame))
        cut = shapely.intersection(shapes[found], frame)
        return cut[~shapely.is_empty(cut)]

    def road_names(self, window: Window) -> dict[str, Any]:
        """Longest straight part of each named road in a window, by name."""
        if self._roads is None or "name" not in self._roads or "roads" not in self._layers:
            return {}
        shapes, tree = self._layers["roads"]
        frame = _frame(window)
        longest: dict[str, Any] = {}
        for row in np.sort(tree.query(frame)):
            name = plain_text(self._roads["name"].iloc[row])
            for part in _straight_parts(shapely.intersection(shapes[row], frame)) if name else ():
                if name not in longest or part.length > longest[name].length:
                    longest[name] = part
        return longest


def stop_window(lot: Any, area: Any, at: tuple[float, float]) -> Window:
    """Window that shows the lot, or of a large lot the ground around the treatment area.

    Parameters
    ----------
    lot, area
        Shapes of the lot and of the likely treatment area; None or empty where unknown.
    at
        Easting and northing of the stop, m.
    """
    shape = lot if lot is not None and not lot.is_empty else area
    if shape is None or shape.is_empty:
        return (*at, LEAST_HALF_M)
    west, south, east, north = shape.bounds
    half = max(east - west, north - south) / 2 * 1.12
    if half <= MOST_HALF_M:
        return ((west + east) / 2, (south + north) / 2, max(half, LEAST_HALF_M))
    return (*at, MOST_HALF_M)


def day_window(x_m: NDArray[np.float64], y_m: NDArray[np.float64]) -> Window:
    """Window that holds all stops of a day."""
    west, east, south, north = x_m.min(), x_m.max(), y_m.min(), y_m.max()
    half = max(east - west, north - south) / 2 * 1.15
    return (float((west + east) / 2), float((south + north) / 2), max(float(half), 200.0))


def stop_svg(source: MapSource, window: Window, *, lot: Any, area: Any) -> str:
    """Map of one stop as SVG.

    Parameters
    ----------
    source
        Layers of the county.
    window
        From :func:`stop_window`.
    lot, area
        As there.
    """
    shapes = {name: source.within(name, window) for name in (*GROUND, "lots", "buildings")}
    shapes["lot"], shapes["area"] = _own(lot, window), _own(area, window)
    parts = [_layer(shapes[name], style, window) for name, style in STYLES.items()]
    wells = _wells(source.within("wells", window), window)
    return _svg([*parts, wells, _names(source.road_names(window), window)])


def day_svg(source: MapSource, window: Window, way: NDArray[np.float64]) -> str:
    """Map of a day: water, and the straight lines between its stops, as SVG.

    Parameters
    ----------
    source
        Layers of the county.
    window
        From :func:`day_window`.
    way
        Stops in order (n, 2), m.
    """
    parts = [_layer(source.within(name, window), STYLES[name], window) for name in GROUND]
    line = Style(stroke=palette.SOFT_INK, width=4, dash="14 10")
    if len(way) > 1:
        parts.append(_layer(np.array([shapely.LineString(way)]), line, window))
    return _svg(parts)


def places(
    x_m: NDArray[np.float64], y_m: NDArray[np.float64], window: Window
) -> NDArray[np.float64]:
    """Places of points (n, 2) as shares of the map's side from its upper left corner.

    Parameters
    ----------
    x_m, y_m
        Points (n,), projected m.
    window
        Middle and half the side of the map, m.
    """
    east, north, half = window
    across = 0.5 + (x_m - east) / (2 * half)
    down = 0.5 - (y_m - north) / (2 * half)
    return np.asarray(np.round(np.column_stack([across, down]), 4), float)


def apart(dots: NDArray[np.float64], least: float = LABEL_SHARE) -> NDArray[np.float64]:
    """Push the labels of crowded dots apart until each can be read, within the map."""
    labels = dots + 1e-4 * _spiral(len(dots))
    for _ in range(200):
        away = labels[:, None] - labels[None, :]
        distance = np.hypot(away[..., 0], away[..., 1]) + np.eye(len(dots))
        push = np.clip(least - distance, 0.0, None) * (1 - np.eye(len(dots)))
        if not push.any():
            break
        labels = labels + 0.5 * (away / distance[..., None] * push[..., None]).sum(axis=1)
        labels = np.clip(labels, 0.04, 0.96)
    return np.round(labels, 4)


def _spiral(count: int) -> NDArray[np.float64]:
    """Directions that differ for every point, so that labels of one place part too."""
    turn = np.arange(count) * 2.399963  # golden angle, radians
    return np.column_stack([np.cos(turn), np.sin(turn)])


def scale_bar(window: Window, units: Units) -> dict[str, object]:
    """Longest round length within a third of the map: its share of the side, and its label."""
    side = 2 * window[2]
    fitting = [bar for bar in _BARS[units] if bar[0] <= side / 3] or _BARS[units][:1]
    length, label = fitting[-1]
    return {"share": round(length / side, 4), "label": label}


def _frame(window: Window) -> Any:
    east, north, half = window
    reach = half * 1.02
    return shapely.box(east - reach, north - reach, east + reach, north + reach)


def _own(shape: Any, window: Window) -> Shapes:
    if shape is None or shape.is_empty:
        return np.empty(0, dtype=object)
    return np.array([shapely.intersection(shapely.make_valid(shape), _frame(window))])


def _wells(points: Shapes, window: Window) -> str:
    color = palette.LAYER_COLORS["wells"]
    drawn = []
    for across, down in _units(shapely.get_coordinates(points), window):
        at = f'cx="{across:.1f}" cy="{down:.1f}"'
        drawn.append(
            f'<circle {at} r="19" fill="{palette.PANEL}" stroke="{color}" stroke-width="8"/>'
        )
        drawn.append(f'<circle {at} r="7" fill="{color}"/>')
    return "".join(drawn)


def _layer(shapes: Shapes, style: Style, window: Window) -> str:
    tolerance = window[2] / SIDE
    lines = "".join(_path(shape, window) for shape in shapely.simplify(shapes, tolerance))
    if not lines:
        return ""
    dash = f' stroke-dasharray="{style.dash}"' if style.dash else ""
    return (
        f'<path d="{lines}" fill="{style.fill}" fill-opacity="{style.opacity}" '
        f'fill-rule="evenodd" stroke="{style.stroke}" stroke-width="{style.width}" '
        f'stroke-linejoin="round"{dash}/>'
    )


def _straight_parts(shape: Any) -> Iterator[Any]:
    for line in shapely.get_parts(shapely.get_parts(shape)):
        if line.geom_type == "LineString":
            yield from map(shapely.LineString, pairwise(shapely.get_coordinates(line)))


def _names(roads: Mapping[str, Any], window: Window) -> str:
    """Names along the roads, where there is room for them."""
    drawn = []
    for name, part in roads.items():
        (ax, ay), (bx, by) = _units(shapely.get_coordinates(part), window)
        if np.hypot(bx - ax, by - ay) < 0.62 * NAME_SIZE * len(name):
            continue
        turn = np.degrees(np.arctan2(by - ay, bx - ax))
        turn -= 180 * np.sign(turn) if abs(turn) > 90 else 0
        look = f'font-size="{NAME_SIZE}" text-anchor="middle" font-family="Noto Sans, sans-serif"'
        place = f'transform="translate({(ax + bx) / 2:.1f} {(ay + by) / 2:.1f}) rotate({turn:.1f})"'
        for ink in (f'stroke="{palette.PANEL}" stroke-width="9"', f'fill="{palette.INK}"'):
            drawn.append(f'<text {place} y="-9" {look} {ink}>{html_text(name)}</text>')
    return "".join(drawn)


def _path(shape: Any, window: Window) -> str:
    """SVG path of lines and rings; points have none."""
    text = []
    for part in shapely.get_parts(shapely.get_parts(shape)):
        kind = part.geom_type
        rings = [part.exterior, *part.interiors] if kind == "Polygon" else [part]
        for ring in rings if kind in {"Polygon", "LineString", "LinearRing"} else ():
            places = _units(shapely.get_coordinates(ring), window)
            way = "L".join(f"{across:.1f} {down:.1f}" for across, down in places)
            text.append(f"M{way}" + ("Z" if kind == "Polygon" else ""))
    return "".join(text)


def _units(places: NDArray[np.float64], window: Window) -> NDArray[np.float64]:
    east, north, half = window
    scale = SIDE / (2 * half)
    return np.column_stack(
        [(places[:, 0] - east + half) * scale, (north + half - places[:, 1]) * scale]
    )


def _svg(parts: Sequence[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SIDE} {SIDE}">'
        f'<rect width="{SIDE}" height="{SIDE}" fill="{palette.PANEL}"/>' + "".join(parts) + "</svg>"
    )
