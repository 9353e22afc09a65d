"""Parses tables without shapes: delimited text, and the attribute table of any vector format.

Row labels: the 1-based number of the record, as text; with several files ``stem#number``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pandas as pd

from data_pipelines.columns import Defaults, demand_column, resolve
from data_pipelines.defect_log import DefectLog
from data_pipelines.delimited import header_names, parse_delimited
from data_pipelines.files import demand_file
from data_pipelines.mapping import complete_keys, map_columns
from data_pipelines.sheets import is_workbook, read_sheet, sheet_names
from data_pipelines.text import is_text_table, read_text
from data_pipelines.vector_files import open_table, read_rows
from riskmap.contract.columns import Layer, Shape
from riskmap.contract.errors import LayerError
from riskmap.contract.sources import Source

__all__ = [
    "canonical_table",
    "demand_file",
    "demand_files",
    "is_plain_table",
    "is_text_table",
    "list_columns",
    "log_of_file",
    "needed_columns",
    "parse_delimited",
    "parse_files",
    "parse_table",
    "read_text",
    "stack_files",
]


def parse_table(
    path: Path,
    *,
    layer: str,
    table: str | None = None,
    columns: Sequence[str] | None = None,
    kind: Shape | None = None,
    log: DefectLog | None = None,
) -> pd.DataFrame:
    """Read a table as it stands: text cells of text and workbooks, typed ones of other formats.

    Parameters
    ----------
    columns
        Only these are read, so that personal data nobody asked for goes no further.
    kind
        Kind of shapes that a table of a vector file should have; the layer's if not given.
    log
        Tells the rows that were set aside. Without one, such a row in delimited text is an error.
    """
    if is_text_table(path):
        text = read_text(path, layer, log)
        return parse_delimited(text, layer=layer, name=path.name, columns=columns, log=log)
    if is_workbook(path):
        return read_sheet(path, layer=layer, table=table, columns=columns, log=log)
    opened = open_table(path, layer=layer, table=table, kind=kind, log=log)
    rows = read_rows(opened, columns=columns, shapes=False, log=log)
    index = pd.Index(rows.labels, name="row").astype(str)
    return pd.DataFrame(rows.values, index=index)


def is_plain_table(path: Path) -> bool:
    """Whether a file holds no shapes by its form: delimited text or a workbook."""
    return is_text_table(path) or is_workbook(path)


def list_columns(
    path: Path, *, layer: str, table: str | None = None, kind: Shape | None = None
) -> list[str]:
    """Column names of a table or vector file."""
    if is_text_table(path):
        return header_names(read_text(path, layer), layer=layer, name=path.name)
    if is_workbook(path):
        return sheet_names(path, layer=layer, table=table)
    return open_table(path, layer=layer, table=table, kind=kind).columns


@contextmanager
def log_of_file(log: DefectLog, files: Sequence[Path], number: int) -> Iterator[DefectLog]:
    """Log for the file at `number`, whose row labels get the file's name where there are several.

    Labels are those that :func:`stack_files` gives to the rows.
    """
    part = DefectLog(log.layer)
    yield part
    told = part.table()
    if len(files) > 1:
        rows = told["row"].str.fullmatch(r"\d+").astype(bool)
        told["row"] = told["row"].mask(rows, _prefix(files, number) + told["row"])
    log.extend(told)


def _prefix(files: Sequence[Path], number: int) -> str:
    return f"{number + 1}:{files[number].stem}#"


def stack_files(frames: Sequence[pd.DataFrame], files: Sequence[Path]) -> pd.DataFrame:
    """Put the rows of several files in one table; labels then carry the file's stem."""
    if len(frames) == 1:
        return frames[0]
    parts = [
        frame.set_axis((_prefix(files, number) + frame.index).rename("row"), axis=0)
        for number, frame in enumerate(frames)
    ]
    return pd.concat(parts)


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
    log: DefectLog | None = None,
    defaults: Defaults | None = None,
    extra: Sequence[str] = (),
) -> pd.DataFrame:
    """Read the needed columns of every file of `source` into one raw table.

    `extra` names source columns wanted besides the mapped ones (coordinates, join keys); `log`
    tells the rows that were set aside.
    """
    frames = []
    for number, path in enumerate(demand_files(source)):
        place: dict[str, Any] = {"layer": source.layer, "table": source.table, "kind": layer.kind}
        available = list_columns(path, **place)
        wanted = needed_columns(source, layer, available, defaults=defaults, extra=extra)
        if log is None:
            frames.append(parse_table(path, columns=wanted, **place))
            continue
        with log_of_file(log, source.files, number) as part:
            frames.append(parse_table(path, columns=wanted, log=part, **place))
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
    for name, spec in source.columns.items():
        found |= {
            demand_column(more, available, layer=source.layer, purpose=name)
            for more in spec.and_columns
        }
    return [name for name in available if name in found]
