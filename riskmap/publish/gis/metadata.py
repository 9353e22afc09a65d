"""What a run's layers are, for catalogs and programs: STAC, and the pieces of an ISO record.

SpatioTemporal Asset Catalog (STAC) 1.1.0: one Collection for the run and one Item for each layer,
with the extensions projection 2.0.0, table 1.2.0 and file 2.1.0. The ISO 19115 record is made by
:mod:`riskmap.publish.gis.metadata_record` from the same declarations. Same run, same bytes.
"""

from __future__ import annotations

import datetime
import hashlib
import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from pyproj import CRS

from riskmap.publish.gis.metadata_layers import (
    Box,
    LayerFile,
    RunLayer,
    crs_code,
    degrees,
    layer_of,
    slug,
    union,
)
from riskmap.publish.gis.metadata_record import CatalogRecord, compose_record
from riskmap.publish.words.cautions import CAUTIONS
from riskmap.publish.words.text_safety import plain_text

__all__ = ["LayerFile", "RunLayer", "layer_of", "stac_collection", "stac_item", "write_metadata"]

STAC_VERSION: Final = "1.1.0"
EXTENSIONS: Final = (
    "https://stac-extensions.github.io/projection/v2.0.0/schema.json",
    "https://stac-extensions.github.io/table/v1.2.0/schema.json",
    "https://stac-extensions.github.io/file/v2.1.0/schema.json",
)
KEYWORDS: Final = ("onsite wastewater", "septic systems", "groundwater", "screening", "priority")
SHA256_CODE: Final = "1220"
"""What a multihash of a SHA-256 sum begins with: code 0x12, length 0x20 (32 bytes)."""

NO_LICENSE: Final = (
    "The county decides on the terms of use. Parcel results are for staff and not to be published."
)


def write_metadata(
    folder: Path,
    layers: Sequence[RunLayer],
    *,
    county: str,
    state: str,
    date: datetime.date,
    crs: CRS,
    contact: str,
    model_name: str,
    inputs: Mapping[str, str],
    version: str,
    cautions: Sequence[str] = CAUTIONS,
    license: str = NO_LICENSE,
) -> tuple[Path, ...]:
    """Write ``metadata/collection.json``, one Item per layer, and ``metadata/record.xml``.

    Call it last: only files that lie in `folder` are listed, each with its size and SHA-256 sum.

    Parameters
    ----------
    inputs
        Input file -> SHA-256, named in the lineage.
    version
        Version of this program.
    """
    place = folder / "metadata"
    (place / "items").mkdir(parents=True, exist_ok=True)
    identifier = f"{slug(county)}-onsite-risk-{date.isoformat()}"
    moment = f"{date.isoformat()}T00:00:00Z"
    boxes = [degrees(layer.bounds, crs) for layer in layers]
    whole = union(boxes)
    where = (
        f"{plain_text(county)}, {plain_text(state)}" if plain_text(state) else plain_text(county)
    )
    title = f"{where}: onsite wastewater systems, failure and groundwater risk"
    paths = []
    for layer, box in zip(layers, boxes, strict=True):
        item = stac_item(layer, folder, collection=identifier, box=box, moment=moment, crs=crs)
        paths.append(_write_json(place / "items" / f"{slug(layer.name)}.json", item))
    collection = stac_collection(
        layers,
        identifier=identifier,
        title=title,
        box=whole,
        moment=moment,
        county=county,
        version=version,
    )
    paths.append(_write_json(place / "collection.json", collection))
    record = CatalogRecord(
        identifier=identifier,
        title=title,
        abstract=" ".join(f"{layer.title}: {layer.meaning}" for layer in layers),
        date=date,
        organization=where,
        contact=contact,
        box=whole,
        crs_code=crs_code(crs),
        keywords=KEYWORDS,
        cautions=tuple(cautions),
        license=license,
        lineage=f"Made by riskmap {version} with the scoring model “{model_name}”.",
        inputs=dict(inputs),
        files={
            file.path: file.title
            for layer in layers
            for file in layer.files
            if (folder / file.path).is_file()
        },
    )
    path = place / "record.xml"
    path.write_bytes(compose_record(record).encode("utf-8"))
    return (*paths, path)


def stac_item(
    layer: RunLayer,
    folder: Path,
    *,
    collection: str,
    box: Box,
    moment: str,
    crs: CRS,
) -> dict[str, Any]:
    """Return the STAC Item of a layer, a file of ``metadata/items``.

    Parameters
    ----------
    layer
        Name, title, columns, extent and files.
    folder
        The result folder; files that are not in it are left out.
    collection
        Identifier of the run's collection.
    box
        West, south, east, north in degrees.
    moment
        Time of the run, ISO 8601.
    crs
        Reference system of the layer.
    """
    west, south, east, north = box
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return {
        "type": "Feature",
        "stac_version": STAC_VERSION,
        "stac_extensions": list(EXTENSIONS),
        "id": f"{collection}-{slug(layer.name)}",
        "collection": collection,
        "geometry": {"type": "Polygon", "coordinates": [ring]},
        "bbox": list(box),
        "properties": {
            "datetime": moment,
            "title": layer.title,
            "description": layer.meaning,
            "proj:code": crs_code(crs),
            "proj:bbox": [round(value, 3) for value in layer.bounds],
            "table:row_count": layer.rows,
            "table:columns": [
                {"name": name, "description": plain_text(meaning)}
                | ({"type": layer.types[name]} if name in layer.types else {})
                for name, meaning in layer.columns.items()
            ],
        },
        "links": [
            {"rel": rel, "href": "../collection.json", "type": "application/json"}
            for rel in ("root", "parent", "collection")
        ],
        "assets": {
            slug(file.path): _asset(file, folder, layer.name)
            for file in layer.files
            if (folder / file.path).is_file()
        },
    }


def stac_collection(
    layers: Sequence[RunLayer],
    *,
    identifier: str,
    title: str,
    box: Box,
    moment: str,
    county: str,
    version: str,
) -> dict[str, Any]:
    """Return the STAC Collection of a run, a file of ``metadata``.

    Parameters
    ----------
    layers
        Layers of the run, an item each.
    identifier, title
        Of the collection.
    box, moment
        As in :func:`stac_item`.
    county
        Named as producer and licensor.
    version
        Of riskmap.
    """
    items = [
        {
            "rel": "item",
            "href": f"./items/{slug(layer.name)}.json",
            "type": "application/geo+json",
            "title": layer.title,
        }
        for layer in layers
    ]
    root = {"rel": "root", "href": "./collection.json", "type": "application/json"}
    record = {"rel": "via", "href": "./record.xml", "type": "application/xml"}
    return {
        "type": "Collection",
        "stac_version": STAC_VERSION,
        "id": identifier,
        "title": title,
        "description": f"Layers of one run of riskmap {version}. {' '.join(CAUTIONS[:2])}",
        "keywords": list(KEYWORDS),
        "license": "other",
        "providers": [{"name": plain_text(county), "roles": ["producer", "licensor"]}],
        "extent": {
            "spatial": {"bbox": [list(box)]},
            "temporal": {"interval": [[moment, moment]]},
        },
        "links": [root, record, *items],
    }


def _asset(file: LayerFile, folder: Path, layer: str) -> dict[str, Any]:
    content = (folder / file.path).read_bytes()
    inside = f", layer {layer}" if file.path.endswith(".gpkg") else ""
    return {
        "href": f"../../{file.path}",
        "title": file.title + inside,
        "type": file.media_type,
        "roles": list(file.roles),
        "file:size": len(content),
        "file:checksum": SHA256_CODE + hashlib.sha256(content).hexdigest(),
    }


def _write_json(path: Path, content: Mapping[str, Any]) -> Path:
    text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    path.write_text(text, encoding="utf-8", newline="\n")
    return path
