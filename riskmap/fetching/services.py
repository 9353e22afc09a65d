"""The national services, one function each: what is asked for, and into which file it goes.

Addresses are from memory; those of the soil survey and of the water services were read in the
packages soildb 0.8 and dataretrieval 1.4, that of the elevation service in seamless-3dep 0.5.
"""

from __future__ import annotations

import io
import json
import math
import zipfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import rasterio
import shapely
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info

from data_pipelines.grids import old_affine_calls
from data_pipelines.soil_survey import parse_reply
from riskmap.contract.errors import FetchError, LayerError
from riskmap.fetching.client import Client, NotThereError, Reply
from riskmap.fetching.features import CHANGED, arcgis_features, ogc_features
from riskmap.fetching.places import Place

CELL_M: Final = 10.0
"""Cell of the fetched terrain; what a county's slopes need (one third of an arc second)."""
TILE: Final = 2_000
"""Cells of a tile's side; the elevation service gives up to 8,000."""
NOTHING: Final = -9999.0
OLDEST_YEARS: Final = 3
"""So many years back a yearly edition is looked for."""
PUBLIC: Final = "US public domain"


@dataclass(frozen=True)
class Fetched:
    """One file as it came: its place in the folder, content, the last reply, and its rows."""

    file: str
    content: bytes
    reply: Reply
    vintage: str
    rows: int | None = None


Give = Callable[[Client, Place], Iterator[Fetched]]


@dataclass(frozen=True)
class Service:
    """Who offers a layer, under which license, how it is cited, and the function that asks."""

    layer: str
    name: str
    license: str
    citation: str
    give: Give


def soil_survey(client: Client, place: Place) -> Iterator[Fetched]:
    """Give the survey areas that meet the outline, each as the archive that is distributed."""
    address = "https://sdmdataaccess.sc.egov.usda.gov/Tabular/post.rest"
    outline = shapely.to_wkt(_plain_outline(place), rounding_precision=4)
    query = (
        "SELECT DISTINCT c.areasymbol, CONVERT(varchar(10), c.saverest, 23) AS saverest "
        "FROM sapolygon AS p JOIN sacatalog AS c ON c.areasymbol = p.areasymbol "
        "WHERE p.sapolygonkey IN (SELECT sapolygonkey "
        f"FROM SDA_Get_Sapolygonkey_from_intersection_with_WktWgs84('{outline}'))"
    )
    form = {"query": query, "format": "JSON+COLUMNNAME"}
    reply = client.get(address, layer="soil_survey", data=form, check=_soil_rows)
    areas = parse_reply(reply.content.decode("utf-8"))
    if areas.empty:
        raise FetchError("soil_survey", f"no survey area meets {place.name}.", "Check the outline.")
    lost = {"areasymbol", "saverest"} - set(areas.columns)
    if lost:
        raise FetchError("soil_survey", f"the reply has no {', '.join(sorted(lost))}.", CHANGED)
    for area, day in sorted(zip(areas["areasymbol"], areas["saverest"], strict=True)):
        name = f"wss_SSA_{area}_[{day[:10]}].zip"
        packed = client.get(
            f"https://websoilsurvey.sc.egov.usda.gov/DSD/Download/Cache/SSA/{name}",
            layer="soil_survey", check=_is_archive,
        )  # fmt: skip
        yield Fetched(f"soils/wss_SSA_{area}.zip", packed.content, packed, day[:10])


def _soil_rows(content: bytes) -> None:
    try:
        parse_reply(content.decode("utf-8"))
    except LayerError as error:
        raise ValueError(error.problem) from error


def _plain_outline(place: Place) -> Any:
    """Outline of one part with few corners, as the service takes only short queries."""
    plain: Any = shapely.simplify(place.outline, 0.002)
    return plain if plain.geom_type == "Polygon" else plain.convex_hull


def _is_archive(content: bytes) -> None:
    if not zipfile.is_zipfile(io.BytesIO(content)):
        raise ValueError("what came is no zip file")
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        broken = archive.testzip()
    if broken is not None:
        raise ValueError(f"{broken} in the archive is damaged")


def elevation(client: Client, place: Place) -> Iterator[Fetched]:
    """Give the terrain in tiles of the zone that the county lies in."""
    address = "https://elevation.nationalmap.gov/arcgis/rest/services/3DEPElevation/ImageServer/exportImage"
    west, south, east, north = place.box
    middle = ((west + east) / 2, (south + north) / 2)
    zone = query_utm_crs_info("NAD83", AreaOfInterest(*middle, *middle))[0]
    system = CRS.from_authority(zone.auth_name, zone.code)
    box = Transformer.from_crs(4326, system, always_xy=True).transform_bounds(*place.box)
    left, bottom = (math.floor(side / CELL_M) * CELL_M for side in box[:2])
    across, up = (math.ceil((box[n + 2] - (left, bottom)[n]) / CELL_M) for n in (0, 1))
    for row in range(0, up, TILE):
        for column in range(0, across, TILE):
            wide, high = min(TILE, across - column), min(TILE, up - row)
            x, y = left + column * CELL_M, bottom + row * CELL_M
            query = {
                "bbox": f"{x:.1f},{y:.1f},{x + wide * CELL_M:.1f},{y + high * CELL_M:.1f}",
                "bboxSR": zone.code, "imageSR": zone.code, "size": f"{wide},{high}",
                "format": "tiff", "pixelType": "F32", "noData": f"{NOTHING:g}",
                "interpolation": "RSP_BilinearInterpolation", "f": "image",
            }  # fmt: skip
            reply = client.get(address, query, layer="elevation", check=_is_tile(wide, high))
            file = f"terrain/dem_10m_{row // TILE}_{column // TILE}.tif"
            yield Fetched(file, _marked(reply.content), reply, reply.dated)


def _is_tile(wide: int, high: int) -> Callable[[bytes], None]:
    def check(content: bytes) -> None:
        try:
            with (
                old_affine_calls(),
                rasterio.MemoryFile(content) as memory,
                memory.open(driver="GTiff") as tile,
            ):
                size = (tile.width, tile.height)
                tile.read(1)
        except rasterio.errors.RasterioError as error:
            raise ValueError("what came is no whole GeoTIFF") from error
        if size != (wide, high):
            raise ValueError(f"the tile has {size[0]} x {size[1]} cells, not {wide} x {high}")

    return check


def _marked(content: bytes) -> bytes:
    """Tile that says itself which number stands for no data."""
    with old_affine_calls(), rasterio.MemoryFile(content) as memory:
        with memory.open(driver="GTiff") as tile:
            profile, values = tile.profile, tile.read(1)
            nothing = NOTHING if tile.nodata is None else tile.nodata
        profile.update(nodata=nothing, compress="deflate", predictor=3)
        with rasterio.MemoryFile() as written:
            with written.open(**profile) as tile:
                tile.write(values, 1)
            return bytes(written.read())


def _features(layer: str, service: str, wanted: str, needed: tuple[str, ...], file: str) -> Give:
    """Give one layer of a feature service as GeoJSON."""

    def give(client: Client, place: Place) -> Iterator[Fetched]:
        found, reply = arcgis_features(
            client, service, wanted, place.box, layer=layer, needed=needed
        )
        if found["features"]:
            yield Fetched(file, _json(found), reply, reply.dated, len(found["features"]))

    return give


def _json(content: Any) -> bytes:
    return json.dumps(content, separators=(",", ":")).encode("utf-8")


def _yearly(layer: str, address: str, file: str, *, by: str) -> Give:
    """Give a file of a yearly edition for each county (or state), the newest there is."""

    def give(client: Client, place: Place) -> Iterator[Fetched]:
        for code in place.codes if by == "county" else place.states:
            yield _newest(client, layer, address, file, code)

    return give


def _newest(client: Client, layer: str, address: str, file: str, code: str) -> Fetched:
    latest = date.today().year
    for year in range(latest, latest - OLDEST_YEARS - 1, -1):
        try:
            reply = client.get(address.format(year=year, code=code), layer=layer, check=_is_archive)
        except NotThereError:
            continue
        return Fetched(file.format(year=year, code=code), reply.content, reply, str(year))
    raise FetchError(
        layer, f"no edition from {latest - OLDEST_YEARS} to {latest} is there.", CHANGED
    )


def water_levels(client: Client, place: Place) -> Iterator[Fetched]:
    """Give measured depths to water, all pages in one file."""
    params = {
        "f": "json", "bbox": ",".join(f"{side:.4f}" for side in place.box), "limit": "1000",
        "parameter_code": "72019",
    }  # fmt: skip
    found, reply = ogc_features(
        client,
        "https://api.waterdata.usgs.gov/ogcapi/v1/collections/field-measurements/items",
        params,
        layer="water_levels",
        needed=("monitoring_location_id", "parameter_code", "value", "time"),
    )
    if found["features"]:
        count = len(found["features"])
        yield Fetched("water_levels/field_measurements.json", _json(found), reply, "", count)


def _portal(
    layer: str, kind: str, file: str, needed: tuple[str, ...], more: dict[str, str]
) -> Give:
    """Give a table of the water-quality portal."""

    def give(client: Client, place: Place) -> Iterator[Fetched]:
        params = {
            "bBox": ",".join(f"{side:.4f}" for side in place.box), "siteType": "Well",
            "mimeType": "csv", "zip": "no", **more,
        }  # fmt: skip
        reply = client.get(
            f"https://www.waterqualitydata.us/data/{kind}/search", params, layer=layer,
            check=_has_columns(needed),
        )  # fmt: skip
        rows = reply.content.count(b"\n") - 1
        if rows > 0:
            yield Fetched(file, reply.content, reply, "", rows)

    return give


def _has_columns(needed: tuple[str, ...]) -> Callable[[bytes], None]:
    def check(content: bytes) -> None:
        head = content.split(b"\n", 1)[0].decode("utf-8", "replace")
        lost = [name for name in needed if name not in head]
        if lost:
            raise ValueError(f"the table has no column {', '.join(lost)}: {head[:120]}")
        if not content.endswith(b"\n"):
            raise ValueError("the table ends in the middle of a row")

    return check


_HYDROGRAPHY: Final = "https://hydro.nationalmap.gov/arcgis/rest/services/nhd/MapServer"
_TIGER: Final = "https://www2.census.gov/geo/tiger/TIGER{year}"
_GEOLOGICAL_SURVEY: Final = "US Geological Survey"

SERVICES: Final[Mapping[str, Service]] = {
    one.layer: one
    for one in (
        Service(
            "soil_survey", "Web Soil Survey and Soil Data Access", PUBLIC,
            "Soil Survey Staff, USDA Natural Resources Conservation Service. Soil Survey "
            "Geographic (SSURGO) Database.", soil_survey,
        ),
        Service(
            "elevation", "3D Elevation Program", PUBLIC,
            f"{_GEOLOGICAL_SURVEY}, 3D Elevation Program, dynamic elevation service.", elevation,
        ),
        Service(
            "streams", "National Hydrography Dataset", PUBLIC,
            f"{_GEOLOGICAL_SURVEY}, National Hydrography Dataset.",
            _features("streams", _HYDROGRAPHY, r"^flowline.*large", ("ftype",),
                      "water/NHDFlowline.geojson"),
        ),
        Service(
            "waterbodies", "National Hydrography Dataset", PUBLIC,
            f"{_GEOLOGICAL_SURVEY}, National Hydrography Dataset.",
            _features("waterbodies", _HYDROGRAPHY, r"^waterbody.*large", ("ftype",),
                      "water/NHDWaterbody.geojson"),
        ),
        Service(
            "floodplain", "National Flood Hazard Layer", PUBLIC,
            "Federal Emergency Management Agency, National Flood Hazard Layer.",
            _features("floodplain",
                      "https://hazards.fema.gov/arcgis/rest/services/public/NFHL/MapServer",
                      r"^flood hazard zones", ("FLD_ZONE",), "flood/S_FLD_HAZ_AR.geojson"),
        ),
        Service(
            "roads", "TIGER/Line", PUBLIC, "US Census Bureau, TIGER/Line Shapefiles, roads.",
            _yearly("roads", f"{_TIGER}/ROADS/tl_{{year}}_{{code}}_roads.zip",
                    "roads/tl_{year}_{code}_roads.zip", by="county"),
        ),
        Service(
            "places", "TIGER/Line", PUBLIC, "US Census Bureau, TIGER/Line Shapefiles, places.",
            _yearly("places", f"{_TIGER}/PLACE/tl_{{year}}_{{code}}_place.zip",
                    "places/tl_{year}_{code}_place.zip", by="state"),
        ),
        Service(
            "public_areas", "TIGER/Line", PUBLIC,
            "US Census Bureau, TIGER/Line Shapefiles, block groups.",
            _yearly("public_areas", f"{_TIGER}/BG/tl_{{year}}_{{code}}_bg.zip",
                    "areas/tl_{year}_{code}_block_groups.zip", by="state"),
        ),
        Service(
            "water_levels", "Water Data for the Nation", PUBLIC,
            f"{_GEOLOGICAL_SURVEY}, Water Data for the Nation, field measurements.", water_levels,
        ),
        Service(
            "wells", "Water Quality Portal", PUBLIC,
            "National Water Quality Monitoring Council, Water Quality Portal, sites.",
            _portal("wells", "Station", "wells/station.csv",
                    ("MonitoringLocationIdentifier", "LatitudeMeasure"), {}),
        ),
        Service(
            "well_samples", "Water Quality Portal", PUBLIC,
            "National Water Quality Monitoring Council, Water Quality Portal, results.",
            _portal("well_samples", "Result", "well_samples/result.csv",
                    ("MonitoringLocationIdentifier", "CharacteristicName", "ResultMeasureValue"),
                    {"characteristicName": "Nitrate;Inorganic nitrogen (nitrate and nitrite);"
                     "Total Coliform;Escherichia coli"}),
        ),
    )
}  # fmt: skip
"""Layer -> service."""
