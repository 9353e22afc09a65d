"""What a source lacks: an error where it is needed, else a defect and a gap in its components."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import pandas as pd

from data_pipelines.soil_survey.defects import Defect
from data_pipelines.soil_survey.schema import (
    FROZEN_ORDER,
    FROZEN_TABLES,
    MAY_BE_EMPTY,
    NOT_RATED,
    TABLES,
    Field,
    RawSource,
)
from riskmap.contract.errors import SourceFormatError

_CURE = "Download or export the survey again with all of its tables and columns."
GAPS = "gaps"
"""Column of the raw component table with what its source lacks and a rating needs."""


def check_needs(source: RawSource, elsewhere: Collection[str] = ()) -> RawSource:
    """Hold a source against the declared needs.

    Parameters
    ----------
    source
        Tables of one survey area, or of several files that belong together.
    elsewhere
        Tables that another source without components supplies.

    Returns
    -------
    RawSource
        The same with a defect for every table and column that it lacks, and with the component
        column :data:`GAPS`.

    Raises
    ------
    riskmap.contract.errors.SourceFormatError
        If a needed table or column is not there, or has no value.
    """
    source = replace(source, tables={n: _plain_keys(n, t) for n, t in source.tables.items()})
    if source.tables.get("component", pd.DataFrame()).empty:
        return _check_columns(source)[0]
    absent = [name for name in TABLES if name not in source.tables and name not in elsewhere]
    for name in absent:
        if TABLES[name].need == "needed":
            raise SourceFormatError(source.name, f"there is no table {name}.", _CURE)
    checked, gaps = _check_columns(source)
    unfilled = [n for n, t in source.tables.items() if t.empty and n not in MAY_BE_EMPTY]
    gaps += [name for name in (*absent, *unfilled) if TABLES[name].need == "rating"]
    lacking_defects = [
        Defect(TABLES[name].layer, "", check, source.name, name, TABLES[name].cost or NOT_RATED)
        for check, names in (("table absent", absent), ("table empty", unfilled))
        for name in names
    ]
    component = checked.tables["component"]
    lacking = pd.Series("; ".join(gaps) or pd.NA, index=component.index, dtype="string")
    unseen = "; ".join(name for name in FROZEN_TABLES if name in absent)
    if unseen and "taxorder" in component:
        frozen = component["taxorder"].str.strip().str.casefold().eq(FROZEN_ORDER).fillna(False)
        lacking = lacking.mask(frozen & lacking.isna(), unseen)
    return replace(
        checked,
        tables={**checked.tables, "component": component.assign(**{GAPS: lacking})},
        defects=(*checked.defects, *lacking_defects),
    )


def _plain_keys(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Keys as whole numbers in text: a spreadsheet may have made 565248.0 of 565248."""
    names = [f.source for f in TABLES[table].fields if f.kind == "key" and f.source in frame]
    plain = {name: frame[name].str.replace(r"\.0+$", "", regex=True) for name in names}
    return frame.assign(**plain)


def _check_columns(source: RawSource) -> tuple[RawSource, list[str]]:
    """Look for the declared columns of every table that has rows."""
    defects: list[Defect] = []
    gaps: list[str] = []
    for name, frame in source.tables.items():
        for field in TABLES[name].fields if len(frame) else ():
            place = f"{name}.{field.source}"
            if field.need == "needed":
                _demand(frame, field, name, source.name)
            elif field.source not in frame:
                defects.append(_column_defect(name, field, source.name))
                gaps += [place] if field.need == "rating" else []
    return replace(source, defects=(*source.defects, *defects)), gaps


def _demand(frame: pd.DataFrame, field: Field, table: str, source: str) -> None:
    if field.source in frame and frame[field.source].notna().any():
        return
    fault = "has no value" if field.source in frame else "is not there"
    made = f"{TABLES[table].layer}.{field.name}" if field.name else TABLES[table].layer
    raise SourceFormatError(
        source, f"column {field.source} of table {table} {fault}; {made} is made of it.", _CURE
    )


def _column_defect(table: str, field: Field, source: str) -> Defect:
    cost = NOT_RATED if field.need == "rating" else field.cost
    return Defect(
        TABLES[table].layer, field.name, "column absent", source, f"{table}.{field.source}", cost
    )
