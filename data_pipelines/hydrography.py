"""Reads streams and water bodies; the national hydrography's column names need no mapping."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import geopandas as gpd
from pyproj import CRS

from data_pipelines.columns import find_column
from data_pipelines.defect_log import DefectLog
from data_pipelines.tables import list_columns
from data_pipelines.values import as_text
from data_pipelines.vector import Bounds, canonical_layer, parse_shapes, read_shapes
from riskmap.contract.layers import STREAMS, WATERBODIES
from riskmap.contract.sources import Reading, Source

_IDS: Final = ("COMID", "NHDPlusID", "Permanent_Identifier", "REACHCODE", "LINEARID", "HYDROID")
_NAMES: Final = ("GNIS_NAME", "FULLNAME", "NAME")
STREAM_COLUMNS: Final[Mapping[str, Sequence[str]]] = {"stream_id": _IDS, "name": _NAMES}
WATERBODY_COLUMNS: Final[Mapping[str, Sequence[str]]] = {"waterbody_id": _IDS, "name": _NAMES}

UNDERGROUND: Final = ("pipeline", "undergroundconduit", "underground conduit", "428", "420")
"""Kinds of flow line that are no surface water, by name and by code of the national layer."""


def read_streams(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read stream lines; pipelines and underground conduits are left out and reported.

    Parameters
    ----------
    source, crs, bounds
        As in :func:`data_pipelines.registry.read_layer`.
    """
    log = DefectLog(STREAMS.name)
    names = list_columns(source.files[0], layer=source.layer, table=source.table)
    kind = find_column("FTYPE", names)
    raw = parse_shapes(
        source,
        STREAMS,
        crs,
        log,
        defaults=STREAM_COLUMNS,
        extra=[] if kind is None else [kind],
        bounds=bounds,
    )
    return canonical_streams(raw, source, crs, log)


def canonical_streams(raw: gpd.GeoDataFrame, source: Source, crs: CRS, log: DefectLog) -> Reading:
    """Canonical stream lines of a raw frame (with its FTYPE column if it has one).

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
    kind = find_column("FTYPE", raw.columns)
    if kind is not None:
        hidden = as_text(raw[kind]).str.lower().isin(UNDERGROUND).fillna(False).astype(bool)
        log.add("geometry", "not_surface_water", raw.loc[hidden, kind], "left out")
        raw = raw[~hidden]
    frame = canonical_layer(raw, source, STREAMS, crs, log, defaults=STREAM_COLUMNS)
    return Reading(frame, log.table())


def read_waterbodies(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read lakes, ponds and wide rivers.

    Parameters
    ----------
    source, crs, bounds
        As in :func:`data_pipelines.registry.read_layer`.
    """
    return read_shapes(source, WATERBODIES, crs, defaults=WATERBODY_COLUMNS, bounds=bounds)
