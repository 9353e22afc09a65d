"""The map's plan: the small, readable part that the page is started with."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

import geopandas as gpd
import pandas as pd
import shapely

from riskmap.action.postal_words import ABBREVIATIONS, NUMBERED_ROADS
from riskmap.contract.features import card
from riskmap.contract.quantities import CONCENTRATION, LENGTH, Units
from riskmap.contract.vocabulary import FLOOD_WORDS, MAY_BE_ONSITE, NOT_RANKED
from riskmap.publish.map.facts import Fact
from riskmap.publish.map.model import FactorLike, MapModel
from riskmap.publish.map.threats import well_facts
from riskmap.publish.map.zones import kinds_of, zone_facts
from riskmap.publish.palette import (
    CLASS_COLORS,
    CLASS_TEXT,
    FAINT,
    FLOOD_COLORS,
    HATCH,
    INK,
    LAYER_COLORS,
    PANEL,
    SOIL_COLORS,
    STAGE_COLORS,
    TERRAIN,
    ZONE_LOOKS,
)
from riskmap.publish.words.cautions import SCREENING
from riskmap.publish.words.class_words import class_meanings
from riskmap.publish.words.text_safety import plain_text
from riskmap.ranking.classes import class_places


@dataclass(frozen=True)
class BaseMap:
    """An online background the county may add; off until a reader turns it on.

    `url` is a tile address with ``{z}``, ``{x}`` and ``{y}``; `attribution` is shown as text.
    """

    url: str
    attribution: str


@dataclass(frozen=True)
class LayerStyle:
    """How a layer is drawn, and its words in the panel."""

    label: str
    kind: str
    on: bool
    color: str = ""
    opacity: float = 0.5
    hatch: str = ""
    edge: str = ""
    under: bool = False
    file: str = "layers"
    from_zoom: int = 0
    wide: float = 1.0
    named: bool = False


LAYER_STYLES: Final = {
    "soils": LayerStyle("Soil limits for a field", "area", False, opacity=0.6, under=True),
    "waterbodies": LayerStyle(
        "Lakes and rivers",
        "area",
        True,
        LAYER_COLORS["waterbodies"],
        0.95,
        edge=LAYER_COLORS["waterbodies_line"],
    ),
    "streams": LayerStyle("Streams", "line", True, LAYER_COLORS["streams"]),
    "roads": LayerStyle(
        "Roads", "line", True, LAYER_COLORS["roads"], from_zoom=11, wide=0.6, named=True
    ),
    "places": LayerStyle("Names of places", "name", True, LAYER_COLORS["places"]),
    "floodplain": LayerStyle("Flood zones", "area", False, LAYER_COLORS["floodplain"], opacity=0.6),
    "sewer_area": LayerStyle(
        "Sewer area", "area", False, LAYER_COLORS["sewer_area"], 0.1, LAYER_COLORS["sewer_area"]
    ),
    "zones": LayerStyle(
        "Zones for planning",
        "outline",
        False,
        LAYER_COLORS["zones"],
    ),
    "wells": LayerStyle("Wells", "point", False, LAYER_COLORS["wells"]),
    "treatment_areas": LayerStyle(
        "Likely treatment areas",
        "area",
        False,
        LAYER_COLORS["treatment_areas"],
        0.3,
        edge=LAYER_COLORS["treatment_areas"],
        file="places",
        from_zoom=15,
    ),
    "replacement_places": LayerStyle(
        "Room for another field",
        "area",
        False,
        LAYER_COLORS["replacement_places"],
        0.1,
        LAYER_COLORS["replacement_places"],
        LAYER_COLORS["replacement_places"],
        file="places",
        from_zoom=15,
    ),
}
"""In the order of the panel; a layer of another name is drawn plainly by its kind of shape."""


KEYED: Final = {
    "soils": ("class", SOIL_COLORS, SOIL_COLORS["somewhat limited"]),
    "floodplain": ("zone", FLOOD_COLORS, FLOOD_COLORS[FLOOD_WORDS["hundred_year"]]),
}
"""Layers whose shapes are colored by a column of theirs: column, colors, color of the key."""


def class_entries(model: MapModel) -> list[dict[str, str]]:
    """Class names with colors, text colors and what they mean, highest first."""
    return [
        {"name": name, "color": CLASS_COLORS[name], "text": CLASS_TEXT[name], "range": words}
        for name, words in (class_meanings(model.visits) | {NOT_RANKED: ""}).items()
    ]


def stage_entries() -> list[dict[str, str]]:
    """Likely states with colors, worst first, and what has no estimate."""
    named = [
        {"name": name, "label": f"likely {name}", "color": color}
        for name, color in STAGE_COLORS.items()
    ]
    none = {"name": "", "label": "no estimate", "color": CLASS_COLORS[NOT_RANKED]}
    return [*named, none]


def layer_entries(
    layers: Mapping[str, gpd.GeoDataFrame], *, relief: bool, base_map: BaseMap | None
) -> list[dict[str, Any]]:
    """Describe each layer that can be switched on, in the order of the panel.

    Parameters
    ----------
    layers
        Layers by name; those of the program come first, others by name.
    relief
        Whether there is a picture of the terrain.
    base_map
        Online background; None: none.
    """
    entries: list[dict[str, Any]] = []
    if relief:
        entries.append({"name": "relief", "label": "Terrain", "kind": "", "on": True})
    order = [name for name in LAYER_STYLES if name in layers]
    order += sorted(name for name in layers if name not in LAYER_STYLES)
    entries += [_entry(name, layers[name]) for name in order]
    if base_map is not None:
        label = "Online background (needs a network)"
        entries.append({"name": "base_map", "label": label, "kind": "", "on": False})
    return entries


def _entry(name: str, layer: gpd.GeoDataFrame) -> dict[str, Any]:
    style = LAYER_STYLES.get(name) or _plain_style(name, layer)
    entry: dict[str, Any] = {
        "name": name,
        "label": style.label,
        "kind": style.kind,
        "on": style.on,
        "color": style.color,
        "key_color": style.color,
        "under": style.under,
        "edge": style.edge,
        "hatched": style.hatch,
        "edges_from": 10 if style.edge else 99,
        "file": style.file,
        "from_zoom": style.from_zoom,
        "wide": style.wide,
        "named": style.named and "name" in layer,
    }
    if name == "zones":
        entry["kinds"] = kinds_of(layer)
        looks = ZONE_LOOKS.values() if "kind" in layer else ()
        entry["looks"] = [{"color": color, "dash": list(dash)} for color, dash in looks]
    if name in KEYED:
        entry["by"], colors, entry["key_color"] = KEYED[name]
        entry["paints"] = [_paint(color, style.opacity) for color in colors.values()]
        entry["key"] = [{"name": word, "color": color} for word, color in colors.items()]
    elif style.kind == "area":
        entry["paints"] = [_paint(style.color, style.opacity, style.hatch)]
    return entry


def _plain_style(name: str, layer: gpd.GeoDataFrame) -> LayerStyle:
    dimension = int(shapely.get_dimensions(layer.geometry.values).max()) if len(layer) else 2
    kind = ("point", "line", "area")[min(2, max(0, dimension))]
    label = name.replace("_", " ").capitalize()
    return LayerStyle(label, kind, False, LAYER_COLORS["zones"], 0.15, LAYER_COLORS["zones"])


def _paint(color: str, opacity: float, hatch: str = "") -> dict[str, Any]:
    return {"color": color, "opacity": opacity, "hatch": hatch, "hatch_opacity": 0.75}


def make_plan(
    *,
    county: str,
    date: datetime.date,
    units: Units,
    counts: Mapping[str, int],
    bounds: tuple[float, float, float, float],
    model: MapModel,
    facts: Sequence[Fact],
    layers: Sequence[Mapping[str, Any]],
    weights_ready: bool,
    relief: dict[str, Any] | None,
    base_map: BaseMap | None,
    extras: Mapping[str, Any],
) -> dict[str, Any]:
    """Everything the page must know besides the packed data, as JSON-ready values.

    Parameters
    ----------
    county, date, units
        Name, date of the run, ``us`` or ``si``.
    counts
        From :func:`count_parcels`.
    bounds
        West, south, east, north in degrees.
    model
        Factors, shares and class limits.
    facts
        Lines of the card.
    layers
        From :func:`layer_entries`.
    weights_ready
        Whether the page's sum gives the run's scores, so that weights can be moved.
    relief
        Picture of the terrain and its corners; None: none.
    base_map
        Online background; None: none.
    extras
        Further entries.
    """
    west, south, east, north = bounds
    return {
        "county": plain_text(county),
        "date": date.isoformat(),
        "units": units,
        "length_unit": LENGTH.scale(units).unit,
        "nitrate_unit": CONCENTRATION.scale(units).unit,
        "well_facts": well_facts(units),
        "zone_facts": zone_facts(units),
        "may_be_onsite": list(MAY_BE_ONSITE),
        "postal": {"words": ABBREVIATIONS, "roads": NUMBERED_ROADS},
        "counts": dict(counts),
        "bounds": [[round(south, 6), round(west, 6)], [round(north, 6), round(east, 6)]],
        "classes": class_entries(model),
        "class_places": list(class_places(model.visits)),
        "by_water": model.by_water,
        "factors": [_factor(factor) for factor in model.factors],
        "model_text": model.text,
        "weights_ready": weights_ready,
        "facts": [asdict(fact) | {"label": plain_text(fact.label)} for fact in facts],
        "layers": [dict(layer) for layer in layers],
        "relief": relief,
        "base_map": asdict(base_map) if base_map else None,
        "colors": {
            "ink": INK,
            "halo": PANEL,
            "hatch": HATCH,
            "faint": FAINT,
            "terrain": TERRAIN,
            "selected": LAYER_COLORS["selected"],
        },
        "screening": SCREENING,
        "stages": stage_entries(),
        "group_notes": card.GROUP_NOTES,
        "groups": {"site": card.SITE, "help": card.HELP},
        "cap_yr": card.CAP_YR,
        **extras,
    }


def _factor(factor: FactorLike) -> dict[str, Any]:
    """Describe a factor; a weight without declared bounds may fall to zero or double."""
    return {
        "name": factor.name,
        "score": factor.score,
        "label": plain_text(factor.label),
        "weight": factor.weight,
        "low": float(getattr(factor, "low", 0.0)),
        "high": float(getattr(factor, "high", 2 * factor.weight)),
    }


def count_parcels(ranked: pd.DataFrame, drawn: int) -> dict[str, int]:
    """Parcels in all, drawn, without a usable shape, and ranked."""
    ranks = int(ranked["rank"].notna().sum()) if "rank" in ranked else 0
    return {
        "parcels": len(ranked),
        "drawn": drawn,
        "no_shape": len(ranked) - drawn,
        "ranked": ranks,
    }
