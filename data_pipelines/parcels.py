"""Reads parcels and joins the assessor's records to them.

Rows are conserved: each polygon of the source is in the result, is merged into another polygon of
the same parcel number (logged), or has no shape (logged).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS

from data_pipelines.columns import demand_column, find_column
from data_pipelines.defect_log import DefectLog
from data_pipelines.keys import find_keys
from data_pipelines.records import KEPT_FIRST, combine_records
from data_pipelines.tables import canonical_table, list_columns, needed_columns, parse_table
from data_pipelines.values import as_text
from data_pipelines.vector import Bounds, canonical_layer, parse_shapes
from riskmap.contract.columns import Layer
from riskmap.contract.errors import LayerError
from riskmap.contract.layers import PARCELS
from riskmap.contract.sources import ColumnSource, Reading, Source

JOIN = "join_key"

LEAST_REPEATS: Final = 20
"""Fewer shapes that share their number with another are no sign of a wrong column."""


def read_parcels(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read parcel polygons and, if named, the assessor's table.

    A mapped column is looked for in the assessor's table first, then among the polygons' own
    (the parcel number: polygons only). Many records of one parcel (condominiums) are combined by
    :func:`data_pipelines.records.combine_records`.
    """
    log = DefectLog(PARCELS.name)
    polygons, assessor = _split(source)
    extra = [] if source.join_on is None else [_polygon_key(source)]
    raw = parse_shapes(polygons, _without(assessor), crs, log, extra=extra, bounds=bounds)
    frame = canonical_parcels(raw, polygons, crs, log, skip=assessor)
    if source.attributes is not None and source.join_on is not None:
        keys = as_text(raw[_polygon_key(source)]).loc[frame.index]
        records = _read_records(source, assessor, log)
        frame = join_records(frame, keys, records, log, all_keys=bounds is None)
    if frame.empty:
        raise LayerError(
            source.layer,
            "no parcel with a shape is left.",
            "Check the file, its table and its reference system.",
            faults=log.table(),
        )
    frame = merge_polygons(frame, log)
    _report_stacked(frame, log)
    return Reading(frame, log.table())


def canonical_parcels(
    raw: gpd.GeoDataFrame,
    source: Source,
    crs: CRS,
    log: DefectLog,
    *,
    skip: frozenset[str] = frozenset(),
) -> gpd.GeoDataFrame:
    """Canonical columns and shapes of the polygons, one row each; `skip` comes from elsewhere."""
    return canonical_layer(raw, source, _without(skip), crs, log)


def _split(source: Source) -> tuple[Source, frozenset[str]]:
    """Say which mapped columns the assessor's table gives; the rest stay with the polygons."""
    if source.attributes is None:
        return source, frozenset()
    if source.join_on is None:
        raise LayerError(
            source.layer,
            "a second table is named without the columns to join it by.",
            'Add join_on = ["column of the parcels", "column of the table"].',
        )
    names = list_columns(
        source.attributes, layer=source.layer, table=source.attributes_table, kind="table"
    )
    given = frozenset(
        name for name, spec in source.columns.items() if _gives(spec, names) and name != "parcel_id"
    )
    kept = {name: spec for name, spec in source.columns.items() if name not in given}
    private = tuple(name for name in source.keep_private if name not in given)
    return replace(source, columns=kept, keep_private=private), given


def _gives(spec: ColumnSource, names: list[str]) -> bool:
    return spec.column is not None and find_column(spec.column, names) is not None


def _without(names: frozenset[str]) -> Layer:
    columns = tuple(column for column in PARCELS.columns if column.name not in names)
    return Layer(PARCELS.name, PARCELS.kind, PARCELS.meaning, columns, key=PARCELS.key)


def _polygon_key(source: Source) -> str:
    if source.join_on is None:
        raise LayerError(source.layer, "join_on is missing.", "Add it to the region file.")
    names = list_columns(source.files[0], layer=source.layer, table=source.table)
    return demand_column(source.join_on[0], names, layer=source.layer, purpose="join_on")


def _read_records(source: Source, given: frozenset[str], log: DefectLog) -> pd.DataFrame:
    """Assessor's records with canonical columns and the column ``join_key``."""
    path = source.attributes
    if path is None or source.join_on is None:
        return pd.DataFrame({JOIN: pd.Series(dtype="string")})
    names = list_columns(path, layer=source.layer, table=source.attributes_table, kind="table")
    key = demand_column(source.join_on[1], names, layer=source.layer, purpose="join_on")
    layer = Layer(
        PARCELS.name,
        "table",
        PARCELS.meaning,
        tuple(column for column in PARCELS.columns if column.name in given),
    )
    columns = {name: spec for name, spec in source.columns.items() if name in given}
    private = tuple(name for name in source.keep_private if name in given)
    part = Source(source.layer, (path,), columns=columns, keep_private=private, day=source.day)
    wanted = needed_columns(part, layer, names, extra=[key])
    part_log = DefectLog(log.layer)
    raw = parse_table(
        path,
        layer=source.layer,
        table=source.attributes_table,
        columns=wanted,
        kind="table",
        log=part_log,
    )
    told = part_log.table()
    log.extend(told.assign(row="record " + told["row"]))
    raw = raw.set_axis(("record " + raw.index).rename("row"), axis=0)
    records = canonical_table(raw, part, layer, log)
    return records.assign(**{JOIN: as_text(raw[key])})


def join_records(
    parcels: gpd.GeoDataFrame,
    keys: pd.Series,
    records: pd.DataFrame,
    log: DefectLog,
    *,
    all_keys: bool = True,
) -> gpd.GeoDataFrame:
    """Add the assessor's columns to each polygon by its join key.

    Parameters
    ----------
    keys
        Join key of each polygon, same index as `parcels`.
    records
        Assessor's records, any number per key.
    all_keys
        Whether every record should find a polygon (not so when only a box was read).
    """
    found = find_keys(records[JOIN], keys)
    for spelling in found.spelling.dropna().unique():
        rows = found.spelling.eq(spelling).fillna(False).astype(bool)
        log.add("parcel_id", "other_spelling", records.loc[rows, JOIN], f"found {spelling}")
    records = records.assign(**{JOIN: found.keys})
    lost = records[~records[JOIN].isin(keys.dropna())]
    if all_keys:
        log.add("parcel_id", "record_without_parcel", lost[JOIN].fillna(""), "left out")
    records = records.loc[records[JOIN].isin(keys.dropna())]
    combined = combine_records(records.drop(columns=JOIN), records[JOIN], log)
    matched = keys.isin(combined.index)
    log.add("parcel_id", "parcel_without_record", keys[~matched].fillna(""), "kept")
    joined = combined.reindex(keys.fillna("").to_numpy()).set_axis(parcels.index, axis=0)
    frame = parcels.assign(**{str(name): joined[name] for name in joined.columns})
    order = [name for name in PARCELS.column_names if name in frame]
    return gpd.GeoDataFrame(frame[[*order, "geometry"]], crs=parcels.crs)


def merge_polygons(parcels: gpd.GeoDataFrame, log: DefectLog) -> gpd.GeoDataFrame:
    """One row per parcel number: polygons of the same number become one multi-part shape.

    Polygons that are equal (a condominium drawn once per unit) are records of one parcel and are
    combined as such; different polygons are parts of one parcel whose attributes repeat, so
    nothing is added up: the first known value is taken, and the earliest year.
    """
    repeated = parcels["parcel_id"].duplicated(keep=False)
    if not repeated.any():
        return parcels
    later = parcels["parcel_id"].duplicated(keep="first")
    log.add("parcel_id", "duplicate_parcel", parcels.loc[later, "parcel_id"], "merged into one")
    several = parcels[repeated]
    shapes = pd.Series(
        shapely.normalize(several.geometry.to_numpy()), index=several.index, dtype=object
    )
    wkb = pd.Series(shapely.to_wkb(shapes.to_numpy()), index=several.index)
    stacked = wkb.groupby(several["parcel_id"]).transform("nunique") == 1
    _refuse_no_key(parcels["parcel_id"], later & ~stacked.reindex(later.index, fill_value=False))
    plain = pd.DataFrame(several.drop(columns="geometry"))
    parts = [
        _combine(plain[stacked], log, add_up=True),
        _combine(plain[~stacked], log, add_up=False),
    ]
    merged = pd.concat([part for part in parts if len(part)])
    united = several.geometry.groupby(several["parcel_id"], sort=False).agg(
        lambda group: shapely.union_all(group.to_numpy())
    )
    first = parcels[repeated & ~later]
    merged = merged.reindex(first["parcel_id"].to_numpy())
    merged.index = first.index
    merged["parcel_id"] = first["parcel_id"]
    shape = gpd.GeoSeries(united.reindex(first["parcel_id"]).to_numpy(), first.index, parcels.crs)
    joined = gpd.GeoDataFrame(merged[plain.columns], geometry=shape, crs=parcels.crs)
    together = pd.concat([parcels[~repeated], joined.astype(plain.dtypes)])
    return gpd.GeoDataFrame(together.loc[parcels.index[~later]], crs=parcels.crs)


def _refuse_no_key(keys: pd.Series, merged: pd.Series) -> None:
    """Refuse a column of parcel numbers that puts most of the county into a few parcels."""
    count = int(merged.sum())
    if count < LEAST_REPEATS or count <= len(keys) / 2:
        return
    usual = keys.value_counts().head(3)
    shown = ", ".join(f"{key} ({number:,} times)" for key, number in usual.items())
    raise LayerError(
        PARCELS.name,
        f"{len(keys):,} shapes have only {keys.nunique():,} different parcel numbers: {shown}.",
        "Map parcel_id to the column with the parcel number; this one holds something else.",
    )


def _combine(plain: pd.DataFrame, log: DefectLog, *, add_up: bool) -> pd.DataFrame:
    keys = plain["parcel_id"]
    values = plain.drop(columns="parcel_id")
    if add_up:
        return combine_records(values, keys, log)
    grouped = values.groupby(keys.to_numpy(), sort=False)
    result = grouped.first()
    if len(result):
        result["year_built"] = grouped["year_built"].min()
        differ = grouped[KEPT_FIRST].nunique().gt(1).any(axis=1)
        log.add("", "parts_disagree", _rows_of(keys, differ), "first known value kept")
    return result


def _rows_of(keys: pd.Series, chosen: pd.Series) -> pd.Series:
    return keys[~keys.duplicated() & keys.isin(chosen.index[chosen])]


def _report_stacked(parcels: gpd.GeoDataFrame, log: DefectLog) -> None:
    """Report equal polygons under different parcel numbers: units drawn on top of each other."""
    wkb = pd.Series(
        shapely.to_wkb(shapely.normalize(parcels.geometry.to_numpy())), index=parcels.index
    )
    stacked = wkb.duplicated(keep="first")
    log.add("geometry", "stacked_parcels", parcels.loc[stacked, "parcel_id"], "kept")
