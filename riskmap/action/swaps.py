"""Ranges that simple swaps between rows already prove, for a whole table at once.

A withheld count can rise by one where another count of its row and group falls by one, and another
row does the reverse: all sums stay. Such swaps give a range that the true one (exact, but a flow
problem for every count: :mod:`riskmap.action.derivable`) is at least as wide as. Most counts of a
county-size table are settled by this alone.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskmap.action.derivable import Layout

Slack = NDArray[np.int64]


def proven_ranges(
    values: NDArray[np.int64],
    withheld: NDArray[np.bool_],
    layout: Layout,
    *,
    least: NDArray[np.int64],
    most: NDArray[np.int64],
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Lower and upper ends that are certainly possible, each count by itself.

    Parameters
    ----------
    values, withheld, layout, least, most
        As in :class:`riskmap.action.derivable.Ranges`, the county's row last.

    Returns
    -------
    tuple
        Least and most, both (n + 1, k); within the exact range of each count.
    """
    rise = np.where(withheld, most - values, 0)
    fall = np.where(withheld, values - least, 0)
    # The county's own sums are taken as published here: ranges only come out narrower.
    rise[-1] = fall[-1] = 0
    up, down = np.zeros_like(values), np.zeros_like(values)
    for group in layout.groups:
        for first in group:
            for second in group:
                if first != second:
                    _swap(up, down, rise, fall, first, second)
    _whole_rows(up, down, rise, fall, layout)
    return values - np.minimum(down, fall), values + np.minimum(up, rise)


def _swap(up: Slack, down: Slack, rise: Slack, fall: Slack, first: int, second: int) -> None:
    """Move systems of a row between two columns while other rows move them back."""
    forth = np.minimum(rise[:, first], fall[:, second])
    back = np.minimum(fall[:, first], rise[:, second])
    up[:, first] = np.maximum(up[:, first], np.minimum(forth, back.sum() - back))
    down[:, first] = np.maximum(down[:, first], np.minimum(back, forth.sum() - forth))


def _whole_rows(up: Slack, down: Slack, rise: Slack, fall: Slack, layout: Layout) -> None:
    """Move systems between rows whose totals are withheld, in one column of each group."""
    total = layout.total
    one, two = ([*layout.groups, (total,), (total,)])[:2]
    for first in one:
        for second in two:
            columns = [first, second, total]
            gain, loss = rise[:, columns].min(axis=1), fall[:, columns].min(axis=1)
            for column in set(columns):
                more, less = (
                    np.minimum(gain, loss.sum() - loss),
                    np.minimum(loss, gain.sum() - gain),
                )
                up[:, column] = np.maximum(up[:, column], more)
                down[:, column] = np.maximum(down[:, column], less)
