"""Style files, so that any GIS program shows the layers as the map does.

OGC Styled Layer Descriptor 1.1.0 (OGC 05-078r4) holding OGC Symbology Encoding 1.1.0
(OGC 05-077r4); filters by OGC Filter Encoding 1.1.0 (OGC 04-095). Classes have the same
colors as everywhere; a parcel without a score is gray with crosses, so that it is not taken for low
risk.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from xml.etree import ElementTree as ET

from riskmap.action.zones import LABELS
from riskmap.contract.vocabulary import NOT_RANKED
from riskmap.publish import palette
from riskmap.publish.gis.style_parts import (
    add_filter,
    add_rule,
    area,
    compare,
    crosses,
    diamond,
    given,
    label,
    missing,
    style_root,
    type_style,
    xml_text,
)
from riskmap.publish.map.plan import LAYER_STYLES
from riskmap.publish.words.class_words import class_meanings

STYLES: Final = {
    "priority": ("priority_class", "Priority of onsite systems"),
    "failure": ("failure_class", "Failure risk of onsite systems"),
    "groundwater": ("groundwater_class", "Groundwater risk of onsite systems"),
}
"""Name of a score's style -> column of the parcels layer that it reads, and its title."""


@dataclass(frozen=True)
class WordStyle:
    """A style by the words of a column: title, words -> colors, and what has none of them."""

    column: str
    title: str
    colors: dict[str, str]
    rest: tuple[str, str]


WORD_STYLES: Final = {
    "stage": WordStyle(
        "stage",
        "Likely state of the field",
        {f"likely {word}": color for word, color in palette.STAGE_COLORS.items()},
        ("no estimate", palette.CLASS_COLORS[NOT_RANKED]),
    ),
    "soil_limits": WordStyle(
        "soil_class",
        "Soil limits for a field, of the lot",
        {word: color for word, color in palette.SOIL_COLORS.items() if word != "not rated"},
        ("not rated", palette.SOIL_COLORS["not rated"]),
    ),
}
"""Styles of the parcels layer by words."""

LAYER_TITLES: Final = {
    "zones": "Zones for planning",
    "wells": "Drinking-water wells",
    "treatment_areas": "Likely treatment areas",
    "replacement_places": "Room for another field",
}
"""Layers other than the parcels that have a style of their own, by name."""

ALL_STYLES: Final = (*STYLES, *WORD_STYLES, *LAYER_TITLES)


def write_styles(
    folder: Path,
    *,
    visits: int,
    layer: str = "parcels",
    names: Collection[str] = ALL_STYLES,
) -> tuple[Path, ...]:
    """Write the style files into ``styles/`` of `folder`; returns their paths.

    Parameters
    ----------
    visits
        Visits of a season to systems that are to be found.
    layer
        Name of the parcels layer.
    names
        Which of :data:`ALL_STYLES`; styles of layers that a run did not make are better left out.
    """
    place = folder / "styles"
    place.mkdir(parents=True, exist_ok=True)
    paths = []
    for name in ALL_STYLES:
        path = place / f"{name}.sld"
        path.unlink(missing_ok=True)
        if name in names:
            path.write_bytes(compose_style(name, visits=visits, layer=layer).encode("utf-8"))
            paths.append(path)
    return tuple(paths)


def compose_style(name: str, *, visits: int, layer: str = "parcels") -> str:
    """Return the text of one style file.

    Parameters
    ----------
    name
        One of :data:`ALL_STYLES`.
    visits
        Visits of a season to systems that are to be found: what the classes are counted by.
    layer
        Name of the parcels layer.
    """
    if name in STYLES:
        return xml_text(_score_style(name, visits, layer))
    if name in WORD_STYLES:
        return xml_text(_word_style(name, layer))
    return xml_text(_layer_style(name))


def _score_style(name: str, visits: int, layer: str) -> ET.Element:
    column, title = STYLES[name]
    root, style = style_root(name=name, title=title, layer=layer, default=name == "priority")
    kind = type_style(style, layer)
    for word, held in class_meanings(visits).items():
        rule = add_rule(kind, word, f"{word.capitalize()}: {held}")
        compare(add_filter(rule), "PropertyIsEqualTo", column, word)
        area(rule, fill=palette.CLASS_COLORS[word])
    rule = add_rule(kind, NOT_RANKED, "Not ranked: sewer, no building, or too little known")
    compare(add_filter(rule), "PropertyIsEqualTo", column, NOT_RANKED)
    area(rule, fill=palette.CLASS_COLORS[NOT_RANKED])
    crosses(rule)
    over = add_rule(
        type_style(style, layer), "service unknown", "Service unknown: scored, ranked apart"
    )
    given(add_filter(over), "apart_rank")
    crosses(over)
    return root


def _word_style(name: str, layer: str) -> ET.Element:
    look = WORD_STYLES[name]
    root, style = style_root(name=name, title=look.title, layer=layer)
    kind = type_style(style, layer)
    for title, color in look.colors.items():
        rule = add_rule(kind, title, title.capitalize())
        word = title.removeprefix("likely ")
        compare(add_filter(rule), "PropertyIsEqualTo", look.column, word)
        area(rule, fill=color)
    word, color = look.rest
    rule = add_rule(kind, word, word.capitalize())
    missing(add_filter(rule), look.column)
    area(rule, fill=color)
    crosses(rule)
    if name == "stage":
        title = "Rests on an assumed size, age or use"
        over = add_rule(type_style(style, layer), "assumed", title)
        compare(add_filter(over), "PropertyIsEqualTo", "stage_evidence", "assumed")
        crosses(over)
    return root


def _layer_style(name: str) -> ET.Element:
    """Draw one of :data:`LAYER_TITLES` in the map's colors."""
    root, style = style_root(name=name, title=LAYER_TITLES[name], layer=name)
    if name == "zones":
        _zone_rules(type_style(style, name))
        return root
    rule = add_rule(type_style(style, name), name, LAYER_TITLES[name])
    look = LAYER_STYLES[name]
    if look.kind == "point":
        diamond(rule, fill=look.color, size=9)
    else:
        area(rule, fill=look.color, opacity=look.opacity, stroke=look.edge, width=1.2)
    return root


def _zone_rules(kind: ET.Element) -> None:
    """Draw each kind of zone with a line of its own and its number."""
    for word, (color, dash) in palette.ZONE_LOOKS.items():
        rule = add_rule(kind, word, LABELS[word].capitalize())
        compare(add_filter(rule), "PropertyIsEqualTo", "kind", word)
        area(rule, stroke=palette.PANEL, width=5)
        area(rule, stroke=color, width=2.5, dash=dash)
        label(rule, "zone_id", color=color)
