"""Soil surveys in every form, and damage to each.

``FORMS`` writes the survey of an export folder in a form; ``damage_survey`` damages what it wrote.
"""

from __future__ import annotations

import csv
import json
import random
import shutil
import sqlite3
import zipfile
from collections.abc import Callable, Mapping
from contextlib import closing
from pathlib import Path

import pandas as pd

from data_pipelines.soil_survey.schema import TABLES
from data_pipelines.soil_survey.tables import read_export
from tests.damage.structures import JSON_VALUES, damage
from tests.damage.texts import cut, damage_bytes, damage_rows

Tables = Mapping[str, pd.DataFrame]
SPATIAL = (".shp", ".dbf", ".shx", ".prj", ".cpg")


def survey_tables(export: Path) -> Tables:
    """Raw tables of an export folder, those with a row or a use."""
    return read_export(next(export.rglob("mstab.txt")).parent).tables


def write_export(export: Path, tables: Tables, folder: Path) -> Path:
    """Copy the parts of an export that a reader uses."""
    for name in ("tabular", "spatial"):
        (folder / name).mkdir(parents=True)
        for file in (export / name).glob("*") if (export / name).is_dir() else ():
            big = file.stem in {"distimd", "sainterp", "msdomdet", "sdvattribute"}
            if file.is_file() and not big:
                shutil.copyfile(file, folder / name / file.name)
    return folder


def write_csv(export: Path, tables: Tables, folder: Path) -> Path:
    """One CSV file for each table."""
    folder.mkdir(parents=True)
    for table, frame in tables.items():
        with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream).writerows([list(frame.columns), *frame.fillna("").to_numpy()])
    return folder


def write_replies(export: Path, tables: Tables, folder: Path) -> Path:
    """One kept reply of the web service for each table."""
    folder.mkdir(parents=True)
    for table, frame in tables.items():
        rows = frame.astype(object).where(frame.notna(), None).to_numpy().tolist()
        body = {"Table": [list(frame.columns), *rows]} if rows else {}
        (folder / f"{table}.json").write_text(json.dumps(body), encoding="utf-8")
    return folder


def write_store(export: Path, tables: Tables, folder: Path) -> Path:
    """One SQLite file."""
    folder.mkdir(parents=True)
    with closing(sqlite3.connect(folder / "survey.sqlite")) as database:
        for table, frame in tables.items():
            rows = frame.astype(object).where(frame.notna(), None)
            rows.to_sql(table, database, index=False)
    return folder


def write_zip(export: Path, tables: Tables, folder: Path) -> Path:
    """One archive as distributed."""
    inner = write_export(export, tables, folder / "inner")
    with zipfile.ZipFile(folder / "area.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for file in sorted(inner.rglob("*.*")):
            archive.write(file, Path("ZZ001") / file.relative_to(inner))
    shutil.rmtree(inner)
    return folder


FORMS: Mapping[str, Callable[[Path, Tables, Path], Path]] = {
    "export": write_export,
    "csv": write_csv,
    "replies": write_replies,
    "store": write_store,
    "zip": write_zip,
}


def damage_survey(folder: Path, form: str, dice: random.Random) -> str:
    """Damage a survey as :data:`FORMS` wrote it; says what was done."""
    if form == "export":
        return dice.choice(_EXPORT)(folder, dice)
    if form == "csv":
        return dice.choice(_CSV)(folder, dice)
    if form == "store":
        return dice.choice(_STORE)(folder / "survey.sqlite", dice)
    if form == "replies":
        return dice.choice(_REPLIES)(folder, dice)
    return _bytes_of(folder / "area.zip", dice)


def _bytes_of(file: Path, dice: random.Random) -> str:
    data, what = damage_bytes(file.read_bytes(), dice)
    file.write_bytes(data)
    return f"{file.name}: {what}"


def _used(folder: Path) -> list[Path]:
    stems = {row.split("|")[0].strip('"'): row.split("|")[4].strip('"')
             for row in (folder / "tabular" / "mstab.txt").read_text(encoding="utf-8").split("\n")
             if row.count("|") >= 4}  # fmt: skip
    files = [folder / "tabular" / f"{stems.get(table, table)}.txt" for table in TABLES]
    return [file for file in files if file.exists()]


def _table_rows(folder: Path, dice: random.Random) -> str:
    file = dice.choice([file for file in _used(folder) if file.stat().st_size])
    data, what = damage_rows(file.read_bytes(), "|", dice)
    file.write_bytes(data)
    return f"{file.name}: rows {what}"


def _table_bytes(folder: Path, dice: random.Random) -> str:
    names = [folder / "tabular" / f"{stem}.txt" for stem in ("mstab", "mstabcol")]
    return _bytes_of(dice.choice([*_used(folder), *names]), dice)


def _table_gone(folder: Path, dice: random.Random) -> str:
    file = dice.choice(_used(folder))
    file.unlink()
    return f"{file.name}: deleted"


def _table_cut(folder: Path, dice: random.Random) -> str:
    file = dice.choice(_used(folder))
    file.write_bytes(cut(file.read_bytes() or b"x", dice))
    return f"{file.name}: cut"


def _columns(folder: Path) -> tuple[Path, list[list[str]]]:
    file = folder / "tabular" / "mstabcol.txt"
    return file, [line.split("|") for line in file.read_text(encoding="utf-8").splitlines()]


def _columns_cut(folder: Path, dice: random.Random) -> str:
    """End the list of columns before a table."""
    file, rows = _columns(folder)
    named = {row[0].strip('"') for row in rows}
    table = dice.choice([table for table in TABLES if table in named])
    first = next(n for n, row in enumerate(rows) if row[0].strip('"') == table)
    file.write_text("\n".join("|".join(row) for row in rows[:first]) + "\n", encoding="utf-8")
    return f"mstabcol: cut before {table}"


def _column_renamed(folder: Path, dice: random.Random) -> str:
    file, rows = _columns(folder)
    used = [row for row in rows if row[0].strip('"') in TABLES and len(row) > 2]
    row = dice.choice(used)
    what = f"mstabcol: {row[0]}.{row[2]} renamed"
    row[2] = '"renamed"'
    file.write_text("\n".join(map("|".join, rows)) + "\n", encoding="utf-8")
    return what


def _swapped(folder: Path, dice: random.Random) -> str:
    one, other = dice.sample([file for file in _used(folder) if file.stat().st_size], 2)
    data = one.read_bytes()
    one.write_bytes(other.read_bytes())
    other.write_bytes(data)
    return f"{one.name} and {other.name}: swapped"


def _shapes_bytes(folder: Path, dice: random.Random) -> str:
    parts = sorted((folder / "spatial").glob("soilmu_a_*"))
    return _bytes_of(dice.choice(parts), dice) if parts else _table_bytes(folder, dice)


def _shapes_gone(folder: Path, dice: random.Random) -> str:
    parts = sorted((folder / "spatial").glob("soilmu_a_*"))
    if not parts:
        return _table_gone(folder, dice)
    part = dice.choice(parts)
    part.unlink()
    return f"{part.name}: deleted"


def _csv_rows(folder: Path, dice: random.Random) -> str:
    file = dice.choice(sorted(folder.glob("*.csv")))
    data, what = damage_rows(file.read_bytes().replace(b"\r", b""), ",", dice)
    file.write_bytes(data)
    return f"{file.name}: rows {what}"


def _csv_column(folder: Path, dice: random.Random) -> str:
    file = dice.choice(sorted(folder.glob("*.csv")))
    frame = pd.read_csv(file, dtype=str, keep_default_na=False)
    column = dice.choice(list(frame.columns))
    if dice.random() < 0.5:
        frame.rename(columns={column: "renamed"}).to_csv(file, index=False)
        return f"{file.name}: {column} renamed"
    frame.drop(columns=column).to_csv(file, index=False)
    return f"{file.name}: {column} deleted"


def _one_file_bytes(folder: Path, dice: random.Random) -> str:
    return _bytes_of(dice.choice(sorted(folder.iterdir())), dice)


def _one_file_gone(folder: Path, dice: random.Random) -> str:
    file = dice.choice(sorted(folder.iterdir()))
    file.unlink()
    return f"{file.name}: deleted"


def _reply_values(folder: Path, dice: random.Random) -> str:
    file = dice.choice([f for f in sorted(folder.iterdir()) if f.stat().st_size > 2])
    body = json.loads(file.read_text(encoding="utf-8"))
    body["Table"] = body["Table"][:40]
    done = damage(body, dice, JSON_VALUES)
    file.write_text(json.dumps(done.content), encoding="utf-8")
    return f"{file.name}: {done.place} {done.what}"


def _store_change(file: Path, dice: random.Random) -> str:
    with closing(sqlite3.connect(file)) as database:
        tables = [n for (n,) in database.execute("select name from sqlite_master")]
        table = dice.choice(tables)
        columns = [row[1] for row in database.execute(f"pragma table_info({table})")]
        column = dice.choice(columns)
        what = dice.choice(["drop table", "rename", "drop column", "blob", "empty"])
        if what == "drop table":
            database.execute(f"drop table {table}")
        elif what == "rename":
            database.execute(f'alter table {table} rename column "{column}" to renamed')
        elif what == "drop column":
            database.execute(f'alter table {table} drop column "{column}"')
        elif what == "blob":
            database.execute(f'update {table} set "{column}" = ? where rowid = 1', (b"\xff\x00",))
        else:
            database.execute(f"delete from {table}")
        database.commit()
    return f"{table}.{column}: {what}"


_EXPORT = (_table_rows, _table_bytes, _table_gone, _table_cut, _columns_cut, _column_renamed,
           _swapped, _shapes_bytes, _shapes_gone)  # fmt: skip
_CSV = (_csv_rows, _csv_rows, _csv_column, _csv_column, _one_file_bytes, _one_file_gone)
_STORE = (_store_change, _store_change, _bytes_of)
_REPLIES = (_reply_values, _one_file_bytes, _one_file_gone)
