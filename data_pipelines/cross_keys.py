"""Keys of one layer that point to another, brought to the spelling that they have there."""

from __future__ import annotations

from typing import Final, NamedTuple

import pandas as pd

from data_pipelines.defect_log import DefectLog
from data_pipelines.keys import find_keys


class Pointer(NamedTuple):
    """A column that names a row of another layer."""

    layer: str
    column: str
    to: str


POINTERS: Final = (
    Pointer("permits", "parcel_id", "parcels"),
    Pointer("inspections", "parcel_id", "parcels"),
    Pointer("wells", "parcel_id", "parcels"),
    Pointer("well_samples", "well_id", "wells"),
)
"""Every column of a layer that points to the key column, of the same name, of another."""


def respell(
    frame: pd.DataFrame, pointer: Pointer, known: pd.Series, log: DefectLog
) -> pd.DataFrame:
    """Bring the keys of `frame` to the spelling of `known`; what is changed or not found is logged.

    Parameters
    ----------
    frame
        The layer that points.
    pointer
        Its column, and where that points to.
    known
        Keys of the other layer.
    """
    keys = frame[pointer.column]
    found = find_keys(keys, known)
    changed = found.spelling.notna()
    for spelling in found.spelling.dropna().unique():
        rows = found.spelling.eq(spelling).fillna(False).astype(bool)
        log.add(pointer.column, "other_spelling", keys[rows], f"found {spelling}")
    lost = keys.notna() & ~changed & ~keys.isin(known)
    log.add(pointer.column, f"not_in_{pointer.to}", keys[lost], "kept, joins nothing")
    return frame.assign(**{pointer.column: found.keys}) if changed.any() else frame
