"""GIS files: every parcel with all that is known, as GeoPackage and GeoParquet 1.1.

GeoPackage 1.4 (OGC 12-128r19). GeoParquet 1.1.0 with a bounding-box column and its covering, so
that a reader can skip what lies elsewhere. Values are SI; a column name carries its unit.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

from riskmap.contract.layers import PRIVATE

FIXED_MOMENT: Final = "2000-01-01T00:00:00.000Z"
"""Time of last change inside the GeoPackage: the same county gives the same bytes."""

LAYER: Final = "parcels"


def write_gis_files(
    folder: Path,
    ranked: gpd.GeoDataFrame,
    *,
    private: bool = False,
    extra: Mapping[str, gpd.GeoDataFrame] | None = None,
) -> tuple[Path, Path]:
    """Write ``parcels.gpkg`` and ``parcels.parquet`` into `folder`; returns their paths.

    Parameters
    ----------
    ranked
        One row per parcel, indexed by parcel number; missing shapes are kept as missing.
    private
        Whether owners' and mailing columns go along.
    extra
        Further layers of the GeoPackage by name, indexed by parcel number; empty ones are left out.
    """
    table = storable(ranked, private=private)
    package, parquet = folder / "parcels.gpkg", folder / "parcels.parquet"
    with fixed_moment():
        package.unlink(missing_ok=True)
        table.to_file(package, driver="GPKG", layer=LAYER, engine="pyogrio", index=False)
        for name, layer in (extra or {}).items():
            if len(layer):
                storable(layer).to_file(
                    package, driver="GPKG", layer=name, engine="pyogrio", index=False
                )
    write_parquet(table, parquet)
    return package, parquet


def write_parquet(table: gpd.GeoDataFrame, path: Path) -> None:
    """Write a table as GeoParquet; any file that stands there is replaced."""
    table.to_parquet(
        path, index=False, compression="zstd", schema_version="1.1.0", write_covering_bbox=True
    )


def storable(ranked: gpd.GeoDataFrame, *, private: bool = False) -> gpd.GeoDataFrame:
    """Return the table with plain columns: parcel number first, lists as text, one shape kind."""
    table = ranked.reset_index(names="parcel_id")
    if not private:
        table = table.drop(columns=[name for name in table.columns if name in PRIVATE])
    for name in table.columns.drop(table.geometry.name):
        table[name] = plain_column(table[name])
    return table.set_geometry(one_kind(table.geometry))


def plain_column(values: pd.Series) -> pd.Series:
    """Turn a column into numbers, yes or no, or text that every GIS reads."""
    if values.dtype != object and not isinstance(values.dtype, pd.CategoricalDtype):
        return values
    known = values.dropna()
    if len(known) and known.map(lambda value: isinstance(value, bool | np.bool_)).all():
        return values.astype("boolean")
    return values.map(_text, na_action="ignore").astype(object)


def _text(value: object) -> str:
    if isinstance(value, list | tuple | set | frozenset | np.ndarray):
        return "; ".join(str(item) for item in value)
    return str(value)


def one_kind(shapes: gpd.GeoSeries) -> gpd.GeoSeries:
    """Make multipolygons of polygons where both occur: many programs need one kind a layer."""
    array = np.array(shapes.values, dtype=object)
    kinds = shapely.get_type_id(array)
    if (kinds == 6).any() and (kinds == 3).any():
        single = kinds == 3
        array[single] = [shapely.MultiPolygon([shape]) for shape in array[single]]
    return gpd.GeoSeries(array, index=shapes.index, crs=shapes.crs)


@contextmanager
def fixed_moment() -> Iterator[None]:
    """Have files written inside carry :data:`FIXED_MOMENT` as their time."""
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_MOMENT})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})
