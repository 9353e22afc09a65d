"""Parts of the report from the models: aging and state of the fields, groundwater and wells.

Columns that a run does not have are passed over without a word.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from riskmap.contract import features, quantities
from riskmap.contract.features import FAILURE, GROUNDWATER, column, declared, meaning
from riskmap.contract.quantities import LENGTH, MASS_RATE, Units, figure, percent, text
from riskmap.contract.vocabulary import CLASSES
from riskmap.failure.aging import AgingModel
from riskmap.publish.report.figures import survival_figure
from riskmap.publish.report.section import Block, Figure, Section, Table, counted, number
from riskmap.publish.words.report_text import numbers, words_of

Tables = pd.DataFrame | Mapping[str, pd.DataFrame]
DRAWN: Final = 3
"""Survival pictures at most, for the kinds with most failures on record."""


def aging_section(
    ranked: pd.DataFrame,
    *,
    units: Units,
    survival: Tables | None,
    aging: Mapping[str, AgingModel] | None,
    horizon_yr: float | None,
) -> Section | None:
    """Survival pictures, curves by kind, and what the failure models say; None if nothing.

    Parameters
    ----------
    ranked
        The ranked table.
    units
        ``us`` or ``si``.
    survival
        Kaplan-Meier table, or one by kind of system; None: left out.
    aging
        Curve by kind; None: left out.
    horizon_yr
        Years that the chance of failing looks ahead.
    """
    systems = ranked[ranked["rank"].notna()]
    blocks: list[Block] = []
    if survival is not None:
        blocks += _survival_blocks(survival, aging or {})
    if aging:
        blocks.append(_curves_table(aging))
    blocks += _chance_blocks(systems, horizon_yr)
    columns = [found.name for found in FAILURE if found.name in systems]
    blocks += summary_blocks(systems, columns, units=units, caption="State of the fields")
    return Section("How they age and fail", blocks) if blocks else None


def _survival_blocks(survival: Tables, aging: Mapping[str, AgingModel]) -> list[Block]:
    intro = (
        "The steps show the share of systems still serving, as the county's permits and repairs "
        "show it (Kaplan-Meier, with systems whose records begin late and those still serving "
        "taken into account); the band is the 95% interval. The smooth lines are the curves that "
        "the run uses: fitted to these records where there are enough failures, else the default "
        "from published service life."
    )
    if isinstance(survival, pd.DataFrame):
        chosen = sorted(aging.values(), key=lambda m: (not m.fitted, -m.events, m.kind))[:DRAWN]
        models = {words_of(model.kind, "kind"): model for model in chosen}
        return [intro, survival_figure(survival, models)]
    failures = {kind: int(table["failures"].sum()) for kind, table in survival.items()}
    kinds = sorted((k for k in failures if failures[k]), key=lambda k: (-failures[k], k))[:DRAWN]
    if not kinds:
        return ["No failure is on record, so there is no survival picture."]
    return [
        intro,
        *(_survival_picture(survival, aging, place, kind) for place, kind in enumerate(kinds)),
    ]


def _survival_picture(
    survival: Mapping[str, pd.DataFrame], aging: Mapping[str, AgingModel], place: int, kind: str
) -> Figure:
    name = "Kind unknown" if kind == "unknown" else words_of(kind, "kind")
    picture = survival_figure(
        survival[kind],
        {name: aging[kind]} if kind in aging else {},
        name=f"survival-{place}",
        title=f"{name}: share still serving, by age",
    )
    return replace(picture, caption=picture.words)


def _curves_table(aging: Mapping[str, AgingModel]) -> Table:
    rows = []
    for kind, model in aging.items():
        half = model.scale_yr * np.log(2.0) ** (1.0 / model.shape)
        rows.append(
            (
                words_of(kind, "kind"),
                f"{model.systems:,}",
                f"{model.events:,}",
                _with_interval(model.shape, model.shape_interval),
                _with_interval(model.scale_yr, model.scale_interval_yr),
                number(half),
                model.why,
            )
        )
    heads = (
        "Kind",
        "Systems",
        "Failures",
        "Shape",
        "Scale (years)",
        "Half have failed at (years)",
        "Where the curve comes from",
    )
    return Table(
        heads,
        rows,
        frozenset({1, 2, 5}),
        "Survival curve by kind: share serving at age t is exp(-(t / scale) ^ shape)",
        "In brackets: 95% intervals of a fit.",
    )


def _with_interval(value: float, interval: tuple[float, float] | None) -> str:
    if interval is None:
        return number(value)
    return f"{number(value)} ({number(interval[0])} to {number(interval[1])})"


def _chance_blocks(systems: pd.DataFrame, horizon_yr: float | None) -> list[Block]:
    if "chance_failing_frac" not in systems or systems.empty:
        return []
    chance = numbers(systems["chance_failing_frac"])
    known = np.isfinite(chance)
    if not known.any():
        return []
    within = f"the next {horizon_yr:g} years" if horizon_yr else "the horizon of the run"
    text = (
        f"Summed over the {counted(int(known.sum()), 'system')} with a known chance, about "
        f"{number(chance[known].sum())} are expected to fail within {within}. The chance of one "
        "system is a planning figure, not a forecast."
    )
    rows = []
    for word in CLASSES:
        these = chance[known & (systems["priority_class"] == word).to_numpy(bool, na_value=False)]
        if len(these):
            cells = (percent(value) for value in np.quantile(these, [0.1, 0.5, 0.9]))
            rows.append((words_of(word), f"{len(these):,}", *cells))
    heads = ("Priority class", "Systems", "A tenth below", "Middle", "A tenth above")
    numeric = frozenset({1, 2, 3, 4})
    return [text, Table(heads, rows, numeric, f"Chance of failing within {within}")]


def groundwater_section(
    ranked: pd.DataFrame, *, units: Units, well_setback_m: float | None
) -> Section | None:
    """Wells, water and nitrogen in numbers; None if the run has no such column.

    Parameters
    ----------
    ranked
        The ranked table.
    units
        ``us`` or ``si``.
    well_setback_m
        Setback from wells in the region's rules, m; None: no sentence on it.
    """
    systems = ranked[ranked["rank"].notna()]
    columns = [
        found.name
        for found in (*declared(in_report="groundwater"), *GROUNDWATER)
        if found.name in systems
    ]
    if not columns or systems.empty:
        return None
    blocks: list[Block] = []
    facts = _water_facts(systems, units=units, well_setback_m=well_setback_m)
    if facts:
        blocks.append(" ".join(facts))
    blocks += summary_blocks(systems, columns, units=units, caption="Groundwater and wells")
    return Section("Groundwater and wells", blocks)


def _water_facts(systems: pd.DataFrame, *, units: Units, well_setback_m: float | None) -> list[str]:
    facts = []
    if "well_distance_m" in systems and well_setback_m:
        near = int((numbers(systems["well_distance_m"]) < well_setback_m).sum())
        setback = text(well_setback_m, LENGTH, units)
        facts.append(
            f"{counted(near, 'system')} ({percent(near, len(systems))}) "
            f"{'lies' if near == 1 else 'lie'} nearer to a drinking-water well than the setback of "
            f"{setback} in the region's rules, as far as wells and fields are mapped."
        )
    if "wells_reached" in systems:
        reach = int((numbers(systems["wells_reached"]) > 0).sum())
        facts.append(
            f"By the flow paths, water from {counted(reach, 'system')} "
            f"({percent(reach, len(systems))}) reaches at least one well."
        )
    if "wells_soon" in systems:
        soon = int((numbers(systems["wells_soon"]) > 0).sum())
        facts.append(f"From {counted(soon, 'system')} it does so within five years.")
    if "nitrogen_kg_yr" in systems:
        total = float(np.nansum(numbers(systems["nitrogen_kg_yr"])))
        load = text(total, MASS_RATE, units)
        facts.append(f"Together the systems send about {load} of nitrogen down.")
    return facts


def summary_blocks(
    systems: pd.DataFrame, columns: Sequence[str], *, units: Units, caption: str
) -> list[Block]:
    """Tables of the columns: quantiles of numbers, counts of words.

    Parameters
    ----------
    systems
        Ranked systems (SI).
    columns
        Columns to sum up.
    units
        ``us`` or ``si``.
    caption
        Beginning of the tables' captions.
    """
    if systems.empty:
        return []
    heads = ("Item", "Unit", "Known for", "A tenth below", "Middle", "A tenth above")
    rows, word_rows = [], []
    for name in columns:
        if column(name).domain or not pd.api.types.is_numeric_dtype(systems[name]):
            word_rows += _word_rows(systems, name, units)
        else:
            rows.append(_number_row(systems, name, units))
    blocks: list[Block] = []
    if rows:
        blocks.append(Table(heads, rows, frozenset({2, 3, 4, 5}), f"{caption}: ranked systems"))
    if word_rows:
        word_heads = ("Item", "Answer", "Systems", "Share")
        blocks.append(Table(word_heads, word_rows, frozenset({2, 3}), f"{caption}: by answer"))
    return blocks


def _number_row(systems: pd.DataFrame, name: str, units: Units) -> tuple[str, ...]:
    values = numbers(systems[name])
    known = values[np.isfinite(values)]
    cells = ["–"] * 3
    scale = features.scale(name, units)
    if len(known):
        ends = quantities.shown(np.quantile(known, [0.1, 0.5, 0.9]), column(name).quantity, units)
        cells = [figure(float(value), scale.decimals) for value in ends]
    return (meaning(name, units), scale.unit, percent(len(known), len(systems)), *cells)


def _word_rows(systems: pd.DataFrame, name: str, units: Units) -> list[tuple[str, ...]]:
    words = systems[name].astype(object).where(systems[name].notna(), "unknown")
    counts = words.value_counts().sort_index().sort_values(ascending=False, kind="stable")
    return [
        (
            meaning(name, units) if not place else "",
            words_of(word, name),
            f"{n:,}",
            percent(n, len(systems)),
        )
        for place, (word, n) in enumerate(counts.items())
    ]
