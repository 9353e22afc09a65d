"""The layers of a run as metadata knows them: files, columns with meanings, extent."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import geopandas as gpd
import pandas as pd
from pyproj import CRS, Transformer

from riskmap.contract.columns import Column, Layer
from riskmap.contract.features import column
from riskmap.contract.layers import PRIVATE
from riskmap.contract.quantities import in_units
from riskmap.publish.gis.styles import STYLES, WORD_STYLES
from riskmap.publish.outputs import titled
from riskmap.publish.words.text_safety import plain_text

WGS84: Final = CRS.from_epsg(4326)
Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class LayerFile:
    """One file of a layer: its path in the result folder, a title, media type, and roles."""

    path: str
    title: str
    media_type: str
    roles: tuple[str, ...] = ("data",)


@dataclass(frozen=True)
class RunLayer:
    """One layer of a run: what it is, its files, its columns (name -> meaning), and its extent.

    ``bounds`` are west, south, east, north in the run's reference system; ``types`` has the plain
    type of each column where known.
    """

    name: str
    title: str
    meaning: str
    files: tuple[LayerFile, ...]
    bounds: Box
    rows: int
    columns: Mapping[str, str] = field(default_factory=dict)
    types: Mapping[str, str] = field(default_factory=dict)


def named_file(path: str, media_type: str, role: str = "data") -> LayerFile:
    """Return a file of a layer, with the title that the front page gives it."""
    return LayerFile(path, titled(path), media_type, (role,))


def style_file(name: str) -> LayerFile:
    """Return the style ``styles/<name>.sld`` as a file of a layer."""
    title = f"Style: {name.replace('_', ' ')}"
    return LayerFile(f"styles/{name}.sld", title, "application/vnd.ogc.sld+xml", ("style",))


PARCEL_FILES: Final = (
    named_file("parcels.gpkg", "application/geopackage+sqlite3"),
    named_file("parcels.parquet", "application/vnd.apache.parquet"),
    *(style_file(name) for name in (*STYLES, *WORD_STYLES)),
    named_file("data_quality.csv", "text/csv", "metadata"),
)
PARCELS_TITLE: Final = "Parcels with scores and ranks"
PARCELS_MEANING: Final = (
    "One polygon per parcel with what is known of its onsite system (each value with a mark of how "
    "it is known), points of every factor, failure and groundwater scores, priority, rank and "
    "reasons. A screening, not a finding."
)


def layer_of(
    table: gpd.GeoDataFrame,
    *,
    of: Layer | None = None,
    files: tuple[LayerFile, ...] = PARCEL_FILES,
) -> RunLayer:
    """Describe a table of shapes as a layer; private columns are left out.

    A table indexed by ``parcel_id`` is described with that column first, as it is written.

    Parameters
    ----------
    table
        Its rows, in the run's reference system.
    of
        Its declaration; None for the parcels.
    files
        Where it is written.
    """
    plain = pd.DataFrame(table.drop(columns=table.geometry.name))
    if plain.index.name == "parcel_id":
        plain = plain.reset_index()
    names = [str(name) for name in plain.columns if name not in PRIVATE]
    declared = {} if of is None else {found.name: found for found in of.columns}
    west, south, east, north = map(float, table.total_bounds)
    return RunLayer(
        name="parcels" if of is None else of.name,
        title=PARCELS_TITLE if of is None else of.title,
        meaning=PARCELS_MEANING if of is None else of.meaning,
        files=files,
        bounds=(west, south, east, north),
        rows=len(table),
        columns={name: described(declared.get(name) or column(name)) for name in names},
        types={name: _type_of(plain[name]) for name in names},
    )


def described(found: Column) -> str:
    """Meaning of a column with its SI unit or its words.

    >>> described(column("lot_m2")), described(column("age_yr_evidence"))
    ('Lot size (m2)', 'How age_yr is known: measured, mapped, inferred, assumed, unknown')
    """
    words = f": {', '.join(found.domain)}" if found.domain and ":" not in found.meaning else ""
    unit = f" ({found.unit})" if found.unit else ""
    return in_units(found.meaning, "si") + unit + words


def degrees(bounds: Box, crs: CRS) -> Box:
    """Box in degrees (WGS 84) around `bounds`, edges followed closely, six decimals."""
    step = Transformer.from_crs(crs, WGS84, always_xy=True)
    west, south, east, north = step.transform_bounds(*bounds, densify_pts=21)
    return round(west, 6), round(south, 6), round(east, 6), round(north, 6)


def union(
    boxes: Sequence[Box],
) -> Box:
    """Box around all boxes."""
    west, south, east, north = zip(*boxes, strict=True)
    return min(west), min(south), max(east), max(north)


def crs_code(crs: CRS) -> str | None:
    """Return authority and code, such as ``EPSG:32616``; None where the system has none."""
    found = crs.to_authority()
    return ":".join(found) if found else None


def slug(text: str) -> str:
    """Return a name of small letters, digits and hyphens.

    >>> slug("Fennimarsh County (invented)"), slug("???")
    ('fennimarsh-county-invented', 'unnamed')
    """
    return re.sub(r"[^a-z0-9]+", "-", plain_text(text).lower()).strip("-") or "unnamed"


def _type_of(values: pd.Series) -> str:
    kinds = (
        ("boolean", pd.api.types.is_bool_dtype),
        ("integer", pd.api.types.is_integer_dtype),
        ("number", pd.api.types.is_numeric_dtype),
        ("datetime", pd.api.types.is_datetime64_any_dtype),
    )
    return next((word for word, is_kind in kinds if is_kind(values.dtype)), "text")
