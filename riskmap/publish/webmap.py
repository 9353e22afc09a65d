"""The interactive map: one folder that opens by double-click, with no network at all.

folium composes the page; Leaflet comes from the pip package XStatic-Leaflet and lies beside it. The
parcels travel as packed columns (:mod:`riskmap.publish.packing`) in script files, which browsers
open from disk where they refuse to fetch.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import folium
import geopandas as gpd
from branca.element import Element, MacroElement
from jinja2 import Environment, Template
from markupsafe import Markup
from xstatic.pkg import leaflet

from riskmap.publish import palette
from riskmap.publish.cautions import LOCAL_CODE, SCREENING, STAFF_ONLY
from riskmap.publish.display import Units
from riskmap.publish.map_data import drawable, pack_details, pack_facts, pack_layers, pack_parcels
from riskmap.publish.map_facts import facts_of
from riskmap.publish.map_model import MapModel, largest_difference, limitations
from riskmap.publish.map_plan import BaseMap, count_parcels, layer_entries, make_plan
from riskmap.publish.packing import Package
from riskmap.publish.relief import draw_relief
from riskmap.publish.text_safety import html_text, plain_text, script_json
from riskmap.rasters import Raster

SCRIPTS: Final = (
    "unpack",
    "shapes",
    "paint",
    "tiles",
    "state",
    "scores",
    "colours",
    "filters",
    "legend",
    "card",
    "search",
    "select",
    "weights",
    "view",
    "start",
)
"""The page's scripts, in the order they are loaded; the first makes the name they share."""

_TEMPLATE_OPENS: Final = re.compile(r"\{(?=[{%#])")
_COMPOSER_VIEWPORT: Final = re.compile(r'<meta name="viewport"[^>]*user-scalable=no[^>]*>')
"""The composer forbids enlarging by hand; whoever needs larger letters must be able to."""

MAP_CAUTIONS: Final = (SCREENING, LOCAL_CODE, STAFF_ONLY)
RESCORE_TOLERANCE: Final = 0.1
"""The page offers to move weights only if its own sum gives back the table's scores this closely
(points); limitations travel in thousandths, which alone is at most 0.05."""


@dataclass(frozen=True)
class MapReport:
    """What was written: counts, sizes and whether weights can be moved in the page.

    `opening_bytes` are read with the page, `details_bytes` with the first card.
    """

    parcels: int
    drawn: int
    without_shape: int
    opening_bytes: int
    details_bytes: int
    weights_ready: bool
    rescore_difference: float


class ParcelMap(MacroElement):
    """Starts the page's own layers on a folium map; the plan is safe JSON."""

    _template = Template(
        "{% macro script(this, kwargs) %}"
        "county.start({{ this._parent.get_name() }}, {{ this.plan }});"
        "{% endmacro %}"
    )

    def __init__(self, plan: Mapping[str, Any]) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._name = "ParcelMap"
        self._id = "county"
        self.plan = script_json(dict(plan))


def write_map(
    folder: Path,
    ranked: gpd.GeoDataFrame,
    *,
    model: MapModel,
    layers: Mapping[str, gpd.GeoDataFrame],
    terrain: Raster | None = None,
    county: str,
    date: str,
    units: Units = "us",
    cautions: Sequence[str] = MAP_CAUTIONS,
    base_map: BaseMap | None = None,
) -> MapReport:
    """Write ``map/index.html`` and what lies beside it into the result's `folder`.

    Parameters
    ----------
    folder
        The result's own folder; ``map`` is made in it.
    ranked
        One row per parcel (index: parcel number), lot polygons in a projected system, inventory
        columns, scores, classes, ranks, reasons and ``<factor>_points``.
    layers
        Optional layers by name: ``soils`` (with a class column), ``streams``, ``waterbodies``,
        ``wells``, ``floodplain``, ``sewer_area``, ``zones``; others are drawn plainly.
    base_map
        An online background, off until a reader turns it on; without it the page never asks the
        network for anything.
    """
    folder = folder / "map"
    rows = drawable(ranked)
    limitation = limitations(rows, model.factors)
    # A factor without limitations (weight zero, or no points) cannot be moved in the page.
    model = replace(model, factors=[f for f in model.factors if f.name in limitation])
    difference = largest_difference(rows, limitation, model)
    facts = facts_of(rows, units=units)
    relief = draw_relief(terrain) if terrain is not None else None
    usable = {name: layer for name, layer in layers.items() if len(layer)}
    data = {
        "parcels": pack_parcels(rows),
        "facts": pack_facts(rows, facts, units=units),
        "details": pack_details(rows, facts, limitation, units=units),
        "layers": pack_layers(usable, units=units),
    }
    drawn_layers = {name: usable[name] for name in data["layers"].header["layers"]}
    plan = make_plan(
        county=county,
        date=date,
        units=units,
        counts=count_parcels(ranked, len(rows)),
        bounds=_bounds(rows),
        model=model,
        facts=facts,
        layers=layer_entries(drawn_layers, relief=relief is not None, base_map=base_map),
        weights_ready=difference <= RESCORE_TOLERANCE,
        relief={"file": "relief.png", "bounds": list(relief.bounds)} if relief else None,
        base_map=_safe(base_map),
    )
    _copy_page_files(folder)
    sizes = {name: _write_data(folder, name, package) for name, package in data.items()}
    if relief is not None:
        (folder / "relief.png").write_bytes(relief.png)
        sizes["relief"] = len(relief.png)
    page = compose_page(plan, cautions=cautions)
    (folder / "index.html").write_bytes(page.encode("utf-8"))
    return MapReport(
        parcels=len(ranked),
        drawn=len(rows),
        without_shape=len(ranked) - len(rows),
        opening_bytes=sum(sizes.values()) - sizes["details"],
        details_bytes=sizes["details"],
        weights_ready=plan["weights_ready"],
        rescore_difference=difference,
    )


def _write_data(folder: Path, name: str, package: Package) -> int:
    return (folder / "data" / f"{name}.js").write_bytes(package.to_script(name).encode("ascii"))


def compose_page(plan: Mapping[str, Any], *, cautions: Sequence[str]) -> str:
    """Compose the page by folium: its map, our scripts beside it, our panel around it."""
    chart = folium.Map(
        location=[0, 0],
        zoom_start=3,
        tiles=None,
        zoom_control="bottomleft",
        fade_animation=False,
        zoom_snap=0.5,
        wheel_px_per_zoom_level=120,
        world_copy_jump=False,
    )
    figure: Any = chart.get_root()
    _fix_names(chart)
    chart.default_js = [("leaflet", "page/leaflet.js")]
    chart.default_js += [(name, f"page/{name}.js") for name in SCRIPTS]
    chart.default_js.append(("parcels", "data/parcels.js"))
    chart.default_css = [("leaflet_css", "page/leaflet.css"), ("page_css", "page/page.css")]
    figure._template = Template(_page_file("page.html"))
    figure.header.add_child(_fixed(Element(_head(str(plan["county"])))), name="head")
    panel = _panel(plan, chart.get_name(), cautions)
    figure.html.add_child(_fixed(Element(_literal(panel))), name="panel")
    chart.add_child(ParcelMap(plan))
    return _COMPOSER_VIEWPORT.sub("", str(figure.render()))


def _panel(plan: Mapping[str, Any], map_id: str, cautions: Sequence[str]) -> str:
    environment = Environment(autoescape=True)
    environment.filters["thousands"] = lambda value: f"{value:,}"
    template = environment.from_string(_page_file("panel.html"))
    return template.render(
        **plan,
        map_id=map_id,
        not_ranked=palette.NOT_RANKED,
        outline=palette.OUTLINE,
        cautions=[plain_text(caution) for caution in cautions],
    )


def _head(county: str) -> str:
    names = {
        "ink": palette.INK,
        "soft": palette.SOFT_INK,
        "paper": palette.PAPER,
        "panel": palette.PANEL,
        "line": palette.LINE,
        "outline": palette.OUTLINE,
        "accent": palette.ACCENT,
        "accent-pale": palette.ACCENT_PALE,
        "hatch": palette.HATCH,
        "warn-ink": palette.WARN_INK,
        "warn-paper": palette.WARN_PAPER,
    }
    colours = "".join(f"--{name}:{colour};" for name, colour in names.items())
    title = html_text(f"{county}: onsite wastewater systems")
    return _literal(
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="referrer" content="no-referrer">'
        '<link rel="icon" href="data:,">'
        f"<title>{title}</title><style>:root{{{colours}}}</style>"
    )


def _literal(text: str) -> str:
    """Text that the composer's own template engine leaves as it is."""
    # A county's name might end the raw block; an entity in place of the brace cannot.
    return "{% raw %}" + _TEMPLATE_OPENS.sub("&#123;", text) + "{% endraw %}"


def _fixed(element: Element) -> Element:
    element._id = "fixed"
    return element


def _fix_names(chart: folium.Map) -> None:
    """Names that the composer draws at random would change the bytes of every run."""
    chart._id = "county"
    chart.global_switches._id = "switches"


def _bounds(rows: gpd.GeoDataFrame) -> tuple[float, float, float, float]:
    if rows.empty:
        return (-100.0, 30.0, -80.0, 45.0)
    west, south, east, north = rows.to_crs(4326).total_bounds
    return (float(west), float(south), float(east), float(north))


def _safe(base_map: BaseMap | None) -> BaseMap | None:
    """Leaflet shows an attribution as markup: escape it."""
    if base_map is None:
        return None
    return BaseMap(base_map.url, str(Markup.escape(plain_text(base_map.attribution))))


def _copy_page_files(folder: Path) -> None:
    (folder / "data").mkdir(parents=True, exist_ok=True)
    page = folder / "page"
    page.mkdir(exist_ok=True)
    source = Path(leaflet.BASE_DIR)
    shutil.copyfile(source / "leaflet.js", page / "leaflet.js")
    shutil.copyfile(source / "leaflet.css", page / "leaflet.css")
    (page / "images").mkdir(exist_ok=True)
    for image in sorted((source / "images").glob("*.png")):
        shutil.copyfile(image, page / "images" / image.name)
    for name in (*(f"{script}.js" for script in SCRIPTS), "page.css"):
        (page / name).write_bytes(_page_file(name).encode("utf-8"))


def _page_file(name: str) -> str:
    return (files("riskmap.publish") / "map_page" / name).read_text(encoding="utf-8")
