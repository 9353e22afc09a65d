"""Read the tabular text export of a soil survey area.

The files have no header and short names: both come from the export's own metadata tables. Fields
are separated by a bar, text stands in quotes, a quote inside is doubled, and a text may run over
several lines. Zero-byte files are normal. Blanks trail behind flags ("No ") and are trimmed.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import pandas as pd

from data_pipelines.soil_survey.defects import Defect
from data_pipelines.soil_survey.schema import (
    CANONICAL_LAYER,
    RULE_WORDS,
    TABLES,
    RawSource,
    keep_wanted_rules,
    short_name,
)
from riskmap.contract.errors import SourceFormatError

TABLE_LIST_STEMS: Final = ("mstab", "mdstattabs", "metadatatable")
COLUMN_LIST_STEMS: Final = ("mstabcol", "mdstattabcols", "metadatacolumnlookup")
# Positions inside the two metadata tables; they cannot describe themselves before they are read.
_TABLE_NAME, _FILE_STEM = 0, 4
_COLUMN_TABLE, _COLUMN_SEQUENCE, _COLUMN_NAME = 0, 1, 2
_ALWAYS_FILLED: Final = ("mapunit", "component", "chorizon")


def find_exports(root: Path) -> list[Path]:
    """Return the folders at or under `root` that hold a tabular export, in name order."""
    names = {f"{stem}.txt" for stem in TABLE_LIST_STEMS}
    folders = {file.parent for file in root.rglob("*") if file.name.casefold() in names}
    return sorted(folders)


def decode(data: bytes) -> tuple[str, bool]:
    """Decode `data` as UTF-8, else as Windows-1252; the flag says whether it was not UTF-8."""
    try:
        return data.decode("utf-8-sig"), False
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), True


def parse_rows(text: str, *, only: str = "") -> list[list[str]]:
    r"""Split a bar-delimited text into rows of trimmed fields.

    With `only`, lines without these lower-case words are passed over unread, which keeps the
    largest table (interpretations, one line each) quick and small.

    >>> parse_rows('"a ""quoted"" word"|No |3\n')
    [['a "quoted" word', 'No', '3']]
    """
    lines = (line for line in io.StringIO(text, newline="") if only in line.casefold())
    reader = csv.reader(lines, delimiter="|", doublequote=True)
    return [[cell.strip() for cell in row] for row in reader if row]


def table_frame(rows: Sequence[Sequence[str]], columns: Sequence[str]) -> pd.DataFrame:
    """Make a table of text, missing where blank."""
    frame = pd.DataFrame(rows, columns=list(columns), dtype="string")
    return frame.mask(frame == "")


def read_export(folder: Path) -> RawSource:
    """Read the tables of one tabular export folder.

    Raises
    ------
    riskmap.contract.errors.SourceFormatError
        If the metadata tables are missing or do not fit the tables.
    """
    files = {file.stem.casefold(): file for file in sorted(folder.glob("*")) if _is_text(file)}
    stems, columns = _read_metadata(folder, files)
    tables: dict[str, pd.DataFrame] = {}
    defects: list[Defect] = []
    for table in TABLES:
        names = columns.get(table)
        if names is None:
            continue
        file = files.get(stems.get(table, table)) or files.get(table)
        tables[table], found = _read_table(file, table, names)
        defects.extend(found)
    return RawSource(short_name(folder), tables, tuple(defects))


def _is_text(file: Path) -> bool:
    return file.suffix.casefold() == ".txt" and file.is_file()


def _read_metadata(
    folder: Path, files: Mapping[str, Path]
) -> tuple[dict[str, str], dict[str, list[str]]]:
    tables = _metadata_rows(folder, files, TABLE_LIST_STEMS, _FILE_STEM + 1)
    columns = _metadata_rows(folder, files, COLUMN_LIST_STEMS, _COLUMN_NAME + 1)
    stems = {row[_TABLE_NAME].casefold(): row[_FILE_STEM].casefold() for row in tables}
    ordered: dict[str, list[tuple[int, str]]] = {}
    for row in columns:
        if row[_COLUMN_SEQUENCE].isdigit():
            entry = (int(row[_COLUMN_SEQUENCE]), row[_COLUMN_NAME].casefold())
            ordered.setdefault(row[_COLUMN_TABLE].casefold(), []).append(entry)
    return stems, {table: [name for _, name in sorted(found)] for table, found in ordered.items()}


def _metadata_rows(
    folder: Path, files: Mapping[str, Path], stems: Sequence[str], width: int
) -> list[list[str]]:
    for stem in stems:
        if stem in files:
            rows = parse_rows(decode(files[stem].read_bytes())[0])
            rows = [row for row in rows if len(row) >= width]
            if rows:
                return rows
    raise SourceFormatError(
        short_name(folder),
        f"the export has no readable table of its own {'/'.join(stems)}.",
        "Names of tables and columns stand only there; download the survey area again, whole.",
    )


def _read_table(
    file: Path | None, table: str, columns: list[str]
) -> tuple[pd.DataFrame, list[Defect]]:
    if file is None:
        return table_frame([], columns), [_file_defect(table, "file absent", "", "read as empty")]
    text, odd_encoding = decode(file.read_bytes())
    rows = parse_rows(text, only=RULE_WORDS if table == "cointerp" else "")
    if rows and [cell.casefold() for cell in rows[0]] == columns:
        rows = rows[1:]
    good = [row for row in rows if len(row) == len(columns)]
    if rows and not good:
        raise SourceFormatError(
            short_name(file),
            f"rows have {len(rows[0])} fields, the metadata names {len(columns)} columns.",
            "The tables and their metadata are from different exports; download them together.",
        )
    defects = [_width_defect(table, row) for row in rows if len(row) != len(columns)]
    if odd_encoding:
        defects.append(_file_defect(table, "not UTF-8", file.name, "read as Windows-1252"))
    if not rows and table in _ALWAYS_FILLED:
        defects.append(_file_defect(table, "table empty", file.name, "read as empty"))
    return keep_wanted_rules(table, table_frame(good, columns)), defects


def _width_defect(table: str, row: list[str]) -> Defect:
    key = row[-1] if row else ""
    return Defect(
        CANONICAL_LAYER[table], "", "number of fields", key, str(len(row)), "row left out"
    )


def _file_defect(table: str, check: str, value: str, action: str) -> Defect:
    return Defect(CANONICAL_LAYER[table], "", check, table, value, action)
