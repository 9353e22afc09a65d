"""A county as a stage sees it: its region file, and its layers in one reference system."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from riskmap.contract.layers import INSPECTIONS, LAYERS
from riskmap.contract.soil_layers import SOIL_INTERPRETATIONS, SOIL_LAYERS
from riskmap.region.layers import SOIL_SURVEY
from riskmap.stages.stage import LAYER

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd
    from pyproj import CRS

    from riskmap.contract.grid import Grid
    from riskmap.region.sections import Region

SOIL: Final = tuple(layer.name for layer in SOIL_LAYERS if layer is not SOIL_INTERPRETATIONS)
"""Layers that a run takes from a soil survey."""


class UndeclaredError(LookupError):
    """A stage reads what it does not declare: a fault of the program, never of the data."""


@dataclass(frozen=True)
class County:
    """A county's canonical layers, all in one reference system, read when they are used.

    ``tables`` holds shapes and plain tables, ``rasters`` the grids, both by layer name; a layer
    that the region does not give is not in them. ``crs`` is there where a layer is.
    """

    region: Region
    crs: CRS
    tables: Mapping[str, pd.DataFrame]
    rasters: Mapping[str, Grid]

    @property
    def lots(self) -> gpd.GeoDataFrame:
        """Lot polygons, index ``parcel_id``, in the order of the parcels layer."""
        lots: Any = self.tables["parcels"].set_index("parcel_id")[["geometry"]]
        return lots


def county_of(region: Region, things: Mapping[str, Any], layers: Collection[str]) -> County:
    """Give a stage its county, with the layers it declares.

    Parameters
    ----------
    region
        As opened.
    things
        What has been given so far, by name.
    layers
        Names of the layers declared; asking for another is an :class:`UndeclaredError`.
    """
    given = {*region.sources, *(SOIL if SOIL_SURVEY in region.sources else ())}
    given |= set() if region.outcomes is None else {INSPECTIONS.name}

    def of_kind(raster: bool) -> _Layers:
        names = [name for name in LAYERS if (LAYERS[name].kind == "raster") == raster]
        own = [name for name in _in_order(names, region) if name in given]
        return _Layers(own, layers, lambda name: things[f"{LAYER}{name}"])

    crs: Any = things["crs"] if layers else None
    return County(region, crs, of_kind(raster=False), of_kind(raster=True))


def _in_order(names: Collection[str], region: Region) -> list[str]:
    """Put parcels first, then the layers as the region file names them, then the soils."""
    order = ["parcels", *region.sources, *SOIL]
    return sorted(names, key=lambda name: order.index(name) if name in order else len(order))


class _Layers(Mapping[str, Any]):
    """Layers by name, each read when it is used."""

    def __init__(
        self, given: Collection[str], declared: Collection[str], read: Callable[[str], Any]
    ) -> None:
        self._given, self._declared, self._read = given, declared, read

    def __getitem__(self, name: str) -> Any:
        if name not in self:
            raise KeyError(name)
        return self._read(name)

    def __contains__(self, name: object) -> bool:
        if name not in self._declared:
            raise UndeclaredError(f"the layer {name!r} is read, but not declared")
        return name in self._given

    def __iter__(self) -> Iterator[str]:
        return (name for name in self._given if name in self._declared)

    def __len__(self) -> int:
        return sum(1 for _ in self)
