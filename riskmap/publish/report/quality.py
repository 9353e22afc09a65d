"""Parts of the report: defects in the data, and which records to collect next."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from riskmap.contract.features import FEATURES, INVENTORY, as_word, label, meaning
from riskmap.contract.quantities import Units, percent
from riskmap.publish.report.section import Block, Section, Table, counted, number
from riskmap.publish.words.report_text import evidence_counts, words_of
from riskmap.publish.words.text_safety import plain_text
from riskmap.ranking.model import Model

DEFECT_ROWS: Final = 40

INFORMATION_HEADS: Final = {
    "label": "Record",
    "parcels": "Parcels where it could matter",
    "gain": "Gain",
    "gain_per_100": "Gain per 100 look-ups",
    "minutes": "Minutes a look-up",
    "gain_per_hour": "Gain per hour",
}
"""Columns of the table of the value of records -> headings."""


def quality_section(
    defects: pd.DataFrame | None, *, rows_read: Mapping[str, int] | None = None
) -> Section:
    """Every kind of defect, where, how often, and what was done about it."""
    blocks: list[Block] = []
    if rows_read:
        listed = "; ".join(f"{as_word(name)} {count:,}" for name, count in rows_read.items())
        blocks.append(f"Rows read, by layer: {listed}.")
    if defects is None or defects.empty:
        return Section("Data quality", ("No defect was found in the records.", *blocks))
    counts = defect_counts(defects)
    rows = [
        (words_of(layer), column, words_of(check), words_of(action), f"{count:,}")
        for layer, column, check, action, count in counts.head(DEFECT_ROWS).itertuples(index=False)
    ]
    note = "Every single one is in data_quality.csv."
    if len(counts) > DEFECT_ROWS:
        rest = int(counts["count"].iloc[DEFECT_ROWS:].sum())
        note = f"{counted(rest, 'more defect')} of other kinds. {note}"
    heads = ("Layer", "Column", "What is wrong", "What was done", "Rows")
    text = (
        f"{counted(len(defects), 'defect')} "
        f"{'was' if len(defects) == 1 else 'were'} met in reading the sources. None was passed "
        "over in silence: a value that cannot be right is set to missing, never to a number."
    )
    table = Table(heads, rows, frozenset({4}), "Defects by layer and kind", note)
    return Section("Data quality", (text, table, *blocks))


def defect_counts(defects: pd.DataFrame) -> pd.DataFrame:
    """Defects by layer, column, check and action; the most frequent first, then by name."""
    keys = ["layer", "column", "check", "action"]
    table = defects.reindex(columns=keys).fillna("").astype(str)
    counts = table.value_counts(sort=False).reset_index(name="count")
    return counts.sort_values(["count", *keys], ascending=[False, *[True] * 4], ignore_index=True)


def missing_records(ranked: pd.DataFrame, model: Model, *, top: int) -> pd.DataFrame:
    """Count, for each item that the model depends on, the systems of which it is not known.

    Items are what a record or a visit could give. A computed column is no record: its weight goes
    to the columns that it depends on, in full to each, since each alone would spoil it.

    Parameters
    ----------
    ranked
        The ranked table with evidence marks.
    model
        The scoring model.
    top
        Length of the list.

    Returns
    -------
    DataFrame
        Index: item; ``head`` and ``all`` (not known, or only a stated default, among the first
        `top` and among all ranked), ``weight`` (points of the priority that depend on it); sorted
        by missing at the head times weight, the largest first.
    """
    systems = ranked[ranked["rank"].notna()]
    head = systems[(systems["rank"] <= top).to_numpy(bool)]
    rows: dict[str, dict[str, float]] = {}
    observed = {found.name for found in INVENTORY}
    read = [factor.feature for factor in model.factors if factor.feature in observed]
    behind = [name for found in FEATURES.values() for name in found.depends_on]
    for column in dict.fromkeys([*read, *behind]):
        weight = _points_hanging_on(column, model)
        if column not in systems or not weight:
            continue
        missing = [sum(evidence_counts(table, column)[-2:]) for table in (head, systems)]
        rows[column] = {"head": missing[0], "all": missing[1], "weight": weight}
    found = pd.DataFrame(list(rows.values()), index=list(rows), columns=["head", "all", "weight"])
    wanted = (found["head"] * found["weight"]).to_numpy()
    return found.iloc[np.argsort(-wanted, kind="stable")]


def _points_hanging_on(column: str, model: Model) -> float:
    names = {column, *(found.name for found in FEATURES.values() if column in found.depends_on)}
    return sum(
        factor.weight * model.scale(factor.score) * model.share(factor.score)
        for factor in model.factors
        if factor.feature in names
    )


def collect_section(
    ranked: pd.DataFrame,
    model: Model,
    *,
    units: Units,
    top: int,
    information: pd.DataFrame | None,
) -> Section:
    """Which records are missing where it matters, and what looking them up would bring.

    Parameters
    ----------
    ranked, model, units, top, information
        As in :func:`riskmap.publish.report.pages.key_facts`.
    """
    title = "What to collect next"
    systems = int(ranked["rank"].notna().sum())
    if not systems:
        return Section(title, ("No parcel is ranked.",))
    found = missing_records(ranked, model, top=top)
    found = found[found["all"] > 0]
    blocks: list[Block] = []
    if information is not None and len(information):
        blocks += _information_blocks(information)
    if found.empty:
        return Section(title, (*blocks, "Nothing that the ranking reads is missing."))
    rows = [
        (
            meaning(str(column), units),
            f"{int(row['head']):,}",
            percent(row["head"], top),
            f"{int(row['all']):,}",
            percent(row["all"], systems),
            f"{row['weight']:.1f}",
        )
        for column, row in found.iterrows()
    ]
    heads = (
        "Item",
        f"Missing in the first {top:,}",
        "Share",
        "Missing in all",
        "Share",
        "Points that depend on it",
    )
    first = str(found.index[0])
    text = (
        "What is missing, and how often: an item counts as missing where nothing is known or only "
        "a stated default is used. First comes what is missing most often at the head of the list "
        f"and weighs most in the scores: here {_low(label(first, units))}."
    )
    table = Table(
        heads, rows, frozenset(range(1, 6)), f"Missing among {counted(systems, 'ranked system')}"
    )
    return Section(title, (*blocks, text, table))


def look_up_facts(information: pd.DataFrame | None) -> list[str]:
    """Say which record to collect first, where a run knows what look-ups would bring."""
    if information is None or not len(information) or not information["gain"].iloc[0] > 0:
        return []
    return [f"Most useful record to look up first: {plain_text(information['label'].iloc[0])}."]


def _information_blocks(information: pd.DataFrame) -> list[Block]:
    named = [name for name in INFORMATION_HEADS if name in information]
    others = [c for c in information.columns if c not in {*named, "record", "label"}]
    columns = [*named, *others]
    if "label" not in columns and "record" in information:
        columns.insert(0, "record")
    numeric = frozenset(
        place
        for place, name in enumerate(columns)
        if pd.api.types.is_numeric_dtype(information[name])
    )
    rows = [
        tuple(
            number(float(value)) if place in numeric else _sentence(value)
            for place, value in enumerate(row)
        )
        for row in information[columns].itertuples(index=False)
    ]
    heads = tuple(INFORMATION_HEADS.get(str(c), words_of(str(c))) for c in columns)
    text = (
        "What a look-up would bring: the systems of the true head of the list that would be won if "
        "the record were collected where it helps most. The minutes are assumptions; put in your "
        "own."
    )
    return [text, Table(heads, rows, numeric, "Records by what an hour of work brings")]


def _sentence(value: object) -> str:
    text = plain_text(value)
    return text[:1].upper() + text[1:]


def _low(text: str) -> str:
    return text[:1].lower() + text[1:]
