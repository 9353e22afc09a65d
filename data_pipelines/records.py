"""Many assessor's records of one parcel to one: condominiums, several houses on a lot."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from data_pipelines.defect_log import DefectLog

DWELLING_USES: Final = ("residential", "seasonal")
KEPT_FIRST: Final = ["address", "land_use", "service"]
Keys = NDArray[np.object_]
_SUMMED: Final = ("bedrooms", "living_area_m2", "occupants")


def is_dwelling(records: pd.DataFrame) -> pd.Series:
    """Find the records that describe a dwelling.

    By land use; where that is unknown, by having bedrooms; where the source gives neither for any
    record, by having living area.
    """
    none = pd.Series(False, index=records.index)
    uses = records["land_use"] if "land_use" in records else none.astype("string").mask(~none)
    dwelling = uses.isin(DWELLING_USES)
    if "bedrooms" in records and records["bedrooms"].notna().any():
        return dwelling | (uses.isna() & (records["bedrooms"] > 0))
    if "living_area_m2" in records and uses.isna().all():
        return records["living_area_m2"] > 0
    return dwelling


def combine_records(records: pd.DataFrame, keys: pd.Series, log: DefectLog) -> pd.DataFrame:
    """Combine records with the same key into one row, indexed by key in order of first sight.

    Bedrooms, living area, occupants and dwellings are added up over the dwelling records where the
    parcel has any (so that a condominium's master record, which repeats the building's whole area,
    is not counted twice), else over all. Where the source does not give the number of dwellings,
    the dwelling records of a parcel with several records are counted. The year is the earliest;
    the land use is the dwellings' most frequent; ``improved`` if any record is; text is the first.

    Parameters
    ----------
    records
        Canonical parcel columns without ``parcel_id``.
    keys
        Key of each record, same index.
    """
    key = keys.to_numpy()
    result = records.groupby(key, sort=False).first()
    size = keys.groupby(key, sort=False).size()
    many = size.index[size > 1]
    if not len(many):
        return result
    several = keys.isin(many).to_numpy()
    part, part_key = records[several], key[several]
    combined = _combine(part, part_key)
    for name in combined.columns:
        values = result[name] if name in result else pd.Series(float("nan"), index=result.index)
        result[name] = values.where(~values.index.isin(many), combined[name].reindex(values.index))
    result = result.astype({n: records[n].dtype for n in result.columns if n in records})
    _report(keys, size, part, log)
    return result


def _combine(part: pd.DataFrame, key: Keys) -> pd.DataFrame:
    dwelling = is_dwelling(part)
    has_any = dwelling.groupby(key, sort=False).transform("any")
    counted = dwelling | ~has_any
    columns: dict[str, pd.Series] = {}
    for name in _SUMMED:
        if name in part:
            columns[name] = _sum(part[name].where(counted), key)
    columns["dwellings"] = dwelling.astype("float64").groupby(key, sort=False).sum()
    if "dwellings" in part:
        given = _sum(part["dwellings"].where(counted), key)
        columns["dwellings"] = given.fillna(columns["dwellings"])
    if "year_built" in part:
        columns["year_built"] = part["year_built"].groupby(key, sort=False).min()
    if "improved" in part:
        columns["improved"] = part["improved"].groupby(key, sort=False).max()
    if "land_use" in part:
        columns["land_use"] = _most_frequent(part["land_use"].where(counted), key)
    if "service" in part:
        agreed = part["service"].groupby(key, sort=False).nunique() <= 1
        columns["service"] = part["service"].groupby(key, sort=False).first().where(agreed)
    return pd.DataFrame(columns)


def _sum(values: pd.Series, key: Keys) -> pd.Series:
    return values.groupby(key, sort=False).sum(min_count=1)


def _most_frequent(values: pd.Series, key: Keys) -> pd.Series:
    """Most frequent word per key; ties go to the word seen first."""
    table = pd.DataFrame({"key": key, "word": values.to_numpy()}).dropna()
    counts = table.groupby(["key", "word"], sort=False).size().rename("n").reset_index()
    best = counts.sort_values("n", ascending=False, kind="stable").drop_duplicates("key")
    return best.set_index("key")["word"].astype("string")


def _report(keys: pd.Series, size: pd.Series, part: pd.DataFrame, log: DefectLog) -> None:
    first = keys[keys.isin(size.index[size > 1]) & ~keys.duplicated()]
    counts = first + ": " + first.map(size).astype("string") + " records"
    log.add("parcel_id", "many_records", counts, "combined into one")
    if "service" in part:
        key = keys.loc[part.index]
        differ = part["service"].groupby(key.to_numpy(), sort=False).nunique() > 1
        rows = first[first.isin(differ.index[differ])]
        log.add("service", "records_disagree", rows, "set to missing")
