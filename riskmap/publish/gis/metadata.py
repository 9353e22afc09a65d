"""What a run's layers are, for catalogs and programs: STAC, and the pieces of an ISO record.

SpatioTemporal Asset Catalog (STAC) 1.1.0: one Collection for the run and one Item for each layer,
with the extensions projection 2.0.0, table 1.2.0 and file 2.1.0. The ISO 19115 record is made by
:mod:`riskmap.publish.gis.metadata_record` from the same declarations. Same run, same bytes.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
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
from riskmap.publish.words.imprint import Imprint
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


@dataclass(frozen=True)
class Catalog:
    """What a run's metadata says of all its layers.

    Parameters
    ----------
    imprint
        County, day, and whom to ask.
    state
        State or province; may be empty.
    crs
        Reference system of the layers.
    model_name
        Name of the scoring model, for the lineage.
    inputs
        Input file -> SHA-256, named in the lineage.
    version
        Version of this program.
    """

    imprint: Imprint
    state: str
    crs: CRS
    model_name: str
    inputs: Mapping[str, str]
    version: str


def write_metadata(
    folder: Path, layers: Sequence[RunLayer], found: Mapping[str, Path], catalog: Catalog
) -> tuple[Path, ...]:
    """Write ``metadata/collection.json``, one Item per layer, and ``metadata/record.xml``.

    Parameters
    ----------
    folder
        The result folder.
    layers
        What there is to describe.
    found
        Path in the result folder -> where the file lies now. Only these are listed, each with its
        size and SHA-256 sum.
    catalog
        What holds for all of them.

    Returns
    -------
    tuple of Path
        Files written.
    """
    county, date, crs, version = (
        catalog.imprint.county, catalog.imprint.date, catalog.crs, catalog.version,
    )  # fmt: skip
    place = folder / "metadata"
    (place / "items").mkdir(parents=True, exist_ok=True)
    identifier = f"{slug(county)}-onsite-risk-{date.isoformat()}"
    moment = f"{date.isoformat()}T00:00:00Z"
    boxes = [degrees(layer.bounds, crs) for layer in layers]
    whole = union(boxes)
    where = (
        f"{plain_text(county)}, {plain_text(catalog.state)}"
        if plain_text(catalog.state)
        else plain_text(county)
    )
    title = f"{where}: onsite wastewater systems, failure and groundwater risk"
    paths = []
    for layer, box in zip(layers, boxes, strict=True):
        item = stac_item(layer, found, collection=identifier, box=box, moment=moment, crs=crs)
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
        contact=catalog.imprint.contact,
        box=whole,
        crs_code=crs_code(crs),
        keywords=KEYWORDS,
        cautions=tuple(CAUTIONS),
        license=NO_LICENSE,
        lineage=f"Made by riskmap {version} with the scoring model “{catalog.model_name}”.",
        inputs=dict(catalog.inputs),
        files={
            file.path: file.title for layer in layers for file in layer.files if file.path in found
        },
    )
    path = place / "record.xml"
    path.write_bytes(compose_record(record).encode("utf-8"))
    return (*paths, path)


def stac_item(
    layer: RunLayer,
    found: Mapping[str, Path],
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
            slug(file.path): _asset(file, found[file.path], layer.name)
            for file in layer.files
            if file.path in found
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


def _asset(file: LayerFile, place: Path, layer: str) -> dict[str, Any]:
    content = place.read_bytes()
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
