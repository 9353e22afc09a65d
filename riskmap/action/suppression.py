"""Withhold small counts of a public table, and enough others that none can be derived.

Rule: a count from 1 to the threshold (10) is not shown, zero may be, and no such count may follow
from other numbers (Centers for Medicare and Medicaid Services, cell size suppression policy). A
count so withheld is `small`. In addition, a row in which all systems are of a sensitive group
is withheld too: it would disclose every single one.

What is withheld besides the small counts has to pass two tests, both with exact ranges
(:mod:`riskmap.action.derivable`):

1. By sums alone, even when the reader knows that what is withheld is not zero, a small count may be
   anything from 1 to the threshold, and every other withheld count spans at least as much.
2. A reader who also knows which counts are small still cannot place any withheld count within less
   than half the threshold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from riskmap.action.derivable import FREE, Layout, Ranges, with_county
from riskmap.action.swaps import proven_ranges

THRESHOLD: Final = 10
"""Largest count that is withheld unless a county sets its own (CMS; states range from 4 to 10)."""


@dataclass(frozen=True)
class Withheld:
    """What is withheld: `areas` (rows and columns of the counts) and the county's own `sums`.

    ``small`` marks the counts that the rule itself withholds; the rest protects them.
    """

    areas: pd.DataFrame
    sums: pd.Series
    small: pd.DataFrame


@dataclass
class _State:
    """A table in the making; the county's row is the last."""

    values: NDArray[np.int64]
    small: NDArray[np.bool_]
    hidden: NDArray[np.bool_]
    layout: Layout
    threshold: int


def withhold(
    counts: pd.DataFrame,
    *,
    total: str,
    groups: Sequence[Sequence[str]] = (),
    sensitive: Sequence[str] = (),
    threshold: int = THRESHOLD,
) -> Withheld:
    """Decide which counts of a public table are not shown.

    Parameters
    ----------
    counts
        One row per area; whole numbers. The county's sums are taken as published too.
    total, groups
        Column of totals, and up to two groups of columns that each add up to it.
    sensitive
        Columns that may not be seen to hold all systems of a row.
    threshold
        Largest count that may not be shown, 1 or more.

    Notes
    -----
    Rows first: in each group that has a small count, the smallest other counts are withheld until
    the small one could be as large as the threshold; if the row has too little, its total goes as
    well. Then columns: while a withheld count can be placed too closely, the fewest systems are
    withheld in one further row (or, last of all, the county's sums). A plain and quick rule of
    thumb; the least loss possible is a hard problem (Fischetti and Salazar 2001, Management
    Science 47:1008-1027).
    """
    if threshold < 1:
        raise ValueError("threshold must be 1 or more")
    names = [total, *(name for group in groups for name in group)]
    layout = _layout(groups)
    values = with_county(counts[names].to_numpy(dtype=np.int64), layout)
    watched = [names.index(name) for name in sensitive if name in names]
    small = _small(values, layout, watched, threshold)
    state = _State(values, small, small.copy(), layout, threshold)
    for row in np.flatnonzero(small.any(axis=1)):
        _close_row(state, int(row), watched)
    _close_columns(state, watched)
    table = pd.DataFrame(state.hidden[:-1], index=counts.index, columns=names)
    return Withheld(
        areas=table,
        sums=pd.Series(state.hidden[-1], index=names),
        small=pd.DataFrame(small[:-1], index=counts.index, columns=names),
    )


def _layout(groups: Sequence[Sequence[str]]) -> Layout:
    places, start = [], 1
    for group in groups:
        places.append(tuple(range(start, start + len(group))))
        start += len(group)
    return Layout(0, tuple(places))


def _small(
    values: NDArray[np.int64], layout: Layout, watched: Sequence[int], threshold: int
) -> NDArray[np.bool_]:
    """Mark the counts that the rule withholds; in a uniform row the zeros that give it away."""
    small = (values >= 1) & (values <= threshold)
    for column in watched:
        uniform = (values[:, column] == values[:, layout.total]) & (values[:, column] > 0)
        for other in _group_of(layout, column):
            if other != column:
                small[uniform, other] = True
    return small


def _group_of(layout: Layout, column: int) -> tuple[int, ...]:
    return next((group for group in layout.groups if column in group), ())


def _close_row(state: _State, row: int, watched: Sequence[int]) -> None:
    """Withhold in one row what would give its small counts away by its own sums."""
    value, hidden, small = state.values[row], state.hidden[row], state.small[row]
    for group in map(list, state.layout.groups):
        if hidden[state.layout.total]:
            break
        _give_away(value, hidden, group, watched)
        while _too_tight(value[group], hidden[group], small[group], state.threshold):
            shown = [c for c in group if not hidden[c] and value[c] > 0]
            if not shown:
                hidden[state.layout.total] = True
                break
            hidden[min(shown, key=lambda c: value[c])] = True
    if hidden[state.layout.total]:
        hidden[:] = True


def _give_away(
    value: NDArray[np.int64], hidden: NDArray[np.bool_], group: list[int], watched: Sequence[int]
) -> None:
    """Where the zeros of a uniform row are withheld, the count that is all goes with them."""
    for column in watched:
        if column in group and value[column] > 0 and hidden[group].sum() == len(group) - 1:
            hidden[column] |= bool((value[[c for c in group if c != column]] == 0).all())


def _too_tight(
    value: NDArray[np.int64],
    hidden: NDArray[np.bool_],
    small: NDArray[np.bool_],
    threshold: int,
) -> bool:
    """Whether the row's own sum places a withheld count of the group too closely."""
    if not hidden.any():
        return False
    value, small = value[hidden], small[hidden]
    least = np.minimum(value, 1)
    by_sums = _in_one_sum(value, least, np.full(len(value), FREE))
    by_rule = _in_one_sum(value, least, np.where(small, threshold, FREE))
    cells = zip(value, *by_sums, *by_rule, strict=True)
    return not all(_is_wide(*map(int, cell), threshold=threshold) for cell in cells)


def _in_one_sum(
    value: NDArray[np.int64], least: NDArray[np.int64], most: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Range of each of several counts whose sum is known."""
    low = np.maximum(least, value.sum() - (most.sum() - most))
    high = np.minimum(most, value.sum() - (least.sum() - least))
    return low, high


def _is_wide(
    value: int, low: int, high: int, rule_low: int, rule_high: int, *, threshold: int
) -> bool:
    """Whether both kinds of reader are left in enough doubt about a count."""
    if 1 <= value <= threshold and (low > 1 or high < threshold):
        return False
    return high - low >= threshold - 1 and rule_high - rule_low >= threshold // 2


def _close_columns(state: _State, watched: Sequence[int]) -> None:
    """Withhold in further rows until no withheld count can be placed too closely."""
    seen = set(_withheld_cells(state))
    waiting = _unproven(state, sorted(seen))
    checks = _checks(state)
    while waiting:
        if state.hidden.all() or _is_safe(state, checks, *waiting[0]):
            waiting.pop(0)
            continue
        _widen(state, *waiting[0], watched)
        # What was wide enough stays so: withholding more never narrows a range.
        fresh = [cell for cell in _withheld_cells(state) if cell not in seen]
        seen.update(fresh)
        waiting = _unproven(state, [*waiting, *fresh])
        checks = _checks(state)


def _withheld_cells(state: _State) -> list[tuple[int, int]]:
    """Withheld counts that need protection: all but zeros that are zeros by chance."""
    rows, columns = np.nonzero(state.hidden & ((state.values > 0) | state.small))
    return list(zip(rows.tolist(), columns.tolist(), strict=True))


def _readers(state: _State) -> tuple[dict[str, NDArray[np.int64]], ...]:
    """Readers of two kinds: one who knows the sums, one who knows which counts are small too."""
    values = state.values
    least = np.minimum(values, 1)
    # Within a row that is withheld whole a reader does not know which counts are zero.
    others = np.arange(values.shape[1]) != state.layout.total
    least[np.ix_(state.hidden[:, state.layout.total], others)] = 0
    free = np.full(values.shape, FREE)
    capped = np.where(state.small, state.threshold, FREE)
    return {"least": least, "most": free}, {"least": least, "most": capped}


def _unproven(state: _State, cells: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Withheld counts that simple swaps do not already show to be safe."""
    ranges = [
        proven_ranges(state.values, state.hidden, state.layout, **reader)
        for reader in _readers(state)
    ]
    ends = np.stack([end for pair in ranges for end in pair])
    return [
        cell
        for cell in cells
        if not _is_wide(
            int(state.values[cell]), *ends[:, *cell].tolist(), threshold=state.threshold
        )
    ]


def _checks(state: _State) -> list[Ranges]:
    """Exact ranges for both kinds of reader."""
    reach = 2 * state.threshold
    return [
        Ranges(state.values, state.hidden, state.layout, **reader, reach=reach)
        for reader in _readers(state)
    ]


def _is_safe(state: _State, checks: list[Ranges], row: int, column: int) -> bool:
    by_sums, by_rule = (check.of(row, column) for check in checks)
    value = int(state.values[row, column])
    return _is_wide(value, *by_sums, *by_rule, threshold=state.threshold)


def _widen(state: _State, row: int, column: int, watched: Sequence[int]) -> None:
    """Withhold the fewest systems in one further row that gives `column` of `row` more play."""
    total = state.layout.total
    best: tuple[int, int, tuple[int, ...]] | None = None
    if column != total:
        best = _cheapest_pair(state, row, column)
    if best is None:
        shown = np.flatnonzero(~state.hidden[:, total] & (state.values[:, total] > 0))
        if not len(shown):
            # Only zeros are left to withhold: the whole table goes.
            state.hidden.fill(True)
            return
        place = shown[np.argmin(state.values[shown, total])]
        best = (0, int(place), (total,))
    _, place, columns = best
    for each in columns:
        state.hidden[place, each] = True
    _close_row(state, place, watched)


def _cheapest_pair(state: _State, row: int, column: int) -> tuple[int, int, tuple[int, ...]] | None:
    """Return the row and the two columns of a group that swap with `column` at the least loss."""
    partners = [c for c in _group_of(state.layout, column) if c != column and state.hidden[row, c]]
    shown = ~state.hidden
    best: tuple[int, int, tuple[int, ...]] | None = None
    for partner in partners:
        pair = (column, partner)
        useful = np.asarray((state.values[:, pair] > 0).all(axis=1) & shown[:, pair].any(axis=1))
        useful[row] = False
        rows = np.flatnonzero(useful)
        if not len(rows):
            continue
        cost = (state.values[:, pair] * shown[:, pair]).sum(axis=1)[rows]
        place = int(np.argmin(cost))
        found = (int(cost[place]), int(rows[place]), pair)
        best = found if best is None or found < best else best
    return best
