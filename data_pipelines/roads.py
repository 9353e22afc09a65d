"""Reads road lines from any vector format, an OpenStreetMap extract among them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from pyproj import CRS

from data_pipelines.columns import find_column
from data_pipelines.defect_log import DefectLog
from data_pipelines.tables import list_columns
from data_pipelines.values import as_text
from data_pipelines.vector import Bounds, canonical_layer, parse_shapes
from riskmap.contract.layers import ROADS
from riskmap.contract.sources import Reading, Source

ROAD_COLUMNS: Final[Mapping[str, Sequence[str]]] = {"name": ("FULLNAME", "NAME")}
KIND: Final = "highway"
"""OpenStreetMap's column; lines without a value in it are rivers, power lines and the like."""
ON_FOOT: Final = (
    "footway", "path", "steps", "cycleway", "bridleway", "pedestrian", "corridor", "proposed",
    "construction", "platform",
)  # fmt: skip
"""Kinds of OpenStreetMap that nobody drives on."""


def read_roads(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read road lines; of an OpenStreetMap extract (its table ``lines``) what can be driven on."""
    log = DefectLog(ROADS.name)
    names = list_columns(source.files[0], layer=source.layer, table=source.table)
    kind = find_column(KIND, names)
    extra = [] if kind is None else [kind]
    raw = parse_shapes(source, ROADS, crs, log, defaults=ROAD_COLUMNS, extra=extra, bounds=bounds)
    if kind is not None:
        words = as_text(raw[kind]).str.lower()
        other = (words.isna() | words.isin(ON_FOOT)).astype(bool)
        log.note("geometry", "not_driven_on", f"{int(other.sum()):,} lines", "left out")
        raw = raw[~other]
    frame = canonical_layer(raw, source, ROADS, crs, log, defaults=ROAD_COLUMNS)
    return Reading(frame, log.table())
