"""What a reader can derive about withheld counts: the exact range of each.

A public table has one row per area: a total, and one or two groups of columns that each add up to
it; the county's own row is the sum of all. A reader knows all published numbers and all
those sums. The numbers then form a flow around a network::

    county -> column of group 1 -> area (its total) -> column of group 2 -> county

Each count is the flow through one arc; sums are what flows in and out of a node. Published arcs are
fixed. How far a withheld arc can rise or fall is a largest flow through what is left (Ahuja,
Magnanti and Orlin 1993, Network Flows, chapters 2 and 6), and whole numbers in give whole numbers
out, so the range is exact: both of its ends are reached by some table of whole numbers. For tables
in suppression: Gusfield (1988) SIAM J. Comput. 17:552-571.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_flow

FREE: Final = 2**30
"""Means no upper limit in a scenario."""


@dataclass(frozen=True)
class Layout:
    """Positions of a table's columns: the total, and groups that each add up to it."""

    total: int
    groups: tuple[tuple[int, ...], ...]

    @property
    def columns(self) -> int:
        """Number of columns."""
        return 1 + sum(len(group) for group in self.groups)


@dataclass(frozen=True)
class Arcs:
    """The network of a table: each arc's ends, and its row and column in the table."""

    tail: NDArray[np.int64]
    head: NDArray[np.int64]
    row: NDArray[np.int64]
    column: NDArray[np.int64]
    nodes: int


def with_county(counts: NDArray[np.int64], layout: Layout) -> NDArray[np.int64]:
    """Add the county's row (the sum) below counts (n, k); refuse sums that do not hold."""
    values = np.asarray(counts, dtype=np.int64)
    if values.ndim != 2 or values.shape[1] != layout.columns or (values < 0).any():
        raise ValueError("counts must be a table of whole numbers from zero, one column each")
    for group in layout.groups:
        if (values[:, list(group)].sum(axis=1) != values[:, layout.total]).any():
            raise ValueError("a group of columns does not add up to the total")
    return np.vstack([values, values.sum(axis=0)])


def arcs_of(layout: Layout, areas: int) -> Arcs:
    """Build the network for `areas` rows and the county's row below them."""
    if len(layout.groups) > 2:
        raise ValueError("a table has at most two groups of columns")
    # A group that is not there is one column that repeats the total.
    groups = [*layout.groups, (layout.total,), (layout.total,)][:2]
    first, second = (np.array(group, dtype=np.int64) for group in groups)
    source, sink = 0, 1
    left = 2 + np.arange(len(first))
    right = left[-1] + 1 + np.arange(len(second))
    gate_in = right[-1] + 1 + np.arange(areas)
    gate_out = gate_in + areas
    area = np.arange(areas)
    parts = [
        (np.tile(left, areas), np.repeat(gate_in, len(left)), area.repeat(len(left)), first),
        (gate_in, gate_out, area, np.array([layout.total])),
        (np.repeat(gate_out, len(right)), np.tile(right, areas), area.repeat(len(right)), second),
        (np.full(len(left), source), left, np.full(len(left), areas), first),
        (np.array([sink]), np.array([source]), np.array([areas]), np.array([layout.total])),
        (right, np.full(len(right), sink), np.full(len(right), areas), second),
    ]
    return Arcs(
        tail=np.concatenate([part[0] for part in parts]),
        head=np.concatenate([part[1] for part in parts]),
        row=np.concatenate([part[2] for part in parts]),
        column=np.concatenate([np.resize(part[3], len(part[0])) for part in parts]),
        nodes=2 + len(left) + len(right) + 2 * areas,
    )


class Ranges:
    """Ranges of withheld counts in one state of a table.

    Parameters
    ----------
    values
        Counts with the county's row, (n + 1, k).
    withheld
        Which of them are not published, same shape.
    layout
        Positions of the columns.
    least, most
        What a reader takes every withheld count to lie between; the true counts must.
    reach
        How far from the true count to look; ranges are exact within it.
    """

    def __init__(
        self,
        values: NDArray[np.int64],
        withheld: NDArray[np.bool_],
        layout: Layout,
        *,
        least: NDArray[np.int64],
        most: NDArray[np.int64],
        reach: int,
    ) -> None:
        self.values, self.least, self.most, self.reach = values, least, most, reach
        arcs = arcs_of(layout, len(values) - 1)
        hidden = withheld[arcs.row, arcs.column]
        self._arcs = Arcs(
            tail=arcs.tail[hidden],
            head=arcs.head[hidden],
            row=arcs.row[hidden],
            column=arcs.column[hidden],
            nodes=arcs.nodes,
        )
        row, column = self._arcs.row, self._arcs.column
        up = np.minimum(most[row, column] - values[row, column], reach)
        down = np.minimum(values[row, column] - least[row, column], reach)
        if (up < 0).any() or (down < 0).any():
            raise ValueError("a withheld count lies outside of its own limits")
        self._make_graph(up, down)

    def of(self, row: int, column: int) -> tuple[int, int]:
        """Least and most that a withheld count can be."""
        value = int(self.values[row, column])
        mine = np.flatnonzero((self._arcs.row == row) & (self._arcs.column == column))
        if not len(mine):
            return value, value
        tail, head = int(self._arcs.tail[mine[0]]), int(self._arcs.head[mine[0]])
        rise = min(self._slack(mine[0], head, tail), int(self.most[row, column]) - value)
        fall = min(self._slack(mine[0], tail, head), value - int(self.least[row, column]))
        return value - fall, value + rise

    def _make_graph(self, up: NDArray[np.int64], down: NDArray[np.int64]) -> None:
        gate = self._arcs.nodes
        nodes = np.arange(gate)
        tail = np.concatenate([self._arcs.tail, self._arcs.head, np.full(gate, gate)])
        head = np.concatenate([self._arcs.head, self._arcs.tail, nodes])
        room = np.concatenate([up, down, np.zeros(gate, dtype=np.int64)]).astype(np.int32)
        order = np.lexsort((head, tail))
        self._place = np.empty(len(order), dtype=np.int64)
        self._place[order] = np.arange(len(order))
        starts = np.searchsorted(tail[order], np.arange(gate + 2)).astype(np.int32)
        self._graph = csr_array(
            (room[order], head[order].astype(np.int32), starts), shape=(gate + 1, gate + 1)
        )

    def _slack(self, arc: int, start: int, end: int) -> int:
        """Return the largest flow from `start` to `end` that leaves `arc` out, up to the reach."""
        count = len(self._arcs.tail)
        # The gate before `start` keeps the flow, and so the whole numbers in it, within reach.
        own = self._place[[arc, arc + count, 2 * count + start]]
        room = self._graph.data
        before = room[own].copy()
        room[own] = (0, 0, self.reach)
        try:
            return int(maximum_flow(self._graph, self._arcs.nodes, end).flow_value)
        finally:
            room[own] = before


def ranges_from_sums(
    counts: NDArray[np.int64], withheld: NDArray[np.bool_], layout: Layout
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Least and most of every count for a reader who knows only the published counts and the sums.

    Parameters
    ----------
    counts
        True counts (n, k), one row per area.
    withheld
        Which of them, and of the county's row below, are not published (n + 1, k).
    layout
        Which column is the total and which are the groups.

    Returns
    -------
    tuple
        Least and most, both (n + 1, k). A count that no sum limits from above is given the county's
        total as its most.

    Examples
    --------
    >>> layout = Layout(0, ((1, 2),))
    >>> counts = np.array([[15, 3, 12], [40, 20, 20]])
    >>> withheld = np.array([[False, True, True], [False, True, True], [False, False, False]])
    >>> low, high = ranges_from_sums(counts, withheld, layout)
    >>> low[0].tolist(), high[0].tolist()
    ([15, 0, 0], [15, 15, 15])
    """
    values = with_county(counts, layout)
    reach = 1 + 2 * int(values[-1, layout.total])
    free = np.full(values.shape, FREE)
    ranges = Ranges(
        values, withheld, layout, least=np.zeros_like(values), most=free, reach=min(reach, FREE)
    )
    low, high = values.copy(), values.copy()
    for row, column in zip(*np.nonzero(withheld), strict=True):
        low[row, column], high[row, column] = ranges.of(int(row), int(column))
    return low, np.minimum(high, np.maximum(values, values[-1, layout.total]))
