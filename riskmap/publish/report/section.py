"""What a report is made of: sections of paragraphs, tables and figures, all plain data.

A later part of the program adds to the report by handing over a :class:`Section`; it needs to know
nothing of pages or templates.

>>> section = Section("Ponds", ("Two ponds were seen.", Table(("Pond", "Area"), (("A", "3"),))))
>>> section.anchor, [type(block).__name__ for block in section.blocks]
('ponds', ['str', 'Table'])
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import pandas as pd

from riskmap.publish.words.text_safety import is_missing


@dataclass(frozen=True)
class Figure:
    """A drawing: trusted SVG text, the words below it, and what it shows in words.

    Only drawing functions of this project make one: ``svg`` goes into the page as it is.
    """

    svg: str
    caption: str = ""
    words: str = ""


Cell = str | Figure


@dataclass(frozen=True)
class Table:
    """A table of texts; ``numbers`` are the columns set flush right, ``note`` is below."""

    columns: Sequence[str]
    rows: Sequence[Sequence[Cell]]
    numbers: frozenset[int] = field(default_factory=frozenset)
    caption: str = ""
    note: str = ""


Block = str | Table | Figure


@dataclass(frozen=True)
class Section:
    """A part of the report: a title and, in order, paragraphs (texts), tables and figures."""

    title: str
    blocks: Sequence[Block] = ()

    @property
    def anchor(self) -> str:
        """The title as a name that a link can use."""
        return re.sub(r"[^a-z0-9]+", "-", self.title.lower()).strip("-") or "section"


def table_of(frame: pd.DataFrame, *, caption: str = "", note: str = "") -> Table:
    """Table of a data frame: its columns are the headings, number columns are set right.

    Whole numbers get thousands separators, others three significant digits, missing a dash.

    Parameters
    ----------
    frame
        Values as people read them.
    caption, note
        Text above and below the table; empty: none.

    Examples
    --------
    >>> table_of(pd.DataFrame({"Kind": ["bed"], "Count": [1234], "Share": [0.123456]})).rows
    (('bed', '1,234', '0.123'),)
    """
    kinds = [pd.api.types.is_numeric_dtype(frame.iloc[:, place]) for place in range(frame.shape[1])]
    columns = [[cell(value) for value in frame.iloc[:, place]] for place in range(frame.shape[1])]
    return Table(
        tuple(map(str, frame.columns)),
        tuple(zip(*columns, strict=True)),
        frozenset(place for place, numeric in enumerate(kinds) if numeric),
        caption,
        note,
    )


def cell(value: object) -> Cell:
    """Show one value: numbers readable, missing as a dash."""
    if isinstance(value, Figure):
        return value
    if is_missing(value):
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int) or (hasattr(value, "dtype") and value.dtype.kind in "iu"):
        return f"{value:,}"
    if isinstance(value, float) or hasattr(value, "dtype"):
        return number(float(str(value)))
    return str(value)


def number(value: float) -> str:
    """Three significant digits, without an exponent; a dash where there is none.

    >>> number(1234.5), number(12.345), number(0.01234), number(float("nan"))
    ('1,230', '12.3', '0.0123', '–')
    """
    if pd.isna(value):
        return "–"
    if value == 0:
        return "0"
    rounded = float(f"{value:.3g}")
    if abs(rounded) >= 100:
        return f"{rounded:,.0f}"
    text = f"{rounded:.6f}".rstrip("0").rstrip(".")
    return text if text not in {"0", "-0"} else f"{rounded:.1e}"


def counted(count: int, word: str, many: str | None = None) -> str:
    """Return a number with its word.

    Parameters
    ----------
    count
        Whole number.
    word
        Word for one.
    many
        Word for none or several; None: the word with an s.

    Examples
    --------
    >>> counted(1, "system"), counted(1200, "system"), counted(0, "century", "centuries")
    ('1 system', '1,200 systems', '0 centuries')
    """
    return f"{count:,} {word if count == 1 else many or word + 's'}"
