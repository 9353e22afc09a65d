"""Set pages with typst: text from data goes in as JSON and is never read as markup.

Only the fonts inside the typst wheel are used, so that every machine sets the same pages; letters
that they lack (Arabic, Chinese) show as empty boxes.
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Final

import typst

from riskmap.contract.errors import OutputError
from riskmap.publish import palette
from riskmap.publish.words.text_safety import is_missing, plain_text

PAPER: Final = Path(__file__).parent
"""Folder of the page templates and letter texts."""

COLORS: Final = {
    "ink": palette.INK,
    "soft": palette.SOFT_INK,
    "line": palette.LINE,
    "outline": palette.OUTLINE,
    "accent": palette.ACCENT,
    "pale": palette.ACCENT_PALE,
    "warn": palette.WARN_INK,
    "warn_paper": palette.WARN_PAPER,
    "wells": palette.LAYER_COLORS["wells"],
    "water": palette.LAYER_COLORS["streams"],
    "buildings": palette.LAYER_COLORS["buildings"],
    "roads": palette.LAYER_COLORS["roads"],
}
LONGEST: Final = 160
"""Letters of one field; a longer one would push the rest off the page."""


def typeset(
    template: str, data: Mapping[str, object], *, date: datetime.date, paper: str = "us-letter"
) -> bytes:
    """Set one document.

    Parameters
    ----------
    template
        Name of a template in ``paper/`` without ``.typ``; ``frame.typ`` is put before it.
    data
        JSON values; the template finds them in ``data``.
    date
        Date written into the file, so that the same input gives the same bytes.
    paper
        ``us-letter`` or ``a4``.

    Returns
    -------
    bytes
        The PDF file, tagged for screen readers.

    Raises
    ------
    OutputError
        If typst refuses the document.
    """
    sources = [(PAPER / f"{name}.typ").read_text(encoding="utf-8") for name in ("frame", template)]
    moment = datetime.datetime(date.year, date.month, date.day, tzinfo=datetime.UTC)
    content = {**data, "paper": paper, "colors": COLORS}
    try:
        return typst.compile(
            "\n".join(sources).encode("utf-8"),
            ignore_system_fonts=True,
            sys_inputs={"data": json.dumps(content, ensure_ascii=True, allow_nan=False)},
            timestamp=moment,
        )
    except typst.TypstError as error:
        raise OutputError(f"{template}: the pages could not be set ({error.message}).") from error


def field(value: object, longest: int = LONGEST) -> str:
    r"""Text of one field: one line, no unseen marks, cut where it would break the page.

    >>> field("Elm\u202e Street\n4"), field(None), field("x" * 20, 5)
    ('Elm Street 4', '', 'xxxx…')
    """
    text = " ".join(plain_text(value).split())
    return text if len(text) <= longest else text[: longest - 1] + "…"


def whole(value: object) -> str:
    """Whole number as text, empty where missing."""
    return "" if is_missing(value) else f"{float(str(value)):.0f}"


def paper_of(units: str) -> str:
    """Paper that an office with these units has in its printer."""
    return "us-letter" if units == "us" else "a4"


def write_pdf(path: Path, content: bytes) -> Path:
    """Write a document, making its folder."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return path
