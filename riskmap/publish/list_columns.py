"""What stands on an inspector's list: columns, widths, meanings and sources."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import pandas as pd

from riskmap.layers import STAGES
from riskmap.publish.display import Units, readable, shown
from riskmap.publish.map_facts import worded


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
    ListColumn("neighbourhood", "Neighbourhood", 17, "Group of parcels", "parcels", wrap=True),
    ListColumn("priority", "Priority", 8.5, "Failure and groundwater score by their shares, 0-100"),
    ListColumn("priority_low", "Priority, low", 8.5, "Lower end of its 90 % range", "this run"),
    ListColumn("priority_high", "Priority, high", 8.5, "Upper end of its 90 % range", "this run"),
    ListColumn(
        "top_chance",
        "Chance of the first",
        9,
        "Chance to be truly among the first, of as many as the list is long, by what is known",
    ),
    ListColumn("priority_rank", "Rank by priority", 9, "Rank where the list is ordered by chance"),
    ListColumn("spoke", "Who ranks", 14, "The score, or what was learnt from visits", wrap=True),
    ListColumn(
        "learnt_chance_frac",
        "Learnt chance",
        9,
        "Chance that visits would find it failed, learnt from visits",
    ),
    ListColumn("priority_class", "Class", 10, "Class of the priority"),
    ListColumn("failure_class", "Failure", 10, "Class of the failure score"),
    ListColumn("groundwater_class", "Groundwater", 12, "Class of the groundwater score"),
    ListColumn("reason_1", "Leading reason", 30, "What adds most points", wrap=True),
    ListColumn("reason_2", "Second reason", 30, "What adds the next most points", wrap=True),
    ListColumn("reason_3", "Third reason", 30, "What adds the third most points", wrap=True),
    ListColumn("unknown", "Not known", 26, "Factors with no record; ask for them", wrap=True),
    ListColumn("kind", "Kind of system", 13, "Kind of onsite system", "permits, inspections"),
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
    "inferred": "from neighbours or a model",
    "assumed": "a stated default: nothing is known",
    "unknown": "no value",
}


def list_table(
    ranked: pd.DataFrame, *, units: Units, owner_columns: tuple[str, ...] = ()
) -> pd.DataFrame:
    """Choose, convert and word the columns; owners only where `owner_columns` names them."""
    source = ranked.reset_index(names="parcel_id")
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


def titled(name: str, *, units: Units) -> ListColumn:
    """Return the column called `name`, its title with the unit that people read."""
    known = {column.name: column for column in COLUMNS}
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
    >>> file_name_of("top_chance", units="si"), file_name_of("learnt_chance_frac", units="us")
    ('top_chance_pct', 'learnt_chance_pct')
    """
    unit = readable(name, units=units).unit
    if unit == "%" and not name.endswith("_pct"):
        return f"{name.removesuffix('_frac')}_pct"
    return f"{name.removesuffix('_m')}_{unit}" if name.endswith("_m") and unit else name
