"""Reads wells: a county's own table or point layer, or a site file of the federal services."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

import geopandas as gpd
from pyproj import CRS

from data_pipelines.columns import find_column
from data_pipelines.defect_log import DefectLog
from data_pipelines.mapping import drop_repeats, part_keys
from data_pipelines.tables import list_columns
from data_pipelines.values import as_text, plain_number
from data_pipelines.vector import Bounds, canonical_layer, parse_shapes
from data_pipelines.well_checks import check_depths, check_elevation_unit, check_in_water
from riskmap.contract.layers import WELLS
from riskmap.contract.sources import ColumnSource, Reading, Source
from riskmap.contract.units import FOOT_M

__all__ = [
    "canonical_wells",
    "check_depths",
    "check_elevation_unit",
    "check_in_water",
    "read_wells",
]

_FEET: Final = "ft"
SITE_FILE: Final[Mapping[str, ColumnSource]] = {
    "well_id": ColumnSource("site_no"),
    "depth_m": ColumnSource("well_depth_va", unit=_FEET),
    "ground_elevation_m": ColumnSource("alt_va", unit=_FEET),
    "vertical_datum": ColumnSource("alt_datum_cd"),
    "aquifer": ColumnSource("aqfr_cd"),
    "drilled": ColumnSource("construction_dt"),
}
"""Columns of the federal site file (RDB); heights and depths are in feet there."""

PORTAL_SITES: Final[Mapping[str, ColumnSource]] = {
    "well_id": ColumnSource("MonitoringLocationIdentifier"),
    "depth_m": ColumnSource("WellDepthMeasure/MeasureValue", unit=_FEET),
    "ground_elevation_m": ColumnSource("VerticalMeasure/MeasureValue", unit=_FEET),
    "vertical_datum": ColumnSource("VerticalCoordinateReferenceSystemDatumName"),
    "aquifer": ColumnSource("AquiferName"),
    "drilled": ColumnSource("ConstructionDateText"),
}
"""Columns of the water-quality portal's site file; each height has its unit in the next column."""

_KINDS: Final = {
    "site_tp_cd": r"^GW",
    "MonitoringLocationTypeName": r"^(?:Well|Subsurface|Collector)",
}
_METERS: Final = ("m", "meter", "meters", "metre", "metres")


def read_wells(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read wells; a federal site file needs no mapping.

    Parameters
    ----------
    source, crs, bounds
        As in :func:`data_pipelines.registry.read_layer`.
    """
    names = list_columns(source.files[0], layer=source.layer, table=source.table)
    log = DefectLog(WELLS.name)
    source = known_source(source, names)
    extra = [name for name in names if name in _KINDS or name.endswith("MeasureUnitCode")]
    raw = parse_shapes(source, WELLS, crs, log, extra=extra, bounds=bounds)
    return canonical_wells(raw, source, crs, log)


def known_source(source: Source, names: list[str]) -> Source:
    """Complete the mapping if the columns are those of a federal site file."""
    if find_column("site_no", names) and find_column("dec_lat_va", names):
        return _completed(source, SITE_FILE, names, x="dec_long_va", y="dec_lat_va")
    if find_column("LatitudeMeasure", names) and find_column("MonitoringLocationTypeName", names):
        return _completed(source, PORTAL_SITES, names, x="LongitudeMeasure", y="LatitudeMeasure")
    return source


def _completed(
    source: Source, known: Mapping[str, ColumnSource], names: list[str], *, x: str, y: str
) -> Source:
    given = {
        name: spec
        for name, spec in known.items()
        if spec.column is not None and find_column(spec.column, names) is not None
    }
    return replace(
        source,
        columns={**given, **source.columns},
        x=source.x or x,
        y=source.y or y,
        crs=source.crs or "EPSG:4269",
    )


def canonical_wells(raw: gpd.GeoDataFrame, source: Source, crs: CRS, log: DefectLog) -> Reading:
    """Canonical wells: columns, points, unique numbers, and plausible depths reported.

    Parameters
    ----------
    raw
        Rows as parsed, with their shapes in the source's system.
    source
        Gives the column mapping.
    crs
        The region's reference system.
    log
        Gets the defects.
    """
    raw = _wells_only(_in_feet(raw, log), log)
    frame = canonical_layer(raw, source, WELLS, crs, log)
    frame = part_keys(drop_repeats(frame, log, column="well_id"), WELLS, log)
    log.extend(check_depths(frame))
    return Reading(frame, log.table())


def _wells_only(raw: gpd.GeoDataFrame, log: DefectLog) -> gpd.GeoDataFrame:
    """Leave out streams, lakes and springs of a site file."""
    for name, pattern in _KINDS.items():
        if name in raw:
            kind = as_text(raw[name]).fillna("")
            other = ~kind.str.contains(pattern)
            log.add("well_id", "not_a_well", kind[other], "left out")
            raw = raw[~other]
    return raw


def _in_feet(raw: gpd.GeoDataFrame, log: DefectLog) -> gpd.GeoDataFrame:
    """Bring the portal's heights, which carry their unit in the next column, to feet."""
    for name in ("WellDepthMeasure", "VerticalMeasure"):
        value, unit = f"{name}/MeasureValue", f"{name}/MeasureUnitCode"
        if value not in raw or unit not in raw:
            continue
        said = as_text(raw[unit]).str.lower()
        number = plain_number(raw[value])
        metric = said.isin(_METERS).fillna(False).astype(bool)
        known = metric | said.isin(["ft", "feet", "foot"]).fillna(False).astype(bool)
        odd = number.notna() & ~known
        log.add(value, "unknown_unit", said[odd].fillna(""), "set to missing")
        number = number.mask(metric, number / FOOT_M).where(known)
        raw = raw.assign(**{value: number})
    return raw
