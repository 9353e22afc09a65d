"""Layers that are given as tables in memory: kept as files, and read like any other source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Final

import geopandas as gpd
import pandas as pd
import pyogrio

from riskmap.contract.errors import LayerError
from riskmap.contract.layers import LAYERS
from riskmap.contract.sources import Source
from riskmap.contract.suggest import nearest
from riskmap.keeping.store import FOLDER
from riskmap.region.sections import Region

GivenLayers = Mapping[str, pd.DataFrame]

GIVEN: Final = "given"
"""Folder of these files, in the one where stages keep what they gave."""


def with_layers(region: Region, layers: GivenLayers) -> Region:
    """Return the region with some of its sources replaced by tables in memory.

    Parameters
    ----------
    region
        As opened.
    layers
        Table by layer: a GeoDataFrame with a reference system for shapes, a DataFrame else.

    Raises
    ------
    LayerError
        If there is no such layer, or shapes are wanted and not given.
    """
    if not layers:
        return region
    folder = region.path.parent / FOLDER / GIVEN
    folder.mkdir(parents=True, exist_ok=True)
    sources = dict(region.sources)
    for name, frame in layers.items():
        declared = LAYERS.get(name)
        if declared is None or declared.kind == "raster":
            usable = [one for one, layer in LAYERS.items() if layer.kind != "raster"]
            raise LayerError(name, "no such layer can be given in memory.", nearest(name, usable))
        path = _written(name, frame, folder)
        before = sources.get(name, Source(name, ()))
        crs = before.crs if path.suffix == ".csv" else None
        sources[name] = replace(
            before, files=(path,), table=None, form="auto", attributes=None, attributes_table=None,
            join_on=None, crs=crs,
        )  # fmt: skip
    return replace(region, sources=sources)


def _written(name: str, frame: pd.DataFrame, folder: Path) -> Path:
    """Write a table; the same table gives the same bytes, so that it is not read again."""
    if isinstance(frame, gpd.GeoDataFrame):
        if frame.crs is None:
            raise LayerError(name, "the GeoDataFrame has no reference system.", "Set its crs.")
        path = folder / f"{name}.fgb"
        pyogrio.write_dataframe(frame, path, driver="FlatGeobuf", SPATIAL_INDEX="NO")
        return path
    if LAYERS[name].kind == "polygon" or LAYERS[name].kind == "line":
        raise LayerError(name, "shapes are wanted.", "Give a GeoDataFrame.")
    path = folder / f"{name}.csv"
    path.write_text(frame.to_csv(index=False), encoding="utf-8", newline="")
    return path
