"""Merge the tables of several survey areas; a map unit that two areas hold is kept once."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from data_pipelines.soil_survey.defects import Defect
from data_pipelines.soil_survey.schema import TABLES, RawSource

Tables = dict[str, pd.DataFrame]


def merge_sources(sources: Sequence[RawSource]) -> tuple[Tables, list[Defect]]:
    """Stack the sources' tables in order.

    Where a later source repeats a map unit, its row and everything below it (components, horizons,
    months) are taken from the first source alone, so that percentages never add up twice.

    Returns
    -------
    tuple
        Every table of the data model (empty where no source has it), and the defects.
    """
    defects = [defect for source in sources for defect in source.defects]
    parts: dict[str, list[pd.DataFrame]] = {table: [] for table in TABLES}
    held: dict[str, str] = {}
    for source in sources:
        repeated = sorted(_mapunit_keys(source) & held.keys())
        defects += [
            Defect("soil_mapunits", "mukey", "map unit in two sources", key, source.name,
                   f"kept once, from {held[key]}")
            for key in repeated
        ]  # fmt: skip
        for table, frame in _without(source, set(repeated)).items():
            parts[table].append(frame)
        held |= dict.fromkeys(_mapunit_keys(source) - set(repeated), source.name)
    tables = {}
    for table, frames in parts.items():
        tables[table], found = _stack(table, frames)
        defects += found
    return tables, defects


def join_files(sources: Sequence[RawSource]) -> RawSource:
    """Make one source of files that each hold a table or a few, as CSV tables and kept replies do.

    Several files may hold parts of one table; rows that an earlier row says already are left out.
    """
    tables: Tables = {}
    for table, spec in TABLES.items():
        parts = [source.tables[table] for source in sources if table in source.tables]
        if parts:
            joined = pd.concat([part for part in parts if len(part)] or parts, ignore_index=True)
            tables[table] = joined[~_said_before(joined, spec.key)].reset_index(drop=True)
    defects = tuple(defect for source in sources for defect in source.defects)
    return RawSource(sources[0].name, tables, defects)


def _said_before(rows: pd.DataFrame, key: str) -> pd.Series:
    """Mark rows whose every filled cell is in the first row of the same key."""
    if key not in rows:
        return rows.duplicated()
    again = rows[key].notna() & rows[key].duplicated()
    later = rows[again]
    first = rows.drop_duplicates(key).set_index(key, drop=False)
    before = first.loc[later[key]].set_axis(later.index, axis=0)
    same = (later.isna() | later.eq(before).fillna(False)).all(axis=1)
    return again & same.reindex(rows.index, fill_value=False)


def _mapunit_keys(source: RawSource) -> set[str]:
    table = "mapunit" if "mapunit" in source.tables else "component"
    frame = source.tables.get(table)
    return set(frame["mukey"].dropna()) if frame is not None and "mukey" in frame else set()


def _without(source: RawSource, mukeys: set[str]) -> Tables:
    """Drop `mukeys` and all that hangs on them, walking from parents to children."""
    dropped: dict[str, set[str]] = {"mapunit": mukeys}
    kept: Tables = {}
    for table, spec in TABLES.items():
        frame = source.tables.get(table)
        if frame is None:
            continue
        out = pd.Series(False, index=frame.index)
        if table == "mapunit" and spec.key in frame:
            out = frame[spec.key].isin(mukeys)
        elif spec.parent_key in frame:
            out = frame[spec.parent_key].isin(dropped.get(str(spec.parent), set()))
        if spec.key in frame and table != "mapunit":
            dropped[table] = set(frame.loc[out, spec.key].dropna())
        kept[table] = frame[~out]
    return kept


def _stack(table: str, frames: Sequence[pd.DataFrame]) -> tuple[pd.DataFrame, list[Defect]]:
    spec = TABLES[table]
    filled = [frame for frame in frames if not frame.empty]
    if not filled:
        columns = dict.fromkeys([*(frames[0].columns if frames else ()), spec.key])
        return pd.DataFrame(columns=list(columns), dtype="string"), []
    stacked = pd.concat(filled, ignore_index=True)
    if spec.key not in stacked:
        return stacked, []
    twice = stacked[spec.key].notna() & stacked[spec.key].duplicated()
    if table == "legend":  # one survey area arrives with each of its files
        return stacked[~twice].reset_index(drop=True), []
    defects = [
        Defect(TABLES[table].layer, spec.key, "key twice", str(key), table, "first row kept")
        for key in stacked.loc[twice, spec.key]
    ]
    return stacked[~twice].reset_index(drop=True), defects
