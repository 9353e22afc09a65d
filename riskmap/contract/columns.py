"""The form in which a column is declared: everything about it, once.

A :class:`Column` says what a column of a table holds, how far it may be off, how people read it and
where they meet it. Layers that readers deliver, features that the inventory computes, scores and
the tables of a result are all made of it; checks, the dictionary, the map's card, the lists, the
day sheets, the report and the descriptions of the GIS files read it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import KW_ONLY, dataclass, field
from typing import Any, Final, Literal

from riskmap.contract.quantities import CALENDAR_YEAR, NUMBER, PERCENT, Quantity, of_unit

Dtype = Literal["text", "number", "whole", "flag", "date"]
Shape = Literal["polygon", "line", "point", "table", "raster"]


@dataclass(frozen=True)
class Spread:
    """How far a column may be from the truth, by the evidence behind it.

    Every spread is an assumption of this project, no source. A ``normal`` one is a standard
    deviation in the column's own unit, a ``lognormal`` one a standard deviation of the natural
    logarithm, a ``word`` one the chance that another of the county's words is the true one.
    ``shared`` is an error that all parcels have together (a physical constant that is off, a survey
    that reads too wet), in the same terms.
    """

    shape: Literal["normal", "lognormal", "word"]
    measured: float
    mapped: float
    inferred: float
    assumed: float
    shared: float = 0.0


def normal(measured: float, mapped: float, inferred: float, assumed: float) -> Spread:
    """Make a spread in the column's own unit.

    Parameters
    ----------
    measured, mapped, inferred, assumed
        Standard deviation by evidence, in the column's unit.
    """
    return Spread("normal", measured, mapped, inferred, assumed)


def lognormal(
    measured: float, mapped: float, inferred: float, assumed: float, *, shared: float = 0.0
) -> Spread:
    """Make a spread of the natural logarithm.

    Parameters
    ----------
    measured, mapped, inferred, assumed
        Standard deviation of the natural logarithm by evidence.
    shared
        That of the error which all parcels have together.
    """
    return Spread("lognormal", measured, mapped, inferred, assumed, shared)


def other_word(measured: float, mapped: float, inferred: float, assumed: float) -> Spread:
    """Make a spread of words: chances that another word is the true one.

    Parameters
    ----------
    measured, mapped, inferred, assumed
        Chance by evidence, 0..1.
    """
    return Spread("word", measured, mapped, inferred, assumed)


@dataclass(frozen=True)
class Prompt:
    """What an inspector looks for where a column is at least or at most a limit, or one of words.

    The lowest ``urgency`` is printed first.
    """

    urgency: float
    words: str
    least: float | None = None
    most: float | None = None
    among: tuple[str, ...] = ()


@dataclass(frozen=True)
class Listed:
    """How a list for staff shows a column.

    Parameters
    ----------
    width
        Width in letters.
    source
        Layers that it comes from.
    wrap
        Whether long text runs over several lines.
    title
        Heading, where it is not the column's label.
    also_known_from
        Whether a column with its evidence follows.
    on_paper
        Whether the workbook has it too, or the CSV file alone.
    """

    width: float
    source: str = "this run"
    wrap: bool = False
    title: str = ""
    also_known_from: bool = False
    on_paper: bool = True


@dataclass(frozen=True)
class Column:
    """One column of a table.

    Parameters
    ----------
    name, meaning
        Name in files, and one line for people. Lengths in the text are written ``{150 m}`` and are
        read in the units of the reader.
    dtype, quantity
        What it holds; the quantity gives the SI unit and how numbers are read.
    low, high
        Bounds of what is physically possible, not of what is usual.
    domain
        The words that a text column may hold.
    nullable, private
        Whether values may be missing; whether it is dropped on reading unless the region file asks
        for it.
    evidence
        Whether a companion ``<name>_evidence`` says how each value is known.
    label
        Short words for a card, a list, a sheet.
    words
        Word of the table -> word that people read, where it is not the same.
    noun
        What is counted, one and many, in running text: ("complaint", "complaints").
    spread
        How far it may be off; by its quantity where not given.
    card
        Group of the map's card; empty: not on the card.
    none
        Words for 0 on the card, of years that the model looks ahead.
    with_wells
        Whether the card's list of wells has it already.
    filtered
        Whether the map filters by it.
    listed, sheet
        How a list shows it; whether the day sheet has it.
    in_report
        Part of the report that sums it up, besides the part of its own package.
    prompts
        What to look for on a visit.
    lookup
        The look-up that would give it, of those of :mod:`riskmap.ranking.information`.
    asked
        What to ask for where it is unknown; by its factor's label where not given.
    depends_on
        Recorded columns that a computed one depends on.
    from_visits
        Whether it is made from the visits that learning takes its labels from.
    of_components
        Column of the rated soil components that it is made of.
    """

    name: str
    meaning: str
    dtype: Dtype = "number"
    quantity: Quantity = NUMBER
    low: float | None = None
    high: float | None = None
    domain: tuple[str, ...] = ()
    nullable: bool = True
    private: bool = False
    _: KW_ONLY
    evidence: bool = False
    label: str = ""
    words: Mapping[str, str] = field(default_factory=dict)
    noun: tuple[str, str] | None = None
    spread: Spread | None = None
    card: str = ""
    none: str = ""
    with_wells: bool = False
    filtered: bool = False
    listed: Listed | None = None
    sheet: bool = False
    in_report: str = ""
    prompts: tuple[Prompt, ...] = ()
    lookup: str = ""
    asked: str = ""
    depends_on: tuple[str, ...] = ()
    from_visits: bool = False
    of_components: str = ""

    @property
    def unit(self) -> str:
        """SI unit."""
        return self.quantity.si_unit


@dataclass(frozen=True)
class Layer:
    """One canonical layer: its kind of shape, key column and columns."""

    name: str
    kind: Shape
    meaning: str
    columns: tuple[Column, ...]
    key: str | None = None
    required: bool = False
    title: str = ""

    @property
    def column_names(self) -> list[str]:
        """Names of all declared columns, in order."""
        return [column.name for column in self.columns]

    def column(self, name: str) -> Column:
        """Return the declared column called `name`; KeyError if there is none."""
        return {column.name: column for column in self.columns}[name]


PANDAS_DTYPE: Final[Mapping[Dtype, Any]] = {
    "text": "string",
    "number": "float64",
    "whole": "Int64",
    "flag": "boolean",
    "date": "datetime64[ns]",
}
"""How a column is held in a table."""

FIRST_YEAR: Final = 1850.0
LAST_YEAR: Final = 2100.0
"""Years outside are refused as impossible: no record of an onsite system is older."""


def text(name: str, meaning: str, domain: tuple[str, ...] = (), **more: Any) -> Column:
    """Make a text column.

    Parameters
    ----------
    name, meaning
        As in :class:`Column`.
    domain
        The words that it may hold; empty: any text.
    **more
        Further fields of :class:`Column`.
    """
    return Column(name, meaning, "text", domain=domain, **more)


def number(
    name: str,
    meaning: str,
    quantity: Quantity | str = NUMBER,
    low: float | None = None,
    high: float | None = None,
    **more: Any,
) -> Column:
    """Make a number column.

    Parameters
    ----------
    name, meaning
        As in :class:`Column`.
    quantity
        A quantity, or an SI unit for its plain one.
    low, high
        Bounds of what is physically possible.
    **more
        Further fields of :class:`Column`.
    """
    kind = of_unit(quantity) if isinstance(quantity, str) else quantity
    return Column(name, meaning, "number", kind, low, high, **more)


def year(name: str, meaning: str, **more: Any) -> Column:
    """Make a column of calendar years."""
    return number(name, meaning, CALENDAR_YEAR, FIRST_YEAR, LAST_YEAR, **more)


def key(name: str, meaning: str, **more: Any) -> Column:
    """Make a key column."""
    return Column(name, meaning, "text", nullable=False, **more)


def date(name: str, meaning: str, **more: Any) -> Column:
    """Make a date column."""
    return Column(name, meaning, "date", **more)


def flag(name: str, meaning: str, **more: Any) -> Column:
    """Make a column of yes and no."""
    return Column(name, meaning, "flag", **more)


def percent(name: str, meaning: str) -> Column:
    """Make a percent column."""
    return number(name, meaning, PERCENT, 0, 100)


def private(name: str, meaning: str) -> Column:
    """Make a private column."""
    return Column(name, meaning, "text", private=True)
