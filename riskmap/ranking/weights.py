"""Weights from judgment: pairwise comparisons by one or more people (Saaty 1980).

A comparison says how many times more important one factor is than another, from 1 (equal) to 9,
or the inverse. Several people's comparisons are joined by the geometric mean, which alone keeps
the inverse of the joint judgment equal to the joint inverse (Aczel and Saaty 1983).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from riskmap.contract.arrays import Floats
from riskmap.contract.errors import ModelError
from riskmap.ranking.model import Model

Pair = tuple[str, str]

RANDOM_INDEX: Final[Mapping[str, tuple[float, ...]]] = {
    "classic": (0.0, 0.0, 0.58, 0.90, 1.12, 1.24, 1.32, 1.41, 1.45, 1.49),
    "later": (0.0, 0.0, 0.52, 0.89, 1.11, 1.25, 1.35, 1.40, 1.45, 1.49),
}
"""Mean consistency index of random comparisons for 1 to 10 factors. Sources differ, so a result
names the series it used: ``classic`` is the older one, ``later`` the newer (from memory)."""

ACCEPTED_RATIO: Final = 0.10
SCALE: Final = 9.0


@dataclass(frozen=True)
class Judgment:
    """Weights that follow from comparisons.

    ``weights`` add up to 1. ``ratio`` is the consistency ratio, 0 for two factors or fewer;
    ``index`` / random index of ``series``. ``reconsider`` is the pair whose change would help
    most, ``now`` the judgment given and ``fitting`` what the weights imply; None where the
    comparisons agree with each other.
    """

    weights: pd.Series
    largest_root: float
    index: float
    ratio: float
    series: str
    people: int
    reconsider: Pair | None
    now: float
    fitting: float

    @property
    def accepted(self) -> bool:
        """Whether the ratio is below 0.10, Saaty's limit."""
        return self.ratio < ACCEPTED_RATIO

    @property
    def words(self) -> str:
        """Say in plain words what came out and what to do."""
        text = f"Consistency ratio {self.ratio:.3f} ({self.series} random index)"
        if self.accepted or self.reconsider is None:
            return f"{text}: the comparisons agree well enough (below {ACCEPTED_RATIO:.2f})."
        first, second = self.reconsider
        return (
            f"{text}: above {ACCEPTED_RATIO:.2f}. Reconsider {first} against {second}: it was "
            f"judged {_times(self.now)}, the other comparisons suggest {_times(self.fitting)}."
        )


def judge(people: Sequence[Mapping[Pair, float]], *, series: str = "classic") -> Judgment:
    """Weights from the comparisons of one or more people.

    Parameters
    ----------
    people
        One mapping per person: ``(a, b) -> how many times more important a is than b``, each
        unordered pair once.
    series
        Which series of random indices to hold the consistency against.

    Raises
    ------
    ModelError
        Where a pair is missing, doubled, compared with itself or out of 1/9 to 9.

    >>> judge([{("soil", "age"): 2, ("soil", "slope"): 4, ("age", "slope"): 2}]).weights.round(4)
    soil     0.5714
    age      0.2857
    slope    0.1429
    dtype: float64
    """
    if not people:
        raise ModelError("no comparisons: give those of at least one person.")
    names = list(dict.fromkeys(name for pair in people[0] for name in pair))
    matrix = np.exp(np.mean([np.log(_matrix(one, names)) for one in people], axis=0))
    weights, root = _principal(matrix)
    count = len(names)
    index = max((root - count) / (count - 1), 0.0) if count > 1 else 0.0
    pair, now, fitting = _worst_pair(matrix, names)
    return Judgment(
        pd.Series(weights, index=names),
        root,
        index,
        index / _random(series, count),
        series,
        len(people),
        pair,
        now,
        fitting,
    )


def apply_weights(model: Model, weights: pd.Series) -> Model:
    """Put judged weights into a model, keeping the sum of the weights they replace.

    A judged weight outside the factor's bounds is refused by the model's own check.
    """
    total = sum(factor.weight for factor in model.factors if factor.name in weights.index)
    share = weights / weights.sum()
    return model.with_weights({str(name): float(w) * total for name, w in share.items()})


def _matrix(comparisons: Mapping[Pair, float], names: Sequence[str]) -> Floats:
    place = {name: index for index, name in enumerate(names)}
    matrix = np.full((len(names), len(names)), np.nan)
    np.fill_diagonal(matrix, 1.0)
    for (first, second), times in comparisons.items():
        _check(first, second, times, place, matrix)
        matrix[place[first], place[second]] = times
        matrix[place[second], place[first]] = 1.0 / times
    for row, column in np.argwhere(np.isnan(matrix)):
        raise ModelError(f"no comparison of {names[row]!r} with {names[column]!r}.")
    return matrix


def _check(first: str, second: str, times: float, place: Mapping[str, int], matrix: Floats) -> None:
    pair = f"comparison of {first!r} with {second!r}"
    if first not in place or second not in place:
        raise ModelError(f"{pair}: the first person did not compare one of these.")
    if first == second:
        raise ModelError(f"{pair}: a factor cannot be compared with itself.")
    if not np.isnan(matrix[place[first], place[second]]):
        raise ModelError(f"{pair} is given twice.")
    if not 1 / SCALE - 1e-9 <= times <= SCALE + 1e-9:
        raise ModelError(f"{pair}: {times:g} is outside 1/9 to 9.")


def _principal(matrix: Floats) -> tuple[Floats, float]:
    """Principal eigenvector, scaled to add up to 1, and its root."""
    roots, vectors = np.linalg.eig(matrix)
    largest = int(np.argmax(roots.real))
    vector = np.abs(vectors[:, largest].real)
    return vector / vector.sum(), float(roots[largest].real)


def _random(series: str, count: int) -> float:
    if series not in RANDOM_INDEX:
        raise ModelError(f"no random index series {series!r}: {', '.join(RANDOM_INDEX)}.")
    table = RANDOM_INDEX[series]
    if count > len(table):
        raise ModelError(f"{count} factors are too many to compare in pairs; the limit is 10.")
    return table[count - 1] or math.inf


def _worst_pair(matrix: Floats, names: Sequence[str]) -> tuple[Pair | None, float, float]:
    """Find the pair that, brought in line with the others, lowers the largest root most."""
    count = len(names)
    least = _principal(matrix)[1] - 1e-9
    best: tuple[Pair | None, float, float] = (None, 1.0, 1.0)
    if count < 3:
        return best
    for row in range(count):
        for column in range(row + 1, count):
            others = [k for k in range(count) if k not in (row, column)]
            paths = matrix[row, others] * matrix[others, column]
            fitting = float(np.exp(np.log(paths).mean()))
            changed = matrix.copy()
            changed[row, column], changed[column, row] = fitting, 1.0 / fitting
            root = _principal(changed)[1]
            if root < least:
                least = root
                best = ((names[row], names[column]), float(matrix[row, column]), fitting)
    return best


def _times(ratio: float) -> str:
    """Words for a ratio.

    >>> _times(0.2), _times(3)
    ('one 5th as important', '3 times as important')
    """
    if ratio >= 1:
        return f"{ratio:.3g} times as important"
    return f"one {1 / ratio:.3g}th as important"
