"""Weights from people's pairwise comparisons: read their files, weigh, put into a model."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import inf
from pathlib import Path
from typing import Final

from riskmap.contract.errors import ModelError
from riskmap.ranking.model import Model
from riskmap.ranking.weights import Judgment, Pair, apply_weights
from riskmap.region.csv_file import read_rows

COLUMNS: Final = ("first", "second", "times")
"""Columns of a file of comparisons: `first` is so many times more important than `second`."""


def read_comparisons(path: Path) -> dict[Pair, float]:
    """Read one person's comparisons; ``times`` may be a number or a fraction such as 1/3.

    Raises
    ------
    ModelError
        Naming the file and the line at fault.
    """
    rows = read_rows(path, "the comparisons", ModelError)
    missing = [name for name in COLUMNS if rows and name not in rows[0][1]]
    if not rows or missing:
        raise ModelError(f"{path}: expected columns {', '.join(COLUMNS)} with at least one row.")
    found: dict[Pair, float] = {}
    for line, row in rows:
        first, second = (row[name] for name in COLUMNS[:2])
        if (first, second) in found or (second, first) in found:
            raise ModelError(f"{path}, line {line}: {first} and {second} are compared twice.")
        found[first, second] = _times(row["times"], f"{path}, line {line}")
    return found


def _times(text: str, place: str) -> float:
    over, _, under = text.strip().partition("/")
    try:
        value = float(over) / float(under or 1)
    except (ValueError, ZeroDivisionError):
        value = -1.0
    if not 0 < value < inf:
        raise ModelError(f"{place}: times = {text!r} is no number above 0, such as 3 or 1/3.")
    return value


def judged_model(model: Model, judgment: Judgment) -> Model:
    """Put the judged weights into a model; the weights they replace keep their sum.

    Raises
    ------
    ModelError
        Where a name is no factor of the model, or a weight falls outside the factor's bounds.
    """
    factors = {factor.name: factor for factor in model.factors}
    known = [str(name) for name in judgment.weights.index if name in factors]
    total = sum(factors[name].weight for name in known)
    outside = [
        f"{name} {weight:.2f} (bounds {factors[name].low:g} to {factors[name].high:g})"
        for name in known
        for weight in [float(judgment.weights[name]) * total]
        if not factors[name].low <= weight <= factors[name].high
    ]
    if len(known) == len(judgment.weights) and outside:
        raise ModelError(
            f"judged weights outside their bounds: {', '.join(outside)}. Compare again, or widen "
            "the bounds in the model file if you have grounds to; nothing was written."
        )
    return apply_weights(model, judgment.weights)


def describe_judgment(judgment: Judgment, files: Sequence[Path], model: Model | None = None) -> str:
    """Write the result of the comparisons for people: weights, consistency, the pair to reconsider.

    Parameters
    ----------
    judgment
        Weights that follow from the comparisons.
    files
        The files that were read, for their names.
    model
        Gives the factors' labels; None: no labels.
    """
    people = f"{judgment.people} {'person' if judgment.people == 1 else 'people'}"
    lines = [f"Comparisons of {people}: {', '.join(path.name for path in files)}", ""]
    labels = _labels(model)
    for name, share in judgment.weights.sort_values(ascending=False, kind="stable").items():
        lines.append(f"{name!s:<22}{100 * share:6.1f}%  {labels.get(str(name), '')}".rstrip())
    lines += ["", judgment.words]
    if judgment.accepted and judgment.reconsider is not None and judgment.ratio > 0:
        first, second = judgment.reconsider
        lines.append(
            f"The pair that fits the others least: {first} against {second} (said "
            f"{judgment.now:.3g}, the others suggest {judgment.fitting:.3g})."
        )
    return "\n".join(lines)


def _labels(model: Model | None) -> Mapping[str, str]:
    return {factor.name: factor.label for factor in model.factors} if model else {}


def weights_comment(files: Sequence[Path], judgment: Judgment) -> str:
    """Words for the head of the model file that holds the judged weights."""
    return (
        f"Weights judged in pairs by {judgment.people}; files {', '.join(p.name for p in files)}; "
        f"consistency ratio {judgment.ratio:.3f} ({judgment.series}). Screening only: local code "
        "and licensed practice decide."
    )
