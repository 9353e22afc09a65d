"""What a list for staff holds: headings, names in CSV files, and the columns of inspections."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd

from riskmap.action.inspections import ALWAYS, look_for
from riskmap.contract.columns import Column, Listed
from riskmap.contract.evidence import mark_of
from riskmap.contract.features import COLUMNS, FAILED_TODAY, as_words, column, shown
from riskmap.contract.quantities import NUMBER, OF_SUFFIX, SHARE, Units, in_units
from riskmap.contract.visits import QUESTIONS
from riskmap.publish.words.chance_words import chance_range, chance_words

AS_RECORDED: Final = Listed(20, "parcels")
"""How a list shows a column that is declared for none."""


@dataclass(frozen=True)
class ResultColumn:
    """One empty column for the inspector; `choices` become a drop-down, `kind` checks the entry."""

    title: str
    width: float
    meaning: str
    choices: tuple[str, ...] = ()
    kind: str = ""


YES_NO: Final = ("yes", "no")


def visit_results(units: Units) -> tuple[ResultColumn, ...]:
    """Columns that the inspector fills in: the questions of every visit.

    >>> [result.title for result in visit_results("us")][3:5]
    ['Found', 'Ponding (in)']
    """
    return filled_in(QUESTIONS, units)


def filled_in(questions: Sequence[Column], units: Units) -> tuple[ResultColumn, ...]:
    """Empty columns for questions, with the choices and checks of each."""
    return tuple(
        ResultColumn(
            heading(asked, units),
            (asked.listed or AS_RECORDED).width,
            asked.meaning,
            YES_NO if asked.dtype == "flag" else asked.domain,
            asked.dtype if asked.dtype in ("date", "number") else "",
        )
        for asked in questions
    )


def inspection_columns() -> list[Column]:
    """Columns of the inspection list, in order: its place, where it is, why, how urgent, and so on.

    >>> [found.name for found in inspection_columns()[:4]]
    ['worklist', 'list_rank', 'parcel_id', 'address']
    """
    listed = [found for found in COLUMNS.values() if found.listed is not None]
    both = []
    for found in listed:
        both.append(found)
        if found.listed is not None and found.listed.also_known_from:
            both.append(replace(column(mark_of(found.name)), listed=Listed(12)))
    return both


def list_table(
    ranked: pd.DataFrame, *, units: Units, owner_columns: tuple[str, ...] = ()
) -> pd.DataFrame:
    """Choose and convert the columns of a list for staff.

    Parameters
    ----------
    ranked
        Rows of the ranked table, in the list's order; index ``parcel_id``.
    units
        ``us`` or ``si``.
    owner_columns
        Private columns to keep; none unless named here.

    Returns
    -------
    DataFrame
        Numbers as people read them, words in place of codes.
    """
    prompts = [own_prompts(row) for row in look_for(ranked)]
    source = ranked.reset_index(names="parcel_id").assign(look_for=prompts)
    if {found.name for found in FAILED_TODAY} <= set(source):
        source["chance_words"] = _in_words(source)
    table = pd.DataFrame(index=source.index)
    for name in [found.name for found in inspection_columns()] + list(owner_columns):
        if name not in source:
            continue
        values = source[name]
        if pd.api.types.is_integer_dtype(values.dtype):
            table[name] = values
        elif pd.api.types.is_numeric_dtype(values.dtype):
            table[name] = shown(values, name, units)
        else:
            table[name] = as_words(values, column(name))
    return table


def own_prompts(prompts: Sequence[str]) -> str:
    """Join what this system calls for; what is looked for at every stop is left out.

    >>> own_prompts((*ALWAYS, "Where the repair was made and how it holds"))
    'Where the repair was made and how it holds'
    """
    return "; ".join(words for words in prompts if words not in ALWAYS)


def for_reading(table: pd.DataFrame) -> pd.DataFrame:
    """Leave out numbers that the workbook says in words, and ranges: the workbook is for people.

    >>> for_reading(pd.DataFrame({"rank": [1], "rank_low": [1.0]})).columns.tolist()
    ['rank']
    """
    listed = [column(str(name)).listed for name in table]
    return table.loc[:, [found is None or found.on_paper for found in listed]]


def _in_words(features: pd.DataFrame) -> list[str | None]:
    """Chance of having failed in words, with its range; None where it is unknown."""
    shares = [features[found.name].astype(float) for found in FAILED_TODAY]
    return [
        None if pd.isna(chance) else f"{chance_words(chance)} ({chance_range(low, high)})"
        for chance, low, high in zip(*shares, strict=True)
    ]


def listed_column(name: str, *, top: int | None = None) -> Column:
    """Return the column called `name` as the inspections' workbook has it.

    `top` is the length of list that the chance is for.
    """
    found = {each.name: each for each in inspection_columns()}.get(name, column(name))
    if name == "top_chance" and top:
        return replace(
            found,
            label=f"Chance, first {top:,}",
            meaning=f"Chance that it belongs among the first {top:,}",
        )
    return found


def heading(found: Column, units: Units) -> str:
    """Heading of a column on a list, with the unit that people read.

    >>> heading(column("well_distance_m"), "us"), heading(column("rank"), "us")
    ('Nearest drinking well (ft)', 'Rank')
    """
    unit = found.quantity.scale(units).unit
    label = in_units(found.label or found.meaning, units)
    return f"{label} ({unit})" if unit else label


def number_form(found: Column, units: Units) -> str:
    """Format of a column's numbers in a workbook.

    >>> number_form(column("lot_m2"), "us"), number_form(column("installed_year"), "us")
    ('#,##0.00', '0')
    """
    decimals = found.quantity.scale(units).decimals
    whole = "#,##0" if found.quantity.grouped else "0"
    return f"{whole}.{'0' * decimals}" if decimals else whole


def file_name_of(found: Column, *, units: Units) -> str:
    """Name of a column in the CSV file: the unit in it is the one of the numbers beneath.

    >>> [file_name_of(column(name), units="us") for name in ("well_distance_m", "age_yr")]
    ['well_distance_ft', 'age_yr']
    >>> [file_name_of(column(name), units="si") for name in ("top_chance", "learned_chance_frac")]
    ['top_chance_pct', 'learned_chance_pct']
    """
    short = found.quantity.scale(units).short
    if not short:
        return found.name
    plain = found.name
    for suffix, quantity in OF_SUFFIX.items():
        same = quantity.si_unit == found.quantity.si_unit != NUMBER.si_unit
        if same and plain.endswith(suffix) and (quantity is not SHARE or suffix == "_frac"):
            plain = plain.removesuffix(suffix)
            break
    return f"{plain}_{short}"
