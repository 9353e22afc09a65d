"""The recipe from a raw table to canonical columns, the same for every layer.

1. rename by the region file's mapping (or the names of a well-known format);
2. private columns are left out unless they are asked for;
3. codes become the declared words, unknown codes missing;
4. numbers become canonical units, once, always float;
5. dates and years are read with tolerance, impossible ones become missing;
6. text is trimmed, null words become missing;
7. keys are completed or their rows left out.

Every cell that was changed for the worse is in the defect log, under the row's label: the 1-based
number of the record in its file.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping, Sequence
from typing import Final

import pandas as pd

from data_pipelines.columns import find_column
from data_pipelines.dates import to_date, to_year
from data_pipelines.defect_log import DefectLog
from data_pipelines.values import as_text, to_flag, to_number, to_words
from riskmap.contract.columns import PANDAS_DTYPE, Column, Dtype, Layer
from riskmap.contract.sources import ColumnSource, Source

Converter = Callable[[pd.Series, Column, ColumnSource, DefectLog], pd.Series]

_CONVERTERS: Final[Mapping[Dtype, Converter]] = {
    "text": to_words,
    "number": to_number,
    "whole": to_number,
    "flag": to_flag,
}


def map_columns(
    raw: pd.DataFrame,
    source: Source,
    layer: Layer,
    log: DefectLog,
    *,
    found: Mapping[str, str],
) -> pd.DataFrame:
    """Apply steps 1 to 6; the result has the layer's columns and the index of `raw`.

    Parameters
    ----------
    raw
        Rows as parsed; the index holds the row labels.
    found
        Canonical column -> column of `raw` (see :func:`data_pipelines.columns.resolve`).
    """
    columns = {}
    for column in layer.columns:
        if column.private and column.name not in source.keep_private:
            continue
        spec = source.columns.get(column.name, ColumnSource())
        columns[column.name] = _column(raw, column, spec, found.get(column.name), log, source.day)
    return pd.DataFrame(columns, index=raw.index)


def empty_column(column: Column, index: pd.Index) -> pd.Series:
    """Return a column of missing values in the right dtype."""
    empty = pd.Series(pd.NA, index=index, dtype="string")
    typed: pd.Series = empty.astype(PANDAS_DTYPE[column.dtype])
    return typed


def _column(
    raw: pd.DataFrame,
    column: Column,
    spec: ColumnSource,
    name: str | None,
    log: DefectLog,
    day: datetime.date | None,
) -> pd.Series:
    if spec.constant is not None:
        values = pd.Series([spec.constant] * len(raw), index=raw.index, dtype="object")
    elif name is not None:
        values = raw[name] if not spec.and_columns else _joined(raw, (name, *spec.and_columns))
    else:
        return empty_column(column, raw.index)
    if column.unit == "calendar year":
        typed = to_year(values, column, spec, log, day=day)
    elif column.dtype == "date":
        typed = to_date(values, column, spec, log, day=day)
    else:
        typed = _CONVERTERS[column.dtype](values, column, spec, log)
    return typed.astype(PANDAS_DTYPE[column.dtype])


def _joined(raw: pd.DataFrame, names: Sequence[str]) -> pd.Series:
    """Text of several columns as one, blanks between; missing where all are."""
    found = [find_column(name, map(str, raw.columns)) or name for name in names]
    cells = pd.concat([as_text(raw[name]) for name in found], axis=1)
    text = cells.fillna("").agg(" ".join, axis=1).str.split().str.join(" ")
    return text.astype("string").mask(text.eq(""))


def complete_keys(frame: pd.DataFrame, layer: Layer, log: DefectLog) -> pd.DataFrame:
    """Give every row a usable key.

    A missing key of the row itself is replaced by ``unnumbered <row>`` so that the row is kept; a
    row that only points to another layer (a sample without its well) is left out. Both are logged.
    An id of nothing but signs (``---``) counts as missing.
    """
    for column in layer.columns:
        if column.nullable or column.name not in frame:
            continue
        values = frame[column.name]
        values = values.mask(values.str.fullmatch(r"[\W_]+").fillna(False).astype(bool))
        missing = values.isna()
        if column.name == layer.key:
            log.add(column.name, "missing_key", _shown(frame, column.name, missing), "numbered")
            labels = "unnumbered " + frame.index.to_series().astype("string")
            frame = frame.assign(**{column.name: values.fillna(labels).astype("string")})
        else:
            log.add(column.name, "missing_key", _shown(frame, column.name, missing), "left out")
            frame = frame.assign(**{column.name: values})[~missing]
    return frame


def _shown(frame: pd.DataFrame, column: str, rows: pd.Series) -> pd.Series:
    shown: pd.Series = frame.loc[rows, column].fillna("")
    return shown


def drop_repeats(frame: pd.DataFrame, log: DefectLog, *, column: str) -> pd.DataFrame:
    """Leave out rows that repeat an earlier row in every column, and log them."""
    again = frame.duplicated(keep="first")
    log.add(column, "repeated_row", frame.loc[again, column].fillna(""), "left out")
    return frame[~again]


def part_keys(frame: pd.DataFrame, layer: Layer, log: DefectLog) -> pd.DataFrame:
    """Make repeated keys unique: the second row with key ``P-12`` becomes ``P-12 (2)``."""
    key = layer.key
    if key is None:
        return frame
    count = frame.groupby(key, sort=False).cumcount()
    again = count > 0
    log.add(key, "duplicate_key", frame.loc[again, key], "kept under a numbered key")
    numbered = frame[key] + " (" + (count + 1).astype("string") + ")"
    parted = frame.assign(**{key: frame[key].mask(again, numbered).astype("string")})
    return part_keys(parted, layer, log) if parted[key].duplicated().any() else parted
