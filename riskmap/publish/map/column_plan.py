"""Choose from which other columns each column of the map's data is predicted.

Soil columns follow the map unit, a limitation follows its feature, marks follow each other. So a
column may be guessed from one or two columns packed before it (the value last seen with the same
values there), and what no guess meets is spelled out by what was seen with similar values. Which
columns predict best is judged by conditional entropy on a sample, in the manner of dependence trees
(Chow and Liu 1968, from memory), then by trial.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np

from riskmap.contract.arrays import Whole
from riskmap.contract.compiled import compiled
from riskmap.publish.map.entropy import NO_END, SLOTS, column_stream

BEFORE: Final = -1
"""Means the column's own value in the row before."""

STEPS_OF_ONE: Final = 24
STEPS_OF_TWO: Final = 12
"""Contexts that one column, or each of two, is divided into."""

SAMPLE_FRAC: Final = 1 / 8
SAMPLE_ROWS: Final = (1_024, 12_288)
"""Rows that plans are tried on: this share of all, within these bounds."""
SAMPLE_RUNS: Final = 3
CANDIDATES: Final = 4
COARSE_VALUES: Final = 64


@dataclass(frozen=True)
class Coded:
    """Values from 0 to `size` - 1, one a row."""

    values: Whole
    size: int


@dataclass(frozen=True)
class Telling:
    """How a column is predicted: its guesses, its context, steps or not.

    Each guess uses none (the value of the row before), one or two columns, named by number.
    """

    guesses: tuple[tuple[int, ...], ...] = ()
    context: tuple[int, ...] = ()
    steps: bool = False


def stream(
    column: Coded, others: Mapping[int, Coded], telling: Telling, most: int = NO_END
) -> bytes:
    """Code a column by its plan.

    Parameters
    ----------
    column
        The column (rows,).
    others
        Columns that are coded already, by number, of the same rows.
    telling
        The plan, from :func:`choose`.
    most
        See :func:`riskmap.publish.map.entropy.column_stream`.
    """
    keys = np.zeros((len(telling.guesses), len(column.values)), dtype=np.int64)
    for row, parents in zip(keys, telling.guesses, strict=True):
        row[:] = _key([others[number] for number in parents], len(column.values))
    context, contexts = _context(column, others, telling.context)
    return column_stream(
        column.values,
        size=column.size,
        keys=keys,
        context=context,
        contexts=contexts,
        steps=telling.steps,
        most=most,
    )


def choose(column: Coded, others: Mapping[int, Coded]) -> Telling:
    """Choose how to predict `column` from `others`, by what costs least on a sample of rows."""
    rows = _sample(len(column.values))
    if column.size < 2 or not len(rows):
        return Telling(((),))
    part = _taken(column, rows)
    counts = np.zeros(SLOTS, dtype=np.int64)
    exact = sorted(
        (_left_open_by(part, other, rows, counts), number) for number, other in others.items()
    )
    coarse = _coarse(part, COARSE_VALUES)
    rough = sorted(
        (_left_open_by(coarse, _coarse(other, STEPS_OF_ONE), rows, counts), number)
        for number, other in others.items()
    )
    ranked = [number for pair in zip(exact, rough, strict=True) for _, number in pair]
    numbers = list(dict.fromkeys(ranked))[:CANDIDATES]
    near = {number: _taken(others[number], rows) for number in numbers}
    best = _cheapest(part, near, [Telling((), context) for context in _contexts(numbers)])
    tries = [Telling(guesses, best.context) for guesses in _guesses(numbers)]
    tries += [Telling(guesses, ()) for guesses in _guesses(numbers)[:3]]
    if column.size > 2:
        firsts = [((),), *(((number,),) for number in numbers)]
        contexts = {(), best.context, tuple(numbers[:1])}
        tries += [Telling(*pair, True) for pair in product(firsts, sorted(contexts))]
    return _cheapest(part, near, list(dict.fromkeys([best, *tries])))


def _contexts(numbers: Sequence[int]) -> list[tuple[int, ...]]:
    one = [(BEFORE,), *((number,) for number in numbers)]
    two = [(number, BEFORE) for number in numbers[:1]]
    return [(), *one, *two, *([(numbers[0], numbers[1])] if len(numbers) > 1 else [])]


def _guesses(numbers: Sequence[int]) -> list[tuple[tuple[int, ...], ...]]:
    if not numbers:
        return [((),)]
    one = (numbers[0],)
    tries = [((),), (one,), (one, ())]
    for second in numbers[1:]:
        both = (numbers[0], second)
        tries += [(both,), (both, one), (both, one, ())]
    return tries


def _cheapest(part: Coded, near: Mapping[int, Coded], tries: Sequence[Telling]) -> Telling:
    best, least = tries[0], NO_END
    for telling in tries:
        cost = len(stream(part, near, telling, least))
        if cost < least:
            best, least = telling, cost
    return best


def _sample(count: int) -> Whole:
    """Rows of a few runs over the county, so that neighbors stay together."""
    rows = int(np.clip(count * SAMPLE_FRAC, *SAMPLE_ROWS))
    if count <= rows:
        return np.arange(count)
    run = rows // SAMPLE_RUNS
    starts = np.linspace(0, count - run, SAMPLE_RUNS).astype(np.int64)
    return (starts[:, None] + np.arange(run)).ravel()


def _taken(column: Coded, rows: Whole) -> Coded:
    return Coded(np.ascontiguousarray(column.values[rows]), column.size)


def _coarse(column: Coded, most: int) -> Coded:
    """Divide a column into at most so many steps: near values count as equal."""
    steps = min(column.size, most)
    return Coded(column.values * steps // column.size, steps)


def _key(parents: Sequence[Coded], rows: int) -> Whole:
    if not parents:
        return np.zeros(rows, dtype=np.int64)
    key = parents[0].values
    for parent in parents[1:]:
        key = key * parent.size + parent.values
    return key % SLOTS


def _context(
    column: Coded, others: Mapping[int, Coded], numbers: Sequence[int]
) -> tuple[Whole, int]:
    context, contexts = np.zeros(len(column.values), dtype=np.int64), 1
    most = STEPS_OF_ONE if len(numbers) == 1 else STEPS_OF_TWO
    for number in numbers:
        values, size = column.values, column.size
        if number == BEFORE:
            values = np.concatenate([[0], values[:-1]])
        else:
            values, size = others[number].values, others[number].size
        steps = min(size, most)
        context, contexts = context * steps + values * steps // size, contexts * steps
    return context, contexts


def _left_open_by(part: Coded, other: Coded, rows: Whole, counts: Whole) -> float:
    """Bits a row left of the column when the other is known, and what it takes to learn them."""
    known = np.ascontiguousarray(other.values[rows])
    joint, pairs = _spread(known * part.size + part.values, counts)
    alone, _ = _spread(known, counts)
    bits = min((part.size - 1).bit_length(), 6)
    return joint - alone + 0.8 * bits * pairs / len(rows)


@compiled
def _spread(values: Whole, counts: Whole) -> tuple[float, int]:
    """Entropy in bits a row, and the number of distinct values (some may share a slot).

    `counts` are :data:`SLOTS` zeros to work with; they are zeros again afterwards.
    """
    used = np.empty(len(values), dtype=np.int64)
    distinct = 0
    for value in values:
        slot = (value * 40_503 + (value >> 16)) % SLOTS
        if counts[slot] == 0:
            used[distinct] = slot
            distinct += 1
        counts[slot] += 1
    total = 0.0
    for slot in np.sort(used[:distinct]):
        total += counts[slot] * np.log2(counts[slot])
        counts[slot] = 0
    return np.log2(len(values)) - total / len(values), distinct
