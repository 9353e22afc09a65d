"""The map's page: composed by folium, with our scripts and our panel around its map.

Leaflet comes from the pip package XStatic-Leaflet and lies next to the page.
"""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import folium
from branca.element import MacroElement
from jinja2 import Environment, Template
from xstatic.pkg import leaflet

from riskmap.contract.vocabulary import NOT_RANKED
from riskmap.publish import palette
from riskmap.publish.map.composer import fix_names, literal_element, rendered
from riskmap.publish.words.text_safety import html_text, plain_text, script_json

SCRIPTS: Final = (
    "decode",
    "unpack",
    "shapes",
    "paint",
    "tiles",
    "names",
    "state",
    "scores",
    "colors",
    "filters",
    "legend",
    "details",
    "card",
    "card_doubt",
    "card_wells",
    "zones",
    "places",
    "search",
    "select",
    "weights",
    "view",
    "start",
)
"""The page's scripts, in the order they are loaded; the first makes the name they share."""


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


def compose_page(plan: Mapping[str, Any], *, cautions: Sequence[str]) -> str:
    """Compose the page by folium: its map, our scripts, our panel around it."""
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
    fix_names(chart, "county")
    chart.default_js = [("leaflet", "page/leaflet.js")]
    chart.default_js += [(name, f"page/{name}.js") for name in SCRIPTS]
    chart.default_js.append(("parcels", "data/parcels.js"))
    chart.default_css = [("leaflet_css", "page/leaflet.css"), ("page_css", "page/page.css")]
    figure._template = Template(_page_file("page.html"))
    figure.header.add_child(literal_element(_head(str(plan["county"]))), name="head")
    panel = _panel(plan, chart.get_name(), cautions)
    figure.html.add_child(literal_element(panel), name="panel")
    chart.add_child(ParcelMap(plan))
    return rendered(figure)


def _panel(plan: Mapping[str, Any], map_id: str, cautions: Sequence[str]) -> str:
    environment = Environment(autoescape=True)
    environment.filters["thousands"] = lambda value: f"{value:,}"
    template = environment.from_string(_page_file("panel.html"))
    return template.render(
        **plan,
        map_id=map_id,
        not_ranked=NOT_RANKED,
        outline=palette.OUTLINE,
        cautions=[plain_text(caution) for caution in cautions],
    )


def _head(county: str) -> str:
    colors = palette.css_colors({**palette.PAGE_COLORS, "hatch": palette.HATCH})
    title = html_text(f"{county}: onsite wastewater systems")
    return (
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="referrer" content="no-referrer">'
        '<link rel="icon" href="data:,">'
        f"<title>{title}</title><style>:root{{{colors}}}</style>"
    )


def copy_page_files(folder: Path) -> None:
    """Copy scripts and styles into `folder`, and make a place for the data."""
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
    return (files("riskmap.publish.map") / "page" / name).read_text(encoding="utf-8")
