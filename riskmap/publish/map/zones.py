"""Planners' zones on the map: where they lie, why, and which parcels belong to them."""

from __future__ import annotations

from typing import Any, Final

import geopandas as gpd
import pandas as pd
import shapely

from riskmap.action.zone_shapes import holders
from riskmap.action.zones import LABELS
from riskmap.contract.quantities import Units, shown
from riskmap.contract.results import ZONES
from riskmap.publish.map.outlines import pixels
from riskmap.publish.map.packing import Package, pack_codes, pack_numbers, pack_text, pack_words
from riskmap.publish.palette import LAYER_COLORS, ZONE_LOOKS

_ON_CARD: Final = [column for column in ZONES.columns if column.card]


def zone_names(zones: pd.DataFrame) -> pd.Series:
    """Name of each zone: its number and its kind in words.

    >>> zone_names(pd.DataFrame({"zone_id": ["C01"], "kind": ["capture"]})).tolist()
    ['C01: capture area of wells']
    """
    if "zone_id" not in zones:
        return zones["name"].astype(str)
    kinds = zones["kind"].map(lambda kind: LABELS.get(kind, str(kind)))
    return zones["zone_id"].astype(str) + ": " + kinds


def zone_of_parcels(rows: gpd.GeoDataFrame, zones: gpd.GeoDataFrame) -> pd.Series:
    """Name of the zone that holds each system (its treatment area's middle); missing outside."""
    if {"x_m", "y_m"} <= set(rows.columns):
        x, y = rows["x_m"].to_numpy(float), rows["y_m"].to_numpy(float)
    else:
        inside = rows.geometry.representative_point()
        x, y = inside.x.to_numpy(), inside.y.to_numpy()
    shapes = zones.geometry.to_crs(rows.crs).to_numpy()
    found = holders(shapes, x, y)
    names = [*zone_names(zones), None]
    return pd.Series([names[place] for place in found], index=rows.index, dtype=object)


def kinds_of(zones: pd.DataFrame) -> list[dict[str, str]]:
    """Letter, meaning and count of each kind that occurs, for the legend."""
    if "zone_id" not in zones:
        return []
    letters = zones["zone_id"].astype(str).str[0]
    return [
        {
            "letter": str(letters[zones["kind"] == kind].iloc[0]),
            "name": LABELS.get(kind, str(kind)),
            "count": str(int((zones["kind"] == kind).sum())),
            "color": ZONE_LOOKS.get(kind, (LAYER_COLORS["zones"], ()))[0],
            "dash": " ".join(map(str, ZONE_LOOKS.get(kind, ("", ()))[1])),
        }
        for kind in dict.fromkeys([*LABELS, *zones["kind"]])
        if (zones["kind"] == kind).any()
    ]


def zone_facts(units: Units) -> list[dict[str, str]]:
    """Lines of a zone's card, with their labels and units, for the page."""
    return [
        {"column": found.name, "label": found.label, "unit": found.quantity.scale(units).unit}
        for found in _ON_CARD
    ]


def zone_columns(package: Package, zones: gpd.GeoDataFrame, units: Units) -> dict[str, Any]:
    """Add what a zone's card and label need.

    Parameters
    ----------
    package
        Gets the columns.
    zones
        Planners' zones, in the package's order.
    units
        ``us`` or ``si``.

    Returns
    -------
    dict
        Description of each column for the page.
    """
    why = zones["why"] if "why" in zones else zones.get("reason", pd.Series("", zones.index))
    columns: dict[str, Any] = {
        "name": pack_words(package, zone_names(zones)),
        "why": pack_text(package, why),
    }
    if "kind" in zones:
        columns["kind"] = pack_codes(package, zones["kind"], tuple(ZONE_LOOKS))
    given = zones.assign(area_m2=shapely.area(zones.geometry.to_numpy()))
    for found in _ON_CARD:
        if found.name in given:
            values = shown(given[found.name], found.quantity, units)
            decimals = found.quantity.scale(units).decimals
            columns[found.name] = pack_numbers(
                package, pd.Series(values, index=given.index), decimals=decimals
            )
    east, south = pixels(gpd.GeoSeries(zones.geometry.representative_point(), crs=zones.crs))
    columns["label_x"] = pack_numbers(package, pd.Series(east))
    columns["label_y"] = pack_numbers(package, pd.Series(south))
    return columns
