"""A server on this machine that answers as the national services do, with an invented county.

Every service keeps its manners: pages with limits and counts, errors that come as 200, archives,
images. ``trouble`` makes requests fail, as often as is said, before they are answered.
"""

from __future__ import annotations

import io
import json
import threading
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from rasterio.enums import Resampling
from rasterio.transform import from_bounds
from rasterio.vrt import WarpedVRT

from data_pipelines.grids import old_affine_calls
from data_pipelines.vector_files import quiet

PAGE = 4
"""Most features of a page."""


@dataclass(frozen=True)
class Answer:
    """Status, content, headers; ``cut`` sends only so many bytes of what it says it sends."""

    content: bytes
    status: int = 200
    headers: tuple[tuple[str, str], ...] = ()
    cut: int | None = None
    wait_s: float = 0.0


@dataclass
class Country:
    """What the services know: the invented county in `folder`."""

    folder: Path
    trouble: dict[str, list[Answer]] = field(default_factory=dict)
    asked: list[str] = field(default_factory=list)
    agents: set[str] = field(default_factory=set)
    ranges: list[str] = field(default_factory=list)
    lost_field: str = ""
    short: int = 0
    """So many features are kept back of what is counted."""

    @cached_property
    def outline(self) -> shapely.Geometry:
        lots = gpd.read_file(self.folder / "parcels" / "parcels.shp")
        return shapely.box(*lots.to_crs(4326).total_bounds)

    @cached_property
    def layers(self) -> dict[str, tuple[str, gpd.GeoDataFrame]]:
        def shapes(path: str) -> gpd.GeoDataFrame:
            with quiet():
                frame = gpd.read_file(self.folder / path)
            return frame[frame.geometry.notna()].to_crs(4326).reset_index(drop=True)

        lakes = shapes("water/lakes.geojson")
        return {
            "nhd/MapServer/6": ("Flowline - Large Scale ", shapes("water/flowline.shp")),
            "nhd/MapServer/12": ("Waterbody - Large Scale", lakes.assign(ftype=390)),
            "public/NFHL/MapServer/28": ("Flood Hazard Zones", shapes("flood/S_FLD_HAZ_AR.shp")),
        }

    def answer(self, place: str, query: dict[str, str], form: dict[str, str]) -> Answer:
        """Answer a request by its host and path."""
        for part, answers in self.trouble.items():
            if part in place and answers:
                return answers.pop(0)
        routes: dict[str, Callable[[], Answer]] = {
            "Tabular/post.rest": lambda: self.soil_query(form),
            "DSD/Download/Cache/SSA/wss_SSA_ZZ001_[2025-09-01].zip": self.soil_archive,
            "3DEPElevation/ImageServer/exportImage": lambda: self.image(query),
            "arcgis/rest/services": lambda: self.arcgis(place, query),
            "TIGER": lambda: self.tiger(place),
            "field-measurements/items": lambda: self.levels(place, query),
            "data/Station/search": lambda: self.table("water_quality/station.csv"),
            "data/Result/search": lambda: self.table("water_quality/result.csv"),
        }
        for part, route in routes.items():
            if part in place:
                return route()
        return Answer(b"not here", 404)

    def soil_query(self, form: dict[str, str]) -> Answer:
        assert "SDA_Get_Sapolygonkey_from_intersection_with_WktWgs84" in form["query"]
        assert form["format"] == "JSON+COLUMNNAME"
        rows = [["areasymbol", "saverest"], ["ZZ001", "2025-09-01"]]
        return Answer(json.dumps({"Table": rows}).encode())

    def soil_archive(self) -> Answer:
        folder = self.folder / "soils"
        return Answer(packed(folder, sorted(p for p in folder.rglob("*") if p.is_file())),
                      headers=(("ETag", '"a1"'),))  # fmt: skip

    def image(self, query: dict[str, str]) -> Answer:
        wide, high = map(int, query["size"].split(","))
        with old_affine_calls():
            return self.seen(query, wide, high)

    def seen(self, query: dict[str, str], wide: int, high: int) -> Answer:
        place = from_bounds(*map(float, query["bbox"].split(",")), wide, high)
        with (
            rasterio.open(self.folder / "terrain/dem_10m.tif") as own,
            WarpedVRT(own, crs=f"EPSG:{query['bboxSR']}", transform=place, width=wide,
                      height=high, resampling=Resampling.bilinear, nodata=-9999) as seen,
        ):  # fmt: skip
            values = seen.read(1)
        with rasterio.MemoryFile() as memory:
            with memory.open(driver="GTiff", width=wide, height=high, count=1, dtype="float32",
                             crs=f"EPSG:{query['imageSR']}", transform=place) as tile:  # fmt: skip
                tile.write(values.astype("float32"), 1)
            return Answer(bytes(memory.read()), headers=(("Content-Type", "image/tiff"),))

    def arcgis(self, place: str, query: dict[str, str]) -> Answer:
        inside = place.split("arcgis/rest/services/", 1)[1]
        listed = {path: one for path, one in self.layers.items() if path.startswith(inside)}
        if inside.endswith("MapServer"):
            names = [
                {"id": int(path.rsplit("/")[-1]), "name": one[0]} for path, one in listed.items()
            ]
            return Answer(json.dumps({"layers": names}).encode())
        frame = self.layers[inside.removesuffix("/query")][1]
        names = [n for n in frame.columns if n not in ("geometry", self.lost_field)]
        if not inside.endswith("/query"):
            fields = [
                {"name": "OBJECTID", "type": "esriFieldTypeOID"},
                *({"name": n} for n in names),
            ]
            return Answer(json.dumps({"maxRecordCount": PAGE, "fields": fields}).encode())
        box = shapely.box(*map(float, query["geometry"].split(",")))
        inside_box = frame[frame.intersects(box)]
        if query.get("returnCountOnly"):
            return Answer(json.dumps({"count": len(inside_box)}).encode())
        assert query["orderByFields"] == "OBJECTID"
        start = int(query["resultOffset"])
        there = inside_box.iloc[: len(inside_box) - self.short]
        page = there.iloc[start : start + min(PAGE, int(query["resultRecordCount"]))]
        content = json.loads(page.to_json())
        if start + len(page) < len(there):
            content["properties"] = {"exceededTransferLimit": True}
        return Answer(json.dumps(content).encode())

    def tiger(self, place: str) -> Answer:
        if "TIGER2025" not in place:
            return Answer(b"not yet", 404)
        if "/PLACE/" in place:
            town = self.outline.centroid.buffer(0.01)
            frame = gpd.GeoDataFrame({"NAME": ["Nowhere"]}, geometry=[town], crs=4269)
        elif "/BG/" in place:
            west, south, east, north = self.outline.bounds
            middle = (west + east) / 2
            halves = [
                shapely.box(west, south, middle, north),
                shapely.box(middle, south, east, north),
            ]
            frame = gpd.GeoDataFrame({"NAMELSAD": ["Block Group 1", "Block Group 2"]},
                                     geometry=halves, crs=4269)  # fmt: skip
        else:
            frame = gpd.read_file(self.folder / "roads/roads.geojson").to_crs(4269)
            frame = frame[["geometry"]].assign(FULLNAME="Mill Rd", MTFCC="S1400")
        folder = self.folder / "tiger"
        folder.mkdir(exist_ok=True)
        stem = Path(place).stem
        frame.to_file(folder / f"{stem}.shp")
        return Answer(packed(folder, sorted(folder.glob(f"{stem}.*"))))

    def levels(self, place: str, query: dict[str, str]) -> Answer:
        west, south, east, north = self.outline.bounds
        xs, ys = np.meshgrid(np.linspace(west, east, 6), np.linspace(south, north, 4))
        features = [
            {
                "type": "Feature", "id": f"{n}",
                "geometry": {"type": "Point", "coordinates": [float(x), float(y)]},
                "properties": {
                    "monitoring_location_id": f"USGS-4343000870{n:02}", "parameter_code": "72019",
                    "value": f"{10 + n}.5", "unit_of_measure": "ft", "time": "2019-04-05T10:00:00Z",
                    "qualifier": None, "vertical_datum": None, "approval_status": "Approved",
                },
            }
            for n, (x, y) in enumerate(zip(xs.ravel(), ys.ravel(), strict=True))
        ]  # fmt: skip
        start = int(query.get("offset", 0))
        links = []
        if start + 10 < len(features):
            links = [{"rel": "next", "href": f"https://{place}?offset={start + 10}"}]
        page = features[start : start + 10]
        content = {"type": "FeatureCollection", "features": page, "links": links,
                   "numberReturned": len(page), "numberMatched": len(features)}  # fmt: skip
        return Answer(json.dumps(content).encode())

    def table(self, path: str) -> Answer:
        return Answer((self.folder / path).read_bytes(), headers=(("Content-Type", "text/csv"),))


def packed(folder: Path, files: list[Path]) -> bytes:
    memory = io.BytesIO()
    with zipfile.ZipFile(memory, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in files:
            archive.write(file, file.relative_to(folder).as_posix())
    return memory.getvalue()


@contextmanager
def serving(country: Country) -> Iterator[str]:
    """Serve a country; gives the address of the server."""
    stop = threading.Event()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            self._serve({})

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"])).decode()
            self._serve({name: values[0] for name, values in parse_qs(body).items()})

        def _serve(self, form: dict[str, str]) -> None:
            parts = urlsplit(self.path)
            place = parts.path.lstrip("/")
            country.asked.append(place)
            country.agents.add(self.headers["User-Agent"])
            query = {name: values[0] for name, values in parse_qs(parts.query).items()}
            answer = country.answer(place.replace("%5B", "[").replace("%5D", "]"), query, form)
            if answer.wait_s:
                stop.wait(answer.wait_s)
            content, status = answer.content, answer.status
            wanted = self.headers["Range"]
            same = self.headers["If-Range"] in [v for n, v in answer.headers if n == "ETag"]
            if wanted and same:
                country.ranges.append(wanted)
                content, status = content[int(wanted[6:-1]) :], 206
            self.send_response(status)
            for name, value in answer.headers:
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(content)))
            self.end_headers()
            self.wfile.write(content[: answer.cut])
            self.close_connection = self.close_connection or answer.cut is not None

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        stop.set()
        server.shutdown()
        server.server_close()
        thread.join()
