"""Curved flow paths on a gridded water table, followed down-gradient (or up-gradient).

A path is stepped by the midpoint rule along the direction of the gradient, read between the cell
centers; each step is half a cell. Travel time is distance over seepage velocity. A path ends where
it reaches surface water, its longest distance or time, still water, or the edge of what is known.
One that circles in a hollow of the water table hardly gets lower over :data:`CIRCLE_STEPS` steps;
it ends where it was that many steps ago, as still water.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskmap.contract.arrays import Floats, Whole
from riskmap.contract.compiled import compiled
from riskmap.groundwater.gradient import MIN_GRADIENT, FlowField

DISTANCE, TIME, WATER, STILL, EDGE = 0, 1, 2, 3, 4
ENDS: Final = {
    DISTANCE: "longest distance followed",
    TIME: "longest time followed",
    WATER: "surface water",
    STILL: "no direction: flat, divide or sink",
    EDGE: "edge of the known water table",
}

CIRCLE_STEPS: Final = 8
"""Steps over which the fall of the head (rise, upstream) is looked at: enough to even out that
slopes are read between cells and heads are not."""
CIRCLE_FALL: Final = 0.1
"""A path circles where the head falls by less than this share of what the slopes on its way say."""


@dataclass(frozen=True)
class Paths:
    """Paths one after another; path ``i`` holds points ``start[i]:start[i + 1]``.

    ``x_m``, ``y_m``, ``distance_m`` (along the path), ``time_d`` (travel time), ``flux_m_d`` (Darcy
    flux) are per point; ``end`` (see ``ENDS``) and ``water_id`` (0: none) per path.
    """

    start: Whole
    x_m: Floats
    y_m: Floats
    distance_m: Floats
    time_d: Floats
    flux_m_d: Floats
    end: NDArray[np.int8]
    water_id: Whole

    def __len__(self) -> int:
        return len(self.end)

    @property
    def owner(self) -> Whole:
        """Path of each point."""
        return np.repeat(np.arange(len(self)), np.diff(self.start))

    def last(self, values: Floats) -> Floats:
        """Value at the end of each path."""
        return values[self.start[1:] - 1]


@compiled
def _sample(
    east: Floats, north: Floats, west_edge: float, north_edge: float, cell: float,
    x: float, y: float,
) -> tuple[float, float]:  # fmt: skip
    rows, columns = east.shape
    u = (x - west_edge) / cell - 0.5
    v = (north_edge - y) / cell - 0.5
    if not (u >= -0.5 and u <= columns - 0.5 and v >= -0.5 and v <= rows - 0.5):
        return np.nan, np.nan
    u, v = min(max(u, 0.0), columns - 1.0), min(max(v, 0.0), rows - 1.0)
    i, j = min(int(v), max(rows - 2, 0)), min(int(u), max(columns - 2, 0))
    k, m = min(i + 1, rows - 1), min(j + 1, columns - 1)
    u, v = u - j, v - i
    a, b, c, d = (1 - u) * (1 - v), u * (1 - v), (1 - u) * v, u * v
    return (
        a * east[i, j] + b * east[i, m] + c * east[k, j] + d * east[k, m],
        a * north[i, j] + b * north[i, m] + c * north[k, j] + d * north[k, m],
    )


@compiled
def _grow(buffer: Floats, size: int) -> Floats:
    if size < len(buffer):
        return buffer
    larger = np.empty((2 * len(buffer), buffer.shape[1]))
    larger[: len(buffer)] = buffer
    return larger


@compiled
def _why_stop(
    distance: float, time: float, gradient: float, turn: float, limits: tuple[float, float, float]
) -> int:
    """Reason to stop at a point that is known and on land; -1 to go on."""
    if distance >= limits[0] * (1 - 1e-12):
        return DISTANCE
    if time >= limits[1] * (1 - 1e-12):
        return TIME
    if gradient < limits[2] or turn < 0:
        return STILL
    return -1


@compiled
def _trace_one(
    points: Floats, used: int, at: tuple[float, float], sign: float, step: float,
    head: Floats, east: Floats, north: Floats, k: Floats, porosity: Floats, water: Whole,
    place: tuple[float, float, float], limits: tuple[float, float, float],
) -> tuple[Floats, int, int, int]:  # fmt: skip
    """Append one path to ``points``; give the buffer, its use, the end and the water reached."""
    (px, py), distance, time = at, 0.0, 0.0
    first, head_before, fall = used, np.nan, 0.0
    before_east, before_north = 0.0, 0.0
    while True:
        points = _grow(points, used)
        points[used] = (px, py, distance, time, np.nan)
        used += 1
        ge, gn = _sample(east, north, *place, px, py)
        if np.isnan(ge) or np.isnan(gn):
            return points, used, EDGE, 0
        row = min(int((place[1] - py) / place[2]), east.shape[0] - 1)
        column = min(int((px - place[0]) / place[2]), east.shape[1] - 1)
        size = np.hypot(ge, gn)
        points[used - 1, 4] = k[row, column] * size
        if water[row, column] != 0:
            return points, used, WATER, water[row, column]
        if (used - 1 - first) % CIRCLE_STEPS == 0:
            head_now, _ = _sample(head, head, *place, px, py)
            if sign * (head_before - head_now) < CIRCLE_FALL * fall:
                return points, used - CIRCLE_STEPS, STILL, 0
            head_before, fall = head_now, 0.0
        why = _why_stop(distance, time, size, ge * before_east + gn * before_north, limits)
        if why >= 0:
            return points, used, why, 0
        length = min(step, limits[0] - distance)
        half = 0.5 * sign * length / size
        me, mn = _sample(east, north, *place, px + half * ge, py + half * gn)
        middle = np.hypot(me, mn)
        velocity = k[row, column] * middle / porosity[row, column]
        if np.isnan(velocity):
            return points, used, EDGE, 0
        if middle < limits[2]:
            return points, used, STILL, 0
        length = min(length, (limits[1] - time) * velocity)
        px += sign * length * me / middle
        py += sign * length * mn / middle
        distance += length
        fall += length * middle
        time += length / velocity
        before_east, before_north = ge, gn


@compiled
def _trace(
    x: Floats, y: Floats, sign: float, step: float, head: Floats,
    east: Floats, north: Floats, k: Floats, porosity: Floats, water: Whole,
    place: tuple[float, float, float], limits: tuple[float, float, float],
) -> tuple[Whole, Floats, NDArray[np.int8], Whole]:  # fmt: skip
    count = len(x)
    start = np.zeros(count + 1, np.int64)
    end = np.full(count, EDGE, np.int8)
    water_id = np.zeros(count, np.int64)
    points = np.empty((max(16 * count, 16), 5))
    used = 0
    for path in range(count):
        points, used, end[path], water_id[path] = _trace_one(
            points, used, (x[path], y[path]), sign, step, head, east, north, k, porosity, water,
            place, limits,
        )  # fmt: skip
        start[path + 1] = used
    return start, points[:used].copy(), end, water_id


def trace_paths(
    field: FlowField,
    *,
    x_m: ArrayLike,
    y_m: ArrayLike,
    max_distance_m: float,
    max_time_d: float = np.inf,
    water_id: ArrayLike | None = None,
    upstream: bool = False,
    step_cells: float = 0.5,
    min_gradient_frac: float = MIN_GRADIENT,
) -> Paths:
    """Follow the water from each place.

    Parameters
    ----------
    field
        From :func:`riskmap.groundwater.gradient.flow_field`.
    x_m, y_m
        Starts (n,), m. A start that is NaN or outside gives a path of its one point, end ``EDGE``.
    max_distance_m, max_time_d
        Where to stop.
    water_id
        Whole numbers on the field's grid: 0 land, else the surface water that ends a path.
    upstream
        Follow against the flow, where the water comes from.
    step_cells
        Length of a step in cells.
    min_gradient_frac
        Slope below which the water counts as still.
    """
    grid = field.grid
    water = np.zeros(grid.values.shape, np.int64)
    if water_id is not None:
        water[...] = np.asarray(water_id)
    start, points, end, reached = _trace(
        np.array(x_m, float, order="C"), np.array(y_m, float, order="C"),
        -1.0 if upstream else 1.0, step_cells * grid.cell_m,
        np.ascontiguousarray(grid.values, float),
        field.east_frac, field.north_frac, field.conductivity_m_d, field.porosity_frac, water,
        (float(grid.west_m), float(grid.north_m), float(grid.cell_m)),
        (float(max_distance_m), float(max_time_d), float(min_gradient_frac)),
    )  # fmt: skip
    x, y, distance, time, flux = np.ascontiguousarray(points.T)
    return Paths(start, x, y, distance, time, flux, end, reached)
