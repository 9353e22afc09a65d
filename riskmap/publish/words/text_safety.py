r"""Make text from outside harmless before it reaches a spreadsheet, a page or a script.

Spreadsheets run a cell that begins with ``=``, ``+``, ``-``, ``@``, tab, carriage return, line feed
or NUL (OWASP Application Security Verification Standard 1.2.10; OWASP page on CSV injection). Such
a text gets a single quote in front. Numbers stay numbers: only text is touched.

>>> spreadsheet_text("=1+1")
"'=1+1"
>>> print(csv_field('a "b" c'))
"a ""b"" c"
"""

from __future__ import annotations

import html
import json
import math
import numbers
import re
from typing import Final

import pandas as pd

STARTS: Final = "=+-@\t\r\n\0"
"""First characters that make a spreadsheet run a cell."""

WIDE_STARTS: Final = "\uff1d\uff0b\uff0d\uff20"
"""The same signs in full width, which some spreadsheets treat alike (common practice)."""

TEMPLATE_OPENS: Final = re.compile(r"\{(?=[{%#])")
_UNSEEN: Final = re.compile(r"[\s\u200b-\u200f\u2060\ufeff]+")
_BIDI: Final = re.compile(r"[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_CONTROL: Final = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff\ud800-\udfff]+")


def plain_text(value: object) -> str:
    r"""One line of text for people: control and direction marks out, missing as empty.

    Marks that turn the reading direction can make one address look like another.

    >>> plain_text("12 Oak\u202e Lane\r\nB")
    '12 Oak Lane B'
    """
    if is_missing(value):
        return ""
    text = str(value)
    if text.isascii() and text.isprintable():
        return text.strip()
    return _CONTROL.sub(" ", _BIDI.sub("", text)).strip()


def spreadsheet_text(value: object) -> str:
    """Text that no spreadsheet runs; blanks and unseen marks in front do not hide a sign.

    >>> spreadsheet_text("+1 555 0100"), spreadsheet_text("@Smith"), spreadsheet_text("Elm 4")
    ("'+1 555 0100", "'@Smith", 'Elm 4')
    """
    if is_missing(value):
        return ""
    raw = str(value)
    text = plain_text(raw)
    firsts = {raw[:1], *(_UNSEEN.sub("", form)[:1] for form in (raw, text))}
    if firsts & set(STARTS + WIDE_STARTS):
        return f"'{text}" if text else ""
    return text


def csv_field(value: object) -> str:
    """One field by RFC 4180, made safe; numbers are written as numbers, missing as empty."""
    if is_missing(value):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, numbers.Real):
        return _number(float(value))
    text = spreadsheet_text(value)
    if any(sign in text for sign in '",\r\n;') or text != text.strip():
        return '"' + text.replace('"', '""') + '"'
    return text


def csv_text(table: pd.DataFrame) -> str:
    """Render a table's columns by RFC 4180: header line, CRLF after every line, no index."""
    columns = [_csv_column(table.iloc[:, place]) for place in range(table.shape[1])]
    lines = [",".join(csv_field(str(name)) for name in table.columns)]
    lines.extend(map(",".join, zip(*columns, strict=True)))
    return "\r\n".join(lines) + "\r\n"


def _csv_column(values: pd.Series) -> list[str]:
    """Fields of one column; each distinct value is written once."""
    rows, distinct = pd.factorize(values.astype(object))
    fields = [*(csv_field(value) for value in distinct), ""]
    return [fields[row] for row in rows]


def html_text(value: object) -> str:
    """Text for HTML bodies and quoted attributes."""
    return html.escape(plain_text(value), quote=True)


def script_json(value: object) -> str:
    r"""JSON that is safe inside a script element: no tag can end it, no line mark breaks it.

    Signs that open a block of a template engine are written as escapes as well: outside of strings
    JSON never has them.

    >>> script_json("</script>")
    '"\\u003c/script\\u003e"'
    """
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    text = text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
    return TEMPLATE_OPENS.sub(r"\\u007b", text)


def is_missing(value: object) -> bool:
    """Whether a cell holds nothing: None, NaN, NA or NaT.

    >>> is_missing(float("nan")), is_missing(0), is_missing("")
    (True, False, False)
    """
    if value is None or type(value).__name__ in {"NAType", "NaTType"}:
        return True
    return isinstance(value, numbers.Real) and math.isnan(float(value))


def _number(value: float) -> str:
    if math.isinf(value):
        return ""
    return str(int(value)) if value == int(value) else repr(round(value, 6))
