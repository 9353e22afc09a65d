"""Map features page by page: feature services (ArcGIS REST) and OGC API Features.

What a service says it has is counted first and held against what came: a part is never taken for
the whole. Layers are found by name, because services change their numbers, and fields that a reader
needs must be there.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from typing import Any, Final
from urllib.parse import urlsplit

from riskmap.contract.errors import FetchError
from riskmap.fetching.client import LATER, Client, Reply

PAGE: Final = 1_000
"""Features of one page, if the service does not allow fewer."""
MOST_PAGES: Final = 5_000
CHANGED: Final = "The service has changed: get the file by hand from its page."
Box = tuple[float, float, float, float]


def arcgis_features(
    client: Client,
    service: str,
    wanted: str,
    box: Box,
    *,
    layer: str,
    needed: Sequence[str],
) -> tuple[dict[str, Any], Reply]:
    """Fetch the features of a service's layer that meet a box.

    Parameters
    ----------
    client, layer
        The client, and the layer's name for messages.
    service
        Address of the service, up to ``MapServer`` or ``FeatureServer``.
    wanted
        Pattern of the layer's name.
    box
        West, south, east and north in degrees.
    needed
        Fields that must be there, without regard to case.

    Returns
    -------
    tuple
        A GeoJSON feature collection in degrees, and the last reply.

    Raises
    ------
    FetchError
        If the layer or a field is gone, or not all features come.
    """
    about = client.get(service, {"f": "json"}, layer=layer, check=_whole("layers"))
    number = _number_of(about.json["layers"], wanted, layer, service)
    described = client.get(
        f"{service}/{number}", {"f": "json"}, layer=layer, check=_whole("fields")
    )
    _demand_fields(described.json["fields"], needed, layer, service)
    key = described.json.get("objectIdField") or _key_of(described.json["fields"])
    most = min(PAGE, int(described.json.get("maxRecordCount") or PAGE))
    query = {
        "where": "1=1", "geometry": ",".join(f"{side:.5f}" for side in box),
        "geometryType": "esriGeometryEnvelope", "inSR": "4326",
        "spatialRel": "esriSpatialRelIntersects",
    }  # fmt: skip
    address = f"{service}/{number}/query"
    counted = client.get(
        address, {**query, "returnCountOnly": "true", "f": "json"}, layer=layer,
        check=_whole("count"),
    )  # fmt: skip
    count = int(counted.json["count"])
    found: list[dict[str, Any]] = []
    reply = counted
    for _ in range(MOST_PAGES):
        if len(found) >= count:
            break
        page = {
            "outFields": "*", "outSR": "4326", "f": "geojson", "resultOffset": str(len(found)),
            "resultRecordCount": str(most), **({"orderByFields": key} if key else {}),
        }  # fmt: skip
        reply = client.get(address, query | page, layer=layer, check=_whole("features"))
        features = reply.json["features"]
        if not features:
            break
        found += features
    _demand_all(client, found, count, layer=layer, service=service)
    return {"type": "FeatureCollection", "features": found}, reply


def ogc_features(
    client: Client,
    address: str,
    params: dict[str, str],
    *,
    layer: str,
    needed: Sequence[str],
) -> tuple[dict[str, Any], Reply]:
    """Fetch all pages of a collection of OGC API Features.

    Parameters
    ----------
    client, layer, needed
        As in :func:`arcgis_features`.
    address, params
        Address of the items, and the query.

    Raises
    ------
    FetchError
        If a field is gone, pages lead elsewhere or do not end, or not all features come.
    """
    reply = client.get(address, params, layer=layer, check=_whole("features"))
    found: list[dict[str, Any]] = list(reply.json["features"])
    matched, seen = reply.json.get("numberMatched"), {reply.address}
    for _ in range(MOST_PAGES):
        link = _next(reply.json)
        if link is None:
            break
        if urlsplit(link).netloc != urlsplit(address).netloc or link in seen:
            raise FetchError(layer, f"the next page of {address} leads to {link[:200]}.", CHANGED)
        seen.add(link)
        reply = client.get(link, layer=layer, check=_whole("features"))
        found += reply.json["features"]
    if isinstance(matched, int):
        _demand_all(client, found, matched, layer=layer, service=address)
    if found:
        names = [{"name": name} for name in found[0].get("properties") or {}]
        _demand_fields(names, needed, layer, address)
    return {"type": "FeatureCollection", "features": found}, reply


def _next(page: dict[str, Any]) -> str | None:
    links = page.get("links")
    for link in links if isinstance(links, list) else []:
        if isinstance(link, dict) and link.get("rel") == "next" and page["features"]:
            return str(link.get("href"))
    return None


def _whole(member: str) -> Any:
    """Check that content is JSON with a member; an error of the service is told in its words."""

    def check(content: bytes) -> None:
        page = json.loads(content)
        if "error" in page:
            error = page["error"]
            said = error.get("message", error) if isinstance(error, dict) else error
            raise ValueError(f"error of the service: {said}")
        if member not in page:
            raise ValueError(f"a reply without {member!r}")
        if member == "features" and not isinstance(page["features"], list):
            raise ValueError("features that are no list")

    return check


def _number_of(layers: Sequence[dict[str, Any]], wanted: str, layer: str, service: str) -> int:
    found = [one for one in layers if re.search(wanted, str(one.get("name")), re.IGNORECASE)]
    if not found:
        names = ", ".join(str(one.get("name")) for one in layers[:20])
        said = f"{service} has no layer like {wanted!r} any more, but {names}."
        raise FetchError(layer, said, CHANGED)
    return int(found[0]["id"])


def _demand_fields(
    fields: Sequence[dict[str, Any]], needed: Sequence[str], layer: str, service: str
) -> None:
    have = {str(field["name"]).lower().rsplit(".")[-1] for field in fields}
    lost = [name for name in needed if name.lower() not in have]
    if lost:
        raise FetchError(
            layer,
            f"{service} has no field {', '.join(lost)} any more, but {', '.join(sorted(have))}.",
            CHANGED,
        )


def _key_of(fields: Sequence[dict[str, Any]]) -> str:
    keys = [str(one["name"]) for one in fields if one.get("type") == "esriFieldTypeOID"]
    return keys[0] if keys else ""


def _demand_all(
    client: Client, found: Sequence[object], count: int, *, layer: str, service: str
) -> None:
    """Refuse a part, and keep nothing of it."""
    if len(found) < count:
        client.forget(layer)
        raise FetchError(layer, f"{service} gave {len(found):,} of {count:,} features.", LATER)
