"""Read the tabular text export of a soil survey area.

The files have no header and short names: both come from the export's own metadata tables. Fields
are separated by a bar, text stands in quotes, a quote inside is doubled, and a text may run over
several lines. Zero-byte files are normal. Blanks trail behind flags ("No ") and are trimmed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import pandas as pd

from data_pipelines.soil_survey.defects import Defect
from data_pipelines.soil_survey.records import BadRow, parse_records, read_text, refuse_cut
from data_pipelines.soil_survey.schema import (
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
_SIGN: Final = "|"
_AGAIN: Final = "Download the survey area again, whole."


def is_table_list(file: Path) -> bool:
    """Whether a file is by its name the list of tables that every export carries."""
    return file.suffix.casefold() == ".txt" and file.stem.casefold() in TABLE_LIST_STEMS


def table_frame(rows: Sequence[Sequence[str]], columns: Sequence[str]) -> pd.DataFrame:
    """Make a table of text, missing where blank."""
    frame = pd.DataFrame(rows, columns=list(columns), dtype="string")
    return frame.mask(frame == "")


def read_export(folder: Path) -> RawSource:
    """Read the tables of one tabular export folder; a table whose file is absent is left out.

    Raises
    ------
    riskmap.contract.errors.SourceFormatError
        If the metadata tables are missing, not whole, or do not fit the tables.
    """
    files = {file.stem.casefold(): file for file in sorted(folder.glob("*")) if _is_text(file)}
    stems, columns = _read_metadata(folder, files)
    tables: dict[str, pd.DataFrame] = {}
    defects: list[Defect] = []
    for table in TABLES:
        file = files.get(stems.get(table, ""))
        if file is not None:
            tables[table], found = _read_table(file, table, columns[table])
            defects.extend(found)
    return RawSource(short_name(folder), tables, tuple(defects))


def _is_text(file: Path) -> bool:
    return file.suffix.casefold() == ".txt" and file.is_file()


def _read_metadata(
    folder: Path, files: Mapping[str, Path]
) -> tuple[dict[str, str], dict[str, list[str]]]:
    """File stem and columns of every table, checked against each other."""
    tables = _metadata_rows(folder, files, TABLE_LIST_STEMS, _FILE_STEM + 1)
    columns = _metadata_rows(folder, files, COLUMN_LIST_STEMS, _COLUMN_NAME + 1)
    stems = {row[_TABLE_NAME].casefold(): row[_FILE_STEM].casefold() for row in tables}
    ordered: dict[str, dict[int, str]] = {}
    for row in columns:
        if row[_COLUMN_SEQUENCE].isdecimal():
            places = ordered.setdefault(row[_COLUMN_TABLE].casefold(), {})
            places[int(row[_COLUMN_SEQUENCE])] = row[_COLUMN_NAME].casefold()
    for table in TABLES:
        if (table in stems) != (table in ordered):
            lacking, having = ("list of tables", "columns") if table in ordered else (
                "list of columns", "tables")  # fmt: skip
            raise SourceFormatError(
                short_name(folder),
                f"the export's own {lacking} lacks {table}, which its list of {having} has: the "
                "file was cut or changed.",
                _AGAIN,
            )
    return stems, {name: [found[n] for n in sorted(found)] for name, found in ordered.items()}


def _metadata_rows(
    folder: Path, files: Mapping[str, Path], stems: Sequence[str], width: int
) -> list[list[str]]:
    for stem in stems:
        if stem in files:
            rows, _ = parse_records(read_text(files[stem])[0], sign=_SIGN)
            if rows and len(rows[0]) >= width:
                return rows
    raise SourceFormatError(
        short_name(folder),
        f"the export has no readable table of its own {'/'.join(stems)}.",
        "Names of tables and columns stand only there; download the survey area again, whole.",
    )


def _read_table(file: Path, table: str, columns: list[str]) -> tuple[pd.DataFrame, list[Defect]]:
    text, odd_encoding = read_text(file)
    only = RULE_WORDS if table == "cointerp" else ""
    rows, bad = parse_records(text, sign=_SIGN, width=len(columns), only=only)
    refuse_cut(text, bad, file)
    if rows and [cell.casefold() for cell in rows[0]] == columns:
        rows = rows[1:]
    if bad and not rows:
        raise SourceFormatError(
            short_name(file),
            f"rows have {bad[0].fields} fields, the metadata names {len(columns)} columns.",
            "The tables and their metadata are from different exports; download them together.",
        )
    defects = bad_rows(bad, table, file)
    if odd_encoding:
        action = "read as Windows-1252"
        place = short_name(file)
        defects.append(Defect(TABLES[table].layer, "", "not UTF-8", place, table, action))
    return keep_wanted_rules(table, table_frame(rows, columns)), defects


def bad_rows(bad: Sequence[BadRow], table: str, file: Path) -> list[Defect]:
    """Return a defect for every row that was left out."""
    return [
        Defect(
            TABLES[table].layer, "", "number of fields", f"{short_name(file)} line {row.line}",
            f"{row.fields} fields", "row left out",
        )
        for row in bad
    ]  # fmt: skip
