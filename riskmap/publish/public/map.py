"""The public map: areas by folium on Leaflet, from disk, without a network.

folium draws plain outlines that carry a number only; names and counts are passed separately as safe
JSON, because the composer reads text in shapes as a template.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

import folium
import geopandas as gpd
import pandas as pd
import shapely
from branca.element import MacroElement
from jinja2 import Template

from riskmap.action.aggregate import TOTAL
from riskmap.contract.quantities import Units
from riskmap.contract.vocabulary import NOT_RANKED
from riskmap.publish import palette
from riskmap.publish.map.composer import fix_names, literal_element, rendered
from riskmap.publish.map.plan import BaseMap
from riskmap.publish.public.pages import INSET, LABELS, PERCENT, page_file, render
from riskmap.publish.public.table import OLD_SHARE, SHARE, UNKNOWN, PublicTable, with_shares
from riskmap.publish.words.class_words import SHARE_COLORS, SHARE_ENDS, band_words
from riskmap.publish.words.text_safety import html_text, plain_text, script_json

COUNT_BANDS: Final = (25, 50, 100, 250, 1_000_000_000)
VIEWS: Final = (
    ("share", SHARE, LABELS[SHARE], SHARE_ENDS, "%"),
    ("systems", TOTAL, "Number of systems", COUNT_BANDS, ""),
    ("age", OLD_SHARE, "Share of 40 years or older", SHARE_ENDS, "%"),
)
"""What the color can show: name, column, label, upper ends of the bands, unit."""

BACKGROUND: Final = ("waterbodies", "streams", "roads")
MOST_CORNERS: Final = 20_000
"""A background layer with more corners is simplified further, twofold at a time."""
MOST_PLACES: Final = 10
_DECIMALS: Final = 5


class AreaMap(MacroElement):
    """Hands the areas' names and counts to the page; the plan is safe JSON."""

    _template = Template(
        "{% macro script(this, kwargs) %}"
        "publicMap.start({{ this._parent.get_name() }}, geo_json_areas, {{ this.plan }});"
        "{% endmacro %}"
    )

    def __init__(self, plan: Mapping[str, Any]) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._name = "AreaMap"
        self._id = "plan"
        self.plan = script_json(dict(plan))


def compose_map(
    table: PublicTable,
    *,
    county: str,
    units: Units,
    layers: Mapping[str, gpd.GeoDataFrame],
    base_map: BaseMap | None = None,
) -> str:
    """Compose the page: folium's map, areas and water; our panel and script around them.

    Parameters
    ----------
    table
        Counts that may be published, and the areas' shapes.
    county, units
        Name; ``us`` or ``si``.
    layers
        Background layers by name.
    base_map
        Online background; None: none.
    """
    chart = folium.Map(location=[0, 0], zoom_start=3, tiles=None, zoom_snap=0.25)
    figure: Any = chart.get_root()
    fix_names(chart, "public")
    chart.default_js = [("leaflet", "page/leaflet.js"), ("public", "page/public.js")]
    chart.default_css = [("leaflet_css", "page/leaflet.css"), ("public_css", "page/public.css")]
    figure._template = Template(page_file("map.html"))
    figure.header.add_child(literal_element(_head(county)), name="head")
    plan = map_plan(table, units=units, layers=layers, base_map=base_map)
    panel = render(
        "panel.html",
        {
            "county": plain_text(county),
            "views": plan["views"],
            "threshold": table.threshold,
            "palette": palette,
            "has_base_map": base_map is not None,
        },
    )
    figure.html.add_child(literal_element(panel), name="panel")
    _area_layer(table).add_to(chart)
    for name in BACKGROUND:
        if name in layers and len(layers[name]):
            _plain_layer(name, layers[name]).add_to(chart)
    chart.add_child(AreaMap(plan))
    return rendered(figure)


def map_plan(
    table: PublicTable,
    *,
    units: Units,
    layers: Mapping[str, gpd.GeoDataFrame],
    base_map: BaseMap | None,
) -> dict[str, Any]:
    """All that the page's script is started with; it holds only what the public table shows.

    Parameters
    ----------
    table, units, layers, base_map
        As in :func:`compose_map`.
    """
    counts = with_shares(table.counts)
    columns = [name for name in LABELS if name in counts]
    drawn = table.shapes.dropna()
    west, south, east, north = (round(float(end), _DECIMALS) for end in drawn.total_bounds)
    return {
        "units": units,
        "bounds": [[south, west], [north, east]],
        "columns": [
            {"name": c, "label": LABELS[c], "percent": c in PERCENT, "inset": c in INSET}
            for c in columns
        ],
        "views": [_view(*view) for view in VIEWS],
        "areas": [_area(str(name), line, columns) for name, line in counts.iterrows()],
        "places": _places(layers),
        "ink": palette.INK,
        "panel": palette.PANEL,
        "outline": palette.OUTLINE,
        "unknown_color": palette.CLASS_COLORS[NOT_RANKED],
        "base_map": None
        if base_map is None
        else {"url": base_map.url, "attribution": html_text(base_map.attribution)},
    }


def _view(name: str, column: str, label: str, ends: tuple[int, ...], unit: str) -> dict[str, Any]:
    bands = [
        {"most": end, "label": words, "color": color}
        for end, words, color in zip(ends, band_words(ends, unit), SHARE_COLORS, strict=True)
    ]
    return {"name": name, "column": column, "label": label, "title": label, "bands": bands}


def _area(name: str, line: pd.Series, columns: list[str]) -> dict[str, Any]:
    """Return one area's shown numbers; null is withheld, absent is a share of nothing."""
    values = {c: None if pd.isna(line[c]) else int(line[c]) for c in columns}
    none = values[TOTAL] == 0
    scored = values["raised"] == 0 and values["not_raised"] == 0
    for share, empty in ((SHARE, scored), (OLD_SHARE, none)):
        if empty:
            values.pop(share)
    unsure = none and UNKNOWN in values and values[UNKNOWN] != 0
    return {"name": name, "values": values, "unknown": unsure}


def _places(layers: Mapping[str, gpd.GeoDataFrame]) -> list[dict[str, Any]]:
    """Names of the largest places and waters, to find one's way."""
    return [
        *_named(layers.get("places"), lambda table: table["area_m2"].fillna(0.0)),
        *_named(layers.get("waterbodies"), lambda table: table.geometry.area),
    ]


def _named(
    layer: gpd.GeoDataFrame | None, size: Callable[[gpd.GeoDataFrame], pd.Series]
) -> list[dict[str, Any]]:
    if layer is None or "name" not in layer or not len(layer):
        return []
    named = layer[layer["name"].map(plain_text) != ""]
    order = size(named).sort_values(ascending=False, kind="stable").index[:MOST_PLACES]
    spots = named.loc[order].geometry.representative_point().to_crs(4326)
    return [
        {
            "name": plain_text(name),
            "lat": round(float(spot.y), _DECIMALS),
            "lon": round(float(spot.x), _DECIMALS),
        }
        for name, spot in zip(named.loc[order, "name"], spots, strict=True)
    ]


def _area_layer(table: PublicTable) -> folium.GeoJson:
    shapes = {number: shape for number, shape in enumerate(table.shapes) if shape is not None}
    style = {"color": palette.OUTLINE, "weight": 1, "fillColor": palette.PANEL, "fillOpacity": 0.5}
    return _geojson("areas", shapes, style, smooth_factor=0)


def _plain_layer(name: str, layer: gpd.GeoDataFrame) -> folium.GeoJson:
    tolerance_m, shapes = 5.0, layer.geometry.simplify(5.0)
    while shapely.get_num_coordinates(shapes.to_numpy()).sum() > MOST_CORNERS and tolerance_m < 200:
        tolerance_m *= 2
        shapes = shapes.simplify(tolerance_m)
    shapes = shapes.to_crs(4326)
    color = palette.LAYER_COLORS[name]
    line = color if name == "roads" else palette.LAYER_COLORS["streams"]
    style = {"color": line, "weight": 1.2, "fillColor": color, "fillOpacity": 0.9}
    numbered = {number: shape for number, shape in enumerate(shapes) if shape is not None}
    return _geojson(name, numbered, style, interactive=False)


def _geojson(
    name: str, shapes: Mapping[int, Any], style: Mapping[str, Any], **options: Any
) -> folium.GeoJson:
    features = [
        {
            "type": "Feature",
            "id": number,
            "properties": {},
            "geometry": shapely.geometry.mapping(shapely.set_precision(shape, 10**-_DECIMALS)),
        }
        for number, shape in shapes.items()
    ]
    collection = {"type": "FeatureCollection", "features": features}
    made = folium.GeoJson(collection, style_function=lambda _: dict(style), name=name, **options)
    made._id = name
    return made


def _head(county: str) -> str:
    title = html_text(f"{county}: onsite wastewater systems by area")
    return (
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="referrer" content="no-referrer">'
        '<link rel="icon" href="data:,">'
        f"<title>{title}</title><style>:root{{{palette.css_colors()}}}</style>"
    )
