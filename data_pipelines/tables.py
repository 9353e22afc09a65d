"""Parses tables without shapes: delimited text, and the attribute table of any vector format.

Row labels: the 1-based number of the record, as text; with several files ``stem#number``.
"""

from __future__ import annotations

import csv
import io
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import pandas as pd
import pyogrio.errors
import pyogrio.raw

from data_pipelines.columns import Defaults, resolve
from data_pipelines.defect_log import DefectLog
from data_pipelines.mapping import complete_keys, map_columns
from data_pipelines.sheets import read_headings
from riskmap.contract.columns import Layer
from riskmap.contract.errors import LayerError, SourceFormatError, SourceMissingError
from riskmap.contract.sources import Source

read_headings()

TEXT_SUFFIXES: Final = (".csv", ".tsv", ".txt", ".tab", ".rdb", ".dat")


@contextmanager
def quiet() -> Iterator[None]:
    """Silence what the readers handle themselves: measured lines, odd rings, no system."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        warnings.simplefilter("ignore", RuntimeWarning)
        yield


def is_text_table(path: Path) -> bool:
    """Whether `path` is delimited text by its suffix."""
    return path.suffix.lower() in TEXT_SUFFIXES


def demand_file(path: Path, layer: str) -> None:
    """Raise SourceMissingError unless `path` is there."""
    if not path.exists():
        raise SourceMissingError(
            layer, f"the file {path.name} is not there.", "Correct its path in the region file."
        )


def read_text(path: Path, layer: str) -> str:
    """Text of a file in UTF-8 (with or without a byte-order mark) or else Windows-1252."""
    demand_file(path, layer)
    content = path.read_bytes()
    if not content.strip():
        raise SourceFormatError(layer, f"{path.name} is empty.", "Fetch it again.")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def parse_table(
    path: Path,
    *,
    layer: str,
    table: str | None = None,
    columns: Sequence[str] | None = None,
) -> pd.DataFrame:
    """Read a table as it stands: text cells for delimited text, typed ones for vector formats.

    Parameters
    ----------
    columns
        Only these are read, so that personal data nobody asked for goes no further.
    """
    if is_text_table(path):
        text = read_text(path, layer)
        return parse_delimited(text, layer=layer, name=path.name, columns=columns)
    return _parse_attributes(path, layer=layer, table=table, columns=columns)


def parse_delimited(
    text: str, *, layer: str, name: str, columns: Sequence[str] | None = None
) -> pd.DataFrame:
    """Parse comma, tab, semicolon or pipe separated text; all cells stay text.

    Comment lines (``#``) and the format row of RDB (``5s  15s  10d``) are left out.
    """
    body, comments = _without_comments(text)
    delimiter = _delimiter(body)
    try:
        frame = pd.read_csv(
            io.StringIO(body),
            sep=delimiter,
            dtype=str,
            keep_default_na=False,
            skipinitialspace=delimiter != "\t",
            quoting=csv.QUOTE_NONE if comments and delimiter == "\t" else csv.QUOTE_MINIMAL,
            index_col=False,
            usecols=None if columns is None else lambda column: column.strip() in columns,
        )
    except (pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise SourceFormatError(
            layer, f"{name} is not a plain table: {error}.", "Save it again as CSV in UTF-8."
        ) from error
    frame.columns = frame.columns.str.strip()
    if len(frame) and frame.iloc[0].str.fullmatch(r"\d+[sdn]").all():
        frame = frame.iloc[1:]
    return label_rows(frame)


def _without_comments(text: str) -> tuple[str, bool]:
    lines = text.splitlines(keepends=True)
    start = 0
    while start < len(lines) and (lines[start].startswith("#") or not lines[start].strip()):
        start += 1
    return "".join(lines[start:]), any(line.startswith("#") for line in lines[:start])


def _delimiter(body: str) -> str:
    header = body.partition("\n")[0]
    return max(("\t", ",", ";", "|"), key=header.count)


def label_rows(frame: pd.DataFrame) -> pd.DataFrame:
    """Label rows by their 1-based number, as text."""
    labels = pd.Index(range(1, len(frame) + 1), dtype="int64").astype(str)
    return frame.set_axis(labels.rename("row"), axis=0)


def stack_files(frames: Sequence[pd.DataFrame], files: Sequence[Path]) -> pd.DataFrame:
    """Put the rows of several files in one table; labels then carry the file's stem."""
    if len(frames) == 1:
        return frames[0]
    parts = [
        frame.set_axis((f"{number}:{path.stem}#" + frame.index).rename("row"), axis=0)
        for number, (frame, path) in enumerate(zip(frames, files, strict=True), start=1)
    ]
    return pd.concat(parts)


def _parse_attributes(
    path: Path, *, layer: str, table: str | None, columns: Sequence[str] | None
) -> pd.DataFrame:
    demand_file(path, layer)
    try:
        with quiet():
            meta, _, _, values = pyogrio.raw.read(
                path, layer=table, columns=columns, read_geometry=False, datetime_as_string=True
            )
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise SourceFormatError(
            layer, f"{path.name} cannot be read: {error}", "Check the file and the table's name."
        ) from error
    names = [str(name) for name in meta["fields"]]
    return label_rows(pd.DataFrame(dict(zip(names, values, strict=True))))


def list_columns(path: Path, *, layer: str, table: str | None = None) -> list[str]:
    """Column names of a table or vector file."""
    if is_text_table(path):
        body, _ = _without_comments(read_text(path, layer))
        header = body.partition("\n")[0] + "\n"
        return [str(name) for name in parse_delimited(header, layer=layer, name=path.name).columns]
    demand_file(path, layer)
    try:
        with quiet():
            return [str(name) for name in pyogrio.read_info(path, layer=table)["fields"]]
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as error:
        raise SourceFormatError(
            layer, f"{path.name} cannot be read: {error}", "Check the file and the table's name."
        ) from error


def canonical_table(
    raw: pd.DataFrame,
    source: Source,
    layer: Layer,
    log: DefectLog,
    *,
    defaults: Defaults | None = None,
) -> pd.DataFrame:
    """Apply the whole recipe of :mod:`data_pipelines.mapping` to a parsed table."""
    found = resolve(source, layer, raw.columns, defaults=defaults)
    frame = map_columns(raw, source, layer, log, found=found)
    if not len(raw):
        log.note("", "no_rows", "0", "the layer is empty")
    return complete_keys(frame, layer, log)


def parse_files(
    source: Source,
    layer: Layer,
    *,
    defaults: Defaults | None = None,
    extra: Sequence[str] = (),
) -> pd.DataFrame:
    """Read the needed columns of every file of `source` into one raw table.

    `extra` names source columns wanted besides the mapped ones (coordinates, join keys).
    """
    frames = []
    for path in demand_files(source):
        available = list_columns(path, layer=source.layer, table=source.table)
        wanted = needed_columns(source, layer, available, defaults=defaults, extra=extra)
        frames.append(parse_table(path, layer=source.layer, table=source.table, columns=wanted))
    return stack_files(frames, source.files)


def demand_files(source: Source) -> tuple[Path, ...]:
    """Files of the source; LayerError if it names none."""
    if not source.files:
        raise LayerError(source.layer, "no file is named.", "Name one in the region file.")
    return source.files


def needed_columns(
    source: Source,
    layer: Layer,
    available: Sequence[str],
    *,
    defaults: Defaults | None = None,
    extra: Sequence[str] = (),
) -> list[str]:
    """Source columns to read, each once, in the order of the file."""
    found = set(resolve(source, layer, available, defaults=defaults).values()) | set(extra)
    return [name for name in available if name in found]
