"""Coordinates in columns to points: numbers, text, degrees-minutes-seconds."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from data_pipelines.columns import demand_column, find_column
from data_pipelines.defect_log import DefectLog
from data_pipelines.shapes import source_crs
from data_pipelines.values import MISSING_NUMBERS, as_text, plain_number
from riskmap.contract.errors import LayerError
from riskmap.contract.sources import Source

_DMS: Final = (
    r"^(?P<h1>[NSEWnsew])?\s*(?P<s>-)?(?P<d>\d{1,3})[°\s:]+(?P<m>\d{1,2})['′\s:]+"
    r"(?P<sec>\d{1,2}(?:\.\d+)?)[\"″\s]*(?P<h2>[NSEWnsew])?$"
)
DATUM_COLUMNS: Final = (
    "dec_coord_datum_cd",
    "horizontal_datum",
    "HorizontalCoordinateReferenceSystemDatumName",
    "Location_HorzCoordReferenceSystemDatum",
    "decimal_latitude_longitude_datum",
)
"""Columns that say row by row which datum longitude and latitude refer to."""

DATUMS: Final = {
    "NAD83": "EPSG:4269",
    "NORTH AMERICAN DATUM OF 1983": "EPSG:4269",
    "NAD27": "EPSG:4267",
    "NORTH AMERICAN DATUM OF 1927": "EPSG:4267",
    "WGS84": "EPSG:4326",
}
_HEMISPHERE: Final = r"^(?P<v>[-+]?\d+(?:\.\d+)?)\s*°?\s*(?P<h>[NSEWnsew])$"


def parse_coordinate(values: pd.Series) -> pd.Series:
    """Coordinates as float64 from numbers, text numbers or degrees-minutes-seconds text.

    >>> parse_coordinate(pd.Series(["-81.25 ", "81 15 00 W", "81.25W", "unknown"])).tolist()
    [-81.25, -81.25, -81.25, nan]
    """
    number = plain_number(values)
    if pd.api.types.is_numeric_dtype(values.dtype):
        return number.mask(number.isin(MISSING_NUMBERS))
    odd = as_text(values[number.isna()]).dropna()
    if len(odd):
        number[odd.index] = _angle(odd)
    return number.mask(number.isin(MISSING_NUMBERS))


def _angle(text: pd.Series) -> pd.Series:
    """Angles written with a hemisphere, or in degrees, minutes and seconds."""
    parts = text.str.extract(_DMS)
    amounts = parts[["d", "m", "sec"]].astype("float64")
    degrees = amounts["d"] + amounts["m"] / 60 + amounts["sec"] / 3600
    side = parts["h1"].fillna(parts["h2"]).str.upper()
    negative = side.isin(["S", "W"]) | parts["s"].notna()
    degrees = degrees.mask(negative, -degrees)
    marked = text.str.extract(_HEMISPHERE)
    value = marked["v"].astype("float64")
    value = value.mask(marked["h"].str.upper().isin(["S", "W"]), -value.abs())
    return degrees.fillna(value).astype("float64")


def coordinate_pair(raw: pd.DataFrame, x: str, y: str, *, layer: str) -> pd.DataFrame:
    """Coordinates in columns ``x`` and ``y`` as float64.

    Parameters
    ----------
    raw
        Rows as parsed.
    x, y
        Names of the columns; numbers, or texts as :func:`parse_coordinate` reads them.
    layer
        Name of the layer, for messages.

    Returns
    -------
    DataFrame
        NaN in both columns where either is missing or both are 0.

    Raises
    ------
    LayerError
        If a column is not there.
    """
    pair = pd.DataFrame(
        {
            "x": parse_coordinate(raw[demand_column(x, raw.columns, layer=layer, purpose="x")]),
            "y": parse_coordinate(raw[demand_column(y, raw.columns, layer=layer, purpose="y")]),
        }
    )
    unusable = pair.isna().any(axis=1) | (pair == 0).all(axis=1)
    return pair.mask(unusable)


def place_points(
    raw: pd.DataFrame, source: Source, log: DefectLog, *, name: str
) -> gpd.GeoDataFrame:
    """Turn rows of a plain table into points by ``source.x``, ``source.y`` and ``source.crs``.

    Parameters
    ----------
    raw
        Rows as parsed.
    source
        Gives the columns and the reference system.
    log
        Gets the defects.
    name
        Name of the file, for messages.

    Raises
    ------
    LayerError
        If no coordinate columns are named.
    """
    if source.x is None or source.y is None:
        raise LayerError(
            source.layer,
            f"{name} is a plain table, and no coordinate columns are named.",
            f"Add x and y to this layer. Columns: {', '.join(map(str, raw.columns))}.",
        )
    system = source_crs(source.crs, None, name=name, log=log)
    pair = coordinate_pair(raw, source.x, source.y, layer=source.layer)
    datum_column = datum_column_of(raw.columns)
    if system.is_geographic and datum_column is not None:
        pair = to_datum(pair, as_text(raw[datum_column]), system, log)
    return gpd.GeoDataFrame(raw, geometry=points_of(pair), crs=system)


def datum_column_of(names: Iterable[str]) -> str | None:
    """First column among `names` that gives the horizontal datum of each row."""
    known = list(names)
    found = [find_column(name, known) for name in DATUM_COLUMNS]
    return next((name for name in found if name is not None), None)


def to_datum(pair: pd.DataFrame, datum: pd.Series, system: CRS, log: DefectLog) -> pd.DataFrame:
    """Move the rows that refer to another datum than `system` into it, and log them.

    NAD27 differs from NAD83 by up to about 100 m. Without the national shift grids the
    transformation is the mean one of the continent, good to some 10 m.

    Parameters
    ----------
    pair
        Longitude ``x`` and latitude ``y``, degrees.
    datum
        Datum of each row, a name of :data:`DATUMS`; an unknown one is taken as `system`.
    system
        Geographic system to move into.
    log
        Gets the defects.
    """
    result = pair.copy()
    for name, code in DATUMS.items():
        rows = datum.str.upper().eq(name).fillna(False).astype(bool) & pair["x"].notna()
        if CRS(code).equals(system) or not rows.any():
            continue
        x, y = move_pair(pair[rows], CRS(code), system)
        result.loc[rows, ["x", "y"]] = np.column_stack([x, y])
        if code == DATUMS["NAD27"]:
            log.add("geometry", "other_horizontal_datum", datum[rows], f"moved to {system.name}")
    unknown = pair["x"].notna() & ~datum.str.upper().isin(list(DATUMS)).fillna(False).astype(bool)
    log.add("geometry", "unknown_horizontal_datum", datum[unknown].fillna(""), "taken as declared")
    return result


def points_of(pair: pd.DataFrame) -> gpd.GeoSeries:
    """Points of a coordinate pair; None where there is none."""
    known = pair.notna().all(axis=1).to_numpy()
    shapes = np.full(len(pair), None, dtype=object)
    shapes[known] = shapely.points(pair.to_numpy()[known])
    return gpd.GeoSeries(shapes, index=pair.index)


def move_pair(
    pair: pd.DataFrame, system: CRS, crs: CRS
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Eastings and northings of a pair in `crs`; NaN stays NaN.

    Parameters
    ----------
    pair
        Columns ``x`` and ``y`` in `system`.
    system, crs
        Reference systems to move from and into.
    """
    mover = Transformer.from_crs(system, crs, always_xy=True)
    x, y = mover.transform(pair["x"].to_numpy(), pair["y"].to_numpy())
    bad = ~(np.isfinite(x) & np.isfinite(y))
    return np.where(bad, np.nan, x), np.where(bad, np.nan, y)
