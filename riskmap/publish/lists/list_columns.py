"""What stands on an inspector's list: columns, widths, meanings and sources."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from riskmap.action.inspections import ALWAYS, look_for
from riskmap.contract.layers import STAGES
from riskmap.publish.map.facts import worded
from riskmap.publish.words.display import Units, readable, shown
from riskmap.publish.words.doubt_words import rough_rank


@dataclass(frozen=True)
class ListColumn:
    """One column: its name in the table, its title on the list, its width in letters."""

    name: str
    title: str
    width: float
    meaning: str
    source: str = "this run"
    wrap: bool = False


@dataclass(frozen=True)
class ResultColumn:
    """One empty column for the inspector; `choices` become a drop-down, `kind` checks the entry."""

    title: str
    width: float
    meaning: str
    choices: tuple[str, ...] = ()
    kind: str = ""


COLUMNS: Final = (
    ListColumn("rank", "Rank", 7, "Place on the list, 1 first"),
    ListColumn("parcel_id", "Parcel", 16, "The county's parcel number", "parcels"),
    ListColumn("address", "Address", 26, "Site address", "parcels", wrap=True),
    ListColumn("neighborhood", "Neighborhood", 17, "Group of parcels", "parcels", wrap=True),
    ListColumn("priority", "Priority", 8.5, "Failure and groundwater score by their shares, 0-100"),
    ListColumn("priority_low", "Priority, low", 8.5, "Lower end of its 90 % range", "this run"),
    ListColumn("priority_high", "Priority, high", 8.5, "Upper end of its 90 % range", "this run"),
    ListColumn("rank_low", "Rank, first", 8.5, "First place of its 90 % range, to two digits"),
    ListColumn("rank_high", "Rank, last", 8.5, "Last place of its 90 % range, to two digits"),
    ListColumn(
        "top_chance",
        "Chance of the first",
        9,
        "Chance to be truly among the first, of as many as the list is long, by what is known",
    ),
    ListColumn("priority_rank", "Rank by priority", 9, "Rank where the list is ordered by chance"),
    ListColumn("spoke", "Who ranks", 14, "The score, or what was learned from visits", wrap=True),
    ListColumn(
        "learned_chance_frac",
        "Learned chance",
        9,
        "Chance that visits would find it failed, learned from visits",
    ),
    ListColumn("priority_class", "Class", 10, "Class of the priority"),
    ListColumn("failure_class", "Failure", 10, "Class of the failure score"),
    ListColumn("groundwater_class", "Groundwater", 12, "Class of the groundwater score"),
    ListColumn("reason_1", "Leading reason", 28, "What adds most points", wrap=True),
    ListColumn("reason_2", "Second reason", 26, "What adds the next most points", wrap=True),
    ListColumn("reason_3", "Third reason", 26, "What adds the third most points", wrap=True),
    ListColumn("look_for", "Look for", 62, "Beside what is looked for at every stop", wrap=True),
    ListColumn("unknown", "Not known", 24, "Factors with no record; ask for them", wrap=True),
    ListColumn("kind", "Kind of system", 13, "Kind of onsite system", "permits, inspections"),
    ListColumn("stage", "Likely state", 11, "The field's likely state by the model (see below)"),
    ListColumn("stage_evidence", "State known from", 11, "What that estimate rests on"),
    ListColumn("age_yr", "Age", 8, "Age of the present system", "permits, parcels"),
    ListColumn("age_yr_evidence", "Age known from", 12, "How the age is known (see below)"),
    ListColumn(
        "years_since_pumped_yr",
        "Since last pump-out",
        12,
        "Years since the last pump-out on record; empty: none on record",
        "permits, inspections",
    ),
    ListColumn(
        "well_distance_m", "Nearest drinking well", 12, "From the likely treatment area", "wells"
    ),
)
"""In the order an inspector reads: where, how urgent, why, what to ask for, what to look at."""

READ: Final = (
    ListColumn("priority_range", "Priority, range", 10, "Where nine draws in ten fall (see below)"),
    ListColumn("rank_range", "Rank, range", 14, "The same for the rank, to two digits"),
)
"""Columns that stand for two in the workbook."""

RESULTS: Final = (
    ResultColumn("Visited on", 12, "Date of the visit", kind="date"),
    ResultColumn("By", 10, "Inspector's initials"),
    ResultColumn("Access", 11, "How much could be seen", ("full", "part", "none")),
    ResultColumn("Found", 11, "State of the system as seen", STAGES),
    ResultColumn("Well sampled", 11, "Whether a water sample was taken", ("yes", "no")),
    ResultColumn(
        "Next step",
        15,
        "What is to follow",
        ("none", "pump-out", "repair", "second visit", "refer"),
    ),
    ResultColumn("Notes", 34, "Anything the next visitor must know"),
)
"""Columns that the inspector fills in."""

EVIDENCE_MEANINGS: Final = {
    "measured": "from a permit, an inspection or a well log",
    "mapped": "from a survey or a grid",
    "inferred": "from neighbors or a model",
    "assumed": "a stated default: nothing is known",
    "unknown": "no value",
}


def list_table(
    ranked: pd.DataFrame, *, units: Units, owner_columns: tuple[str, ...] = ()
) -> pd.DataFrame:
    """Choose, convert and word the columns; owners only where `owner_columns` names them."""
    prompts = [own_prompts(row) for row in look_for(ranked)]
    source = ranked.reset_index(names="parcel_id").assign(look_for=prompts)
    for name in {"rank_low", "rank_high"} & set(source):
        source[name] = rough_rank(source[name])
    table = pd.DataFrame(index=source.index)
    wanted = [column.name for column in COLUMNS] + list(owner_columns)
    for name in wanted:
        if name not in source:
            continue
        values = source[name]
        if name in {"rank", "priority", "priority_rank"}:
            table[name] = values.round(1) if name == "priority" else values
        elif pd.api.types.is_numeric_dtype(values.dtype):
            table[name] = shown(values, readable(name, units=units))
        else:
            table[name] = worded(values) if name == "kind" or name == "unknown" else values
    return table


def own_prompts(prompts: Sequence[str]) -> str:
    """Join what this system calls for; what is looked for at every stop is left out.

    >>> own_prompts((*ALWAYS, "Where the repair was made and how it holds"))
    'Where the repair was made and how it holds'
    """
    return "; ".join(words for words in prompts if words not in ALWAYS)


def for_reading(table: pd.DataFrame) -> pd.DataFrame:
    """Put both ends of a range into one column of text: the workbook is for people.

    >>> for_reading(pd.DataFrame({"rank_low": [3.0, None], "rank_high": [65.0, None]}))
      rank_range
    0    3 to 65
    1       None
    """
    read = table.copy()
    for kind in ("priority", "rank"):
        low, high = f"{kind}_low", f"{kind}_high"
        if low not in read or high not in read:
            continue
        words = [_range(*ends) for ends in zip(read[low], read[high], strict=True)]
        place = int(np.flatnonzero(read.columns == low)[0])
        read.insert(place, f"{kind}_range", pd.Series(words, index=read.index, dtype=object))
        read = read.drop(columns=[low, high])
    return read


def _range(low: float, high: float) -> str | None:
    return None if pd.isna(low) or pd.isna(high) else f"{low:.0f} to {high:.0f}"


def titled(name: str, *, units: Units, top: int | None = None) -> ListColumn:
    """Return the column called `name`, its title with the unit that people read.

    `top` is the length of list that the chance speaks of.
    """
    known = {column.name: column for column in (*COLUMNS, *READ)}
    if name == "top_chance" and top:
        meaning = f"Chance to be truly among the first {top:,}, by what is known"
        return ListColumn(name, f"Chance, first {top:,} (%)", 9, meaning)
    plain = ListColumn(name, name.replace("_", " ").capitalize(), 20, "As recorded", "parcels")
    column = known.get(name, plain)
    unit = readable(name, units=units).unit
    if not unit or name in {"rank", "priority"}:
        return column
    title = f"{column.title} ({unit})"
    return ListColumn(name, title, column.width, column.meaning, column.source, column.wrap)


def file_name_of(name: str, *, units: Units) -> str:
    """Name of a column in the CSV file: the unit in it is the one of the numbers beneath.

    >>> file_name_of("well_distance_m", units="us"), file_name_of("age_yr", units="us")
    ('well_distance_ft', 'age_yr')
    >>> file_name_of("top_chance", units="si"), file_name_of("learned_chance_frac", units="us")
    ('top_chance_pct', 'learned_chance_pct')
    """
    unit = readable(name, units=units).unit
    if unit == "%" and not name.endswith("_pct"):
        return f"{name.removesuffix('_frac')}_pct"
    return f"{name.removesuffix('_m')}_{unit}" if name.endswith("_m") and unit else name
