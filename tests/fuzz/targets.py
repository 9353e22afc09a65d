"""What the fuzz reads: small real files of every form, and the reader of each.

A further reader joins by one entry in :data:`TARGETS`: its name, and a function that takes the
:class:`Workshop` and gives a :class:`Target`.
"""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Final, Literal

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from data_pipelines.rasters import RasterReading
from data_pipelines.registry import read_layer
from riskmap.contract.sources import ColumnSource, Reading, Source
from riskmap.region.read import Region, read_region
from sample_region.make import make_county

ROWS: Final = 30
"""Records kept of each sample file: damage shows as well in few, and they are read quickly."""

UTM: Final = CRS("EPSG:32616")


Keeps = Literal["rows", "count", "nothing"]

_COUNTED: Final = r"^.*: (\d+) (?:rows|results)$"
_OF_SAMPLES: Final = r"^(?P<results>\d+) results of (?P<samples>\d+) samples$"
"""Words of defects that tell how many records are left out, or make up others."""


@dataclass(frozen=True)
class Outcome:
    """What a reader made of its files: rows by label, and the labels its defects tell of.

    ``more`` are the records that its defects tell of by their number only.
    """

    rows: Mapping[str, object]
    told: frozenset[str]
    more: int = 0


@dataclass(frozen=True)
class Target:
    """Files, the one that record-wise damage hits, and how they are read.

    ``form`` is a key of :data:`tests.fuzz.blows.KINDS`. Where it ``keeps`` rows, each record of
    `main` is a row of the outcome or told, and the same row as before if nobody touched it; where
    it keeps the count, several records may make up one row. ``counted`` says that single bytes
    cannot change how many records there are.
    """

    files: Mapping[str, bytes]
    main: str
    form: str
    read: Callable[[Path], Outcome]
    keeps: Keeps = "rows"
    counted: bool = False


class AbsentError(Exception):
    """The real open data that a target needs is not on this machine."""


class Workshop:
    """A folder in which targets are made, with one small invented county."""

    def __init__(self, folder: Path, shared: Path) -> None:
        self.folder, self._shared = folder, shared

    @cached_property
    def county(self) -> Region:
        """The invented county, its tables cut to :data:`ROWS` records."""
        make_county(self.folder, parcels=100, seed=11)
        for path in self.folder.rglob("*.csv"):
            lines = path.read_bytes().splitlines(keepends=True)
            path.write_bytes(b"".join(lines[: ROWS + 1]))
        return read_region(self.folder / "region.toml")

    def source(self, layer: str) -> Source:
        """Source of a layer of the county."""
        return self.county.sources[layer]

    def shapes(self, layer: str) -> gpd.GeoDataFrame:
        """First shapes of a layer of the county."""
        return gpd.read_file(self.source(layer).files[0]).iloc[:ROWS]

    def real(self, path: str) -> Path:
        """A file of the real open data."""
        found = self._shared / path
        if not found.exists():
            raise AbsentError(f"real open data not found: ../shared/data/{path}")
        return found


Make = Callable[[Workshop], Target]


def of_reading(reading: Reading | RasterReading) -> Outcome:
    """Rows and told labels of a reading; a raster has no rows."""
    told = frozenset(reading.defects["row"])
    words = reading.defects["value"].astype(str)
    more = int(words.str.extract(_COUNTED, expand=False).dropna().astype(int).sum())
    samples = words.str.extract(_OF_SAMPLES).dropna().astype(int)
    more += int((samples["results"] - samples["samples"]).sum())
    if isinstance(reading, RasterReading):
        return Outcome({}, told, more)
    frame = reading.frame
    if isinstance(frame, gpd.GeoDataFrame):
        frame = pd.DataFrame(frame).assign(geometry=frame.geometry.to_wkb(hex=True))
    cells = frame.astype(object).where(frame.notna(), None).to_numpy().tolist()
    return Outcome(dict(zip(map(str, frame.index), map(tuple, cells), strict=True)), told, more)


def layer_target(source: Source, folder: Path, *, form: str, keeps: Keeps = "rows") -> Target:
    """Make a target of a layer's source, whose files lie in `folder`."""
    paths = [*source.files, *([source.attributes] if source.attributes else [])]
    files = {
        part.relative_to(folder).as_posix(): part.read_bytes()
        for path in paths
        for part in _parts(path)
    }

    def read(place: Path) -> Outcome:
        moved = replace(
            source,
            files=tuple(place / path.relative_to(folder) for path in source.files),
            attributes=source.attributes and place / source.attributes.relative_to(folder),
        )
        return of_reading(read_layer(moved, UTM))

    return Target(files, paths[0].relative_to(folder).as_posix(), form, read, keeps)


def _parts(path: Path) -> list[Path]:
    if path.is_dir():
        return sorted(part for part in path.rglob("*") if part.is_file())
    return sorted(path.parent.glob(path.stem + ".*")) if path.suffix == ".shp" else [path]


def _layer(layer: str, form: str, *, keeps: Keeps = "rows") -> Make:
    """A layer of the county as its region file has it."""
    return lambda shop: layer_target(shop.source(layer), shop.folder, form=form, keeps=keeps)


def _few(layer: str) -> Make:
    """A JSON layer of the county, cut to its first shapes."""

    def make(shop: Workshop) -> Target:
        path = shop.folder / "few" / f"{layer}.geojson"
        path.parent.mkdir(exist_ok=True)
        shop.shapes(layer).to_file(path)
        return layer_target(replace(shop.source(layer), files=(path,)), shop.folder, form="json")

    return make


def _areas(layer: str) -> Make:
    """Areas that the county has no layer of: its lakes serve as well."""

    def make(shop: Workshop) -> Target:
        path = shop.folder / "few" / f"{layer}.geojson"
        path.parent.mkdir(exist_ok=True)
        shapes = shop.shapes("waterbodies")
        names = [f"Area {number}" for number in range(len(shapes))]
        shapes[["geometry"]].assign(NAME=names).to_file(path)
        return layer_target(Source(layer, (path,)), shop.folder, form="json")

    return make


def _separated(sign: str, suffix: str) -> Make:
    """The inspections with another separator."""

    def make(shop: Workshop) -> Target:
        source = shop.source("inspections")
        path = shop.folder / f"inspections.{suffix}"
        table = pd.read_csv(source.files[0], dtype=str, keep_default_na=False)
        table.to_csv(path, sep=sign, index=False)
        return layer_target(replace(source, files=(path,)), shop.folder, form="text")

    return make


def _line_breaks(shop: Workshop) -> Target:
    """A table whose last column holds quotes, separators and line breaks."""
    path = shop.folder / "notes.csv"
    rows = [f'P-{n},{2000 + n}-05-01,FAILED,"wet, ""soft""\nsoil"\n' for n in range(12)]
    path.write_text("PIN,WHEN,FOUND,NOTE\n" + "".join(rows))
    columns = {"parcel_id": ColumnSource("PIN"), "date": ColumnSource("WHEN")}
    return layer_target(Source("inspections", (path,), columns=columns), shop.folder, form="binary")


def _lots(suffix: str) -> Make:
    """The parcels without the assessor's table, in one of the vector forms."""

    def make(shop: Workshop) -> Target:
        path = shop.folder / suffix.replace(".", "_") / f"lots.{suffix}"
        path.parent.mkdir(exist_ok=True)
        frame = shop.shapes("parcels")
        moved = frame.to_crs(4326) if suffix == "geojson" else frame
        moved.to_file(path, driver="OpenFileGDB" if suffix == "gdb" else None)
        columns = {"parcel_id": ColumnSource("PIN"), "neighborhood": ColumnSource("NBHD")}
        form = "json" if suffix == "geojson" else "binary"
        rows = suffix in ("shp", "geojson")
        source = Source("parcels", (path,), columns=columns)
        target = layer_target(source, shop.folder, form=form, keeps="rows" if rows else "nothing")
        return replace(target, counted=suffix == "shp")

    return make


def _workbook(shop: Workshop) -> Target:
    """The inspections as a sheet below a title."""
    source = shop.source("inspections")
    table = pd.read_csv(source.files[0], dtype=str, keep_default_na=False)
    path = shop.folder / "inspections.xlsx"
    with pd.ExcelWriter(path, engine="xlsxwriter") as book:
        table.to_excel(book, index=False, startrow=2)
        book.sheets["Sheet1"].write(0, 0, "Inspections, printed in May")
    moved = replace(source, files=(path,))
    return layer_target(moved, shop.folder, form="binary", keeps="nothing")


def _old_workbook(shop: Workshop) -> Target:
    """A small workbook of the old form."""
    path = shop.folder / "visits.xls"
    path.write_bytes((Path(__file__).parents[1] / "data_pipelines" / "visits.xls").read_bytes())
    columns = {"parcel_id": ColumnSource("PIN"), "date": ColumnSource("WHEN")}
    source = Source("inspections", (path,), columns=columns)
    return layer_target(source, shop.folder, form="binary", keeps="nothing")


def _nested(shop: Workshop) -> Target:
    """The zipped parcels inside another archive."""
    inner = _lots("shp.zip")(shop)
    path = shop.folder / "nested" / "delivery.zip"
    path.parent.mkdir(exist_ok=True)
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("lots.shp.zip", inner.files[inner.main])
    columns = {"parcel_id": ColumnSource("PIN"), "neighborhood": ColumnSource("NBHD")}
    source = Source("parcels", (path,), columns=columns)
    return layer_target(source, shop.folder, form="binary", keeps="nothing")


def _lots_with_records(shop: Workshop) -> Target:
    """The parcels joined to the assessor's table, which is the one that is struck."""
    _lots("shp")(shop)
    source = replace(shop.source("parcels"), files=(shop.folder / "shp" / "lots.shp",))
    target = layer_target(source, shop.folder, form="text", keeps="nothing")
    return replace(target, main="parcels/assessor.csv")


def _real(layer: str, path: str, form: str, *, keeps: Keeps = "nothing") -> Make:
    """A file of the real open data, as it is distributed."""

    def make(shop: Workshop) -> Target:
        found = shop.real(path)
        source = Source(layer, (found,), unit="m" if layer == "elevation" else None)
        return layer_target(source, found.parent, form=form, keeps=keeps)

    return make


_LEVELS: Final = "records/water_levels_replies"
_QUALITY: Final = "records/water_quality_replies"

TARGETS: Final[Mapping[str, Make]] = {
    "permits": _layer("permits", "text"),
    "inspections": _layer("inspections", "text"),
    "inspections, tab": _separated("\t", "tab"),
    "inspections, semicolon": _separated(";", "txt"),
    "inspections, bar": _separated("|", "dat"),
    "inspections with line breaks": _line_breaks,
    "wells": _layer("wells", "text"),
    "water levels": _layer("water_levels", "text"),
    "well samples": _layer("well_samples", "text", keeps="count"),
    "parcels, shapefile": _lots("shp"),
    "parcels, zipped shapefile": _lots("shp.zip"),
    "parcels, GeoPackage": _lots("gpkg"),
    "parcels, FlatGeobuf": _lots("fgb"),
    "parcels, GeoJSON": _lots("geojson"),
    "parcels, file geodatabase": _lots("gdb"),
    "parcels, archive in an archive": _nested,
    "inspections, workbook": _workbook,
    "inspections, old workbook": _old_workbook,
    "parcels with assessor's records": _lots_with_records,
    "buildings": _few("buildings"),
    "waterbodies": _few("waterbodies"),
    "roads": _few("roads"),
    "places": _areas("places"),
    "sewer area": _few("sewer_area"),
    "wellhead areas": _areas("wellhead_areas"),
    "public areas": _areas("public_areas"),
    "streams": _layer("streams", "binary", keeps="nothing"),
    "floodplain": _layer("floodplain", "binary", keeps="nothing"),
    "elevation": _layer("elevation", "binary", keeps="nothing"),
    "water table": _layer("water_table", "binary", keeps="nothing"),
    "real flow lines": _real("streams", "terrain_water/flowlines_small/NHDFlowline.shp", "binary"),
    "real terrain in degrees": _real("elevation", "terrain_water/sand_plain/dem40m.tif", "binary"),
    "real levels, RDB": _real(
        "water_levels", f"{_LEVELS}/waterservices_gwlevels.txt", "text", keeps="rows"
    ),
    "real levels, discrete": _real(
        "water_levels", f"{_LEVELS}/discrete_etl/discrete_ground_water_aqts.csv", "text"
    ),
    "real levels, JSON": _real("water_levels", f"{_LEVELS}/waterdata_ogc_fixtures.json", "json"),
    "real wells, RDB": _real("wells", f"{_LEVELS}/nwis_sites.txt", "text", keeps="rows"),
    "real wells, portal": _real("wells", f"{_QUALITY}/wqp_sites.txt", "text", keeps="rows"),
    "real samples": _real("well_samples", f"{_QUALITY}/wqp_results.txt", "text", keeps="count"),
}
