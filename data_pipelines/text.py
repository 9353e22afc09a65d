"""Bytes of a text file to text."""

from __future__ import annotations

import codecs
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from data_pipelines.defect_log import DefectLog
from data_pipelines.files import (
    FETCH_AGAIN,
    TEXT_SUFFIXES,
    demand_file,
    innermost_archive,
    read_bytes,
    read_member,
    refuse_disguise,
    tell_inner,
    zip_members,
)
from riskmap.contract.errors import SourceFormatError

_MARKS: Final = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
BYTES_CODE: Final = "ISO-8859-1"
"""Encoding that keeps each byte as a letter of its own."""
_MOST_ZEROS: Final = 0.001
"""Share of binary zeros above which a file is no text."""


def is_text_table(path: Path) -> bool:
    """Whether `path` is delimited text by its suffix, or a zip file of one such file."""
    return path.suffix.lower() in TEXT_SUFFIXES or _text_member(path) is not None


def _text_member(path: Path) -> str | None:
    if path.suffix.lower() != ".zip" or not path.is_file():
        return None
    try:
        members = zip_members(innermost_archive(path, ""), "")
    except SourceFormatError:
        return None
    one = len(members) == 1 and members[0].lower().endswith(TEXT_SUFFIXES)
    return members[0] if one else None


def read_text(path: Path, layer: str, log: DefectLog | None = None) -> str:
    """Text of a file: by its byte-order mark, else UTF-8, else Windows-1252 line by line.

    Lines that are no UTF-8 are told in `log`, where one is given; the others keep their letters.

    Raises
    ------
    SourceMissingError, SourceFormatError
        If the file is absent, may not be read, is empty, or is no text.
    """
    demand_file(path, layer)
    member = _text_member(path)
    if member is None:
        content = read_bytes(path, layer)
    else:
        inner = innermost_archive(path, layer)
        tell_inner(log, path, inner)
        content = read_member(inner, member, layer)
    if not content.strip():
        raise SourceFormatError(layer, f"{path.name} is empty.", FETCH_AGAIN)
    refuse_disguise(content, path.name, layer)
    text = _decoded(content, path.name, log)
    if text.startswith(("PK\x03", "SQLite format 3")) or text.count("\0") > _MOST_ZEROS * len(text):
        raise SourceFormatError(
            layer, f"{path.name} is no text (it holds binary zeros).", "Save it as CSV in UTF-8."
        )
    return text


def _decoded(content: bytes, name: str, log: DefectLog | None) -> str:
    for mark, code in _MARKS:
        if content.startswith(mark):
            return content.decode(code, errors="replace")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        lines = [_line(line) for line in content.split(b"\n")]
    odd = sum(is_odd for _, is_odd in lines)
    if log is not None:
        log.note("", "not_utf8", f"{odd} lines", "these read as Windows-1252", row=name)
    return "\n".join(line for line, _ in lines)


def _line(line: bytes) -> tuple[str, bool]:
    try:
        return line.decode("utf-8"), False
    except UnicodeDecodeError:
        return line.decode("cp1252", errors="replace"), True


def decoded_column(column: NDArray[Any]) -> NDArray[Any]:
    """Read text that came as bytes (:data:`BYTES_CODE`) as UTF-8, else as Windows-1252."""
    if column.dtype != object:
        return column
    cells = [
        _decoded_cell(cell) if isinstance(cell, str) and not cell.isascii() else cell
        for cell in column
    ]
    result = np.empty(len(cells), dtype=object)
    result[:] = cells
    return result


def _decoded_cell(cell: str) -> str:
    try:
        content = cell.encode("latin-1")
    except UnicodeEncodeError:
        return cell
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")
