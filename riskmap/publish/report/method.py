"""Parts of the report: the method with every factor, its curve and source, and the settings."""

from __future__ import annotations

import html
from collections.abc import Mapping
from typing import Any, Final

from riskmap.contract.features import column, meaning
from riskmap.contract.quantities import Units, text, with_unit
from riskmap.publish import palette
from riskmap.publish.report.section import Block, Cell, Figure, Section, Table, number
from riskmap.publish.words.report_text import words_of
from riskmap.publish.words.text_safety import is_missing, plain_text
from riskmap.ranking.model import SCORES, Factor, Model

BOX: Final = (120, 57)
"""Width and height of a curve's picture; its plot lies within a margin of :data:`MARGIN`."""

MARGIN: Final = (4, 4, 4, 24)
"""Left, top, right, bottom."""


def method_section(model: Model, *, units: Units) -> Section:
    """How the score is made, and every factor with weight, bounds, curve and source."""
    text = (
        "Each factor turns one item into a limitation between 0 (none) and 1 (worst) by the curve "
        "or table below. Limitation times weight, scaled so that the factors of a score at their "
        "worst make 100, gives the points of the factor; the points add up to the score, and "
        "anyone can check the sum. The priority does not come from the scores alone: it is the "
        "chance that the county's aim asks for, by the condition model; the weights are what that "
        "model holds of each factor before the county's records. "
        f"A parcel of which less than {100 * model.min_known_frac:.0f}% of a score's weight is "
        "known gets no score. Where one item is unknown, its stated middle limitation is used."
    )
    blocks: list[Block] = [text]
    for score in SCORES:
        factors = model.of(score)
        rows: list[tuple[Cell, ...]] = [
            (
                factor.label,
                f"{number(factor.weight * model.scale(score))}",
                f"{factor.weight:g}",
                f"{factor.low:g} to {factor.high:g}",
                _curve_cell(factor, units),
                f"{factor.unknown:g}",
                plain_text(factor.source),
            )
            for factor in factors
        ]
        heads = (
            "Factor",
            "Points at most",
            "Weight",
            "Bounds",
            "Limitation",
            "If unknown",
            "Source",
        )
        caption = f"{words_of(score)} score: factors of the scoring model “{model.name}”"
        note = "Bounds: how far judgment may move the weight."
        blocks.append(Table(heads, rows, frozenset({1, 2, 3}), caption, note))
    return Section("Method and sources", blocks)


def _curve_cell(factor: Factor, units: Units) -> Cell:
    if factor.table:
        words = ((words_of(word, factor.feature), limit) for word, limit in factor.table)
        return "; ".join(f"{word} {limit:g}" for word, limit in words)
    return curve_picture(factor, units=units)


def curve_picture(factor: Factor, *, units: Units) -> Figure:
    """Small picture of a factor's curve: item from left to right, limitation 0 to 1 upwards."""
    low, high = factor.curve[0][0], factor.curve[-1][0]
    left, top, right, bottom = MARGIN
    width, height = BOX[0] - left - right, BOX[1] - top - bottom
    ends = 0.1 * width

    def place(value: float, limit: float) -> str:
        x = left + ends + (width - 2 * ends) * (value - low) / (high - low)
        return f"{x:.1f},{top + height * (1 - limit):.1f}"

    points = [
        f"{left},{top + height * (1 - factor.curve[0][1]):.1f}",
        *(place(value, limit) for value, limit in factor.curve),
        f"{left + width},{top + height * (1 - factor.curve[-1][1]):.1f}",
    ]
    quantity = column(factor.feature).quantity
    values = ((text(x, quantity, units, near=True), y) for x, y in factor.curve)
    words = "; ".join(f"{value}: {limit:g}" for value, limit in values)
    words = f"Limitation by {meaning(factor.feature, units)}: {words}"
    scale = quantity.scale(units)
    below = (
        (left, top + height + 11, "start", number(low * scale.factor)),
        (left + width, top + height + 11, "end", number(high * scale.factor)),
        (left + width / 2, top + height + 22, "middle", scale.unit),
    )
    texts = "".join(
        f'<text x="{x:g}" y="{y}" text-anchor="{anchor}">{html.escape(label)}</text>'
        for x, y, anchor, label in below
        if label
    )
    base = top + height
    lines = "".join(
        f'<line x1="{left}" x2="{left + width}" y1="{y}" y2="{y}" stroke="{palette.LINE}"/>'
        for y in (top, base)
    )
    svg = (
        f'<svg class="curve" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {BOX[0]} {BOX[1]}" '
        f'role="img" aria-label="{html.escape(words)}">{lines}'
        f'<polyline points="{" ".join(points)}" fill="none" stroke="{palette.ACCENT}" '
        f'stroke-width="2"/>{texts}</svg>'
    )
    return Figure(svg, "", words)


def settings_section(
    *, settings: Mapping[str, Any] | None, versions: Mapping[str, str] | None, units: Units
) -> Section:
    """List settings and versions, so that the run can be repeated.

    Parameters
    ----------
    settings
        Settings by section, as in the run record; None: left out.
    versions
        Version by package; None: left out.
    units
        ``us`` or ``si``.
    """
    blocks: list[Block] = [
        "The run record (run.json) names every input file with its SHA-256 sum, every setting and "
        "every version: with the same three the run gives the same files to the byte."
    ]
    if settings:
        rows = [_setting_row(name, value, units) for name, value in flat(settings).items()]
        blocks.append(Table(("Setting", "Value"), rows, frozenset(), "Settings of this run"))
    if versions:
        listed = "; ".join(f"{name} {value}" for name, value in versions.items())
        blocks.append(f"Versions: {listed}.")
    return Section("Versions and settings", blocks)


def flat(settings: Mapping[str, Any], *, before: str = "") -> dict[str, Any]:
    """Lay nested settings flat.

    >>> flat({"rules": {"seed": 1}, "units": "us"})
    {'rules, seed': 1, 'units': 'us'}
    """
    found: dict[str, Any] = {}
    for name, value in settings.items():
        if isinstance(value, Mapping):
            found |= flat(value, before=f"{before}{name}, ")
        else:
            found[f"{before}{name}"] = value
    return found


def _setting_row(name: str, value: object, units: Units) -> tuple[str, str]:
    """Return the setting in words, its value in the unit that its name ends in."""
    last = name.rpartition(" ")[2]
    quantity = column(last).quantity
    if not isinstance(value, int | float) or isinstance(value, bool) or not quantity.si_unit:
        return words_of(name.replace("_", " ")), _setting(value)
    words = name.rpartition("_")[0].replace("_", " ")
    scale = quantity.scale(units)
    return words_of(words), with_unit(number(float(value) * scale.factor), scale)


def _setting(value: object) -> str:
    if isinstance(value, list | tuple):
        return ", ".join(map(_setting, value))
    if isinstance(value, float):
        return f"{value:.6g}"
    return "–" if is_missing(value) or value == "" else plain_text(value)
