"""Style files, so that any GIS program shows the parcels as the map does.

OGC Styled Layer Descriptor 1.1.0 (OGC 05-078r4) holding OGC Symbology Encoding 1.1.0
(OGC 05-077r4); filters by OGC Filter Encoding 1.1.0 (OGC 04-095). Classes are cut at the same
scores and have the same colours as everywhere; a parcel without a score is grey with crosses, so
that nobody takes it for low risk.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Final
from xml.etree import ElementTree as ET

from riskmap.publish import palette

SLD: Final = "http://www.opengis.net/sld"
SE: Final = "http://www.opengis.net/se"
OGC: Final = "http://www.opengis.net/ogc"

STYLES: Final = {
    "priority": ("priority", "Priority of onsite systems"),
    "failure": ("failure_score", "Failure risk of onsite systems"),
    "groundwater": ("groundwater_score", "Groundwater risk of onsite systems"),
}
"""Name of the style file -> column of the parcels layer that it reads, and its title."""

CROSS_SIZE: Final = 7
"""Size of the crosses on what is not ranked, pixels."""


def write_styles(
    folder: Path, *, cuts: Sequence[float], layer: str = "parcels"
) -> tuple[Path, ...]:
    """Write ``styles/priority.sld``, ``failure.sld`` and ``groundwater.sld`` into `folder`.

    Parameters
    ----------
    cuts
        The four scores that part the classes, rising; a score on a cut belongs to the higher class.
    layer
        Name of the layer that the styles are for.
    """
    place = folder / "styles"
    place.mkdir(parents=True, exist_ok=True)
    paths = []
    for name in STYLES:
        path = place / f"{name}.sld"
        path.write_bytes(compose_style(name, cuts=cuts, layer=layer).encode("utf-8"))
        paths.append(path)
    return tuple(paths)


def compose_style(name: str, *, cuts: Sequence[float], layer: str = "parcels") -> str:
    """Return the text of one style file; `name` is one of :data:`STYLES`."""
    column, title = STYLES[name]
    ET.register_namespace("sld", SLD)
    ET.register_namespace("se", SE)
    ET.register_namespace("ogc", OGC)
    root = ET.Element(f"{{{SLD}}}StyledLayerDescriptor", {"version": "1.1.0"})
    named = ET.SubElement(root, f"{{{SLD}}}NamedLayer")
    _text(named, "Name", layer)
    style = ET.SubElement(named, f"{{{SLD}}}UserStyle")
    _text(style, "Name", name)
    _described(style, title)
    if name == "priority":
        ET.SubElement(style, f"{{{SLD}}}IsDefault").text = "true"
    kind = ET.SubElement(style, f"{{{SE}}}FeatureTypeStyle")
    _text(kind, "FeatureTypeName", layer)
    bounds = [None, *cuts, None]
    classes = list(zip(palette.CLASSES[::-1], pairwise(bounds), strict=True))
    for word, (low, high) in classes[::-1]:
        _class_rule(kind, word, column, low, high)
    _not_ranked_rule(kind, column)
    _apart_rule(ET.SubElement(style, f"{{{SE}}}FeatureTypeStyle"), layer)
    ET.indent(root)
    return ET.tostring(root, encoding="unicode", xml_declaration=False).join(
        ('<?xml version="1.0" encoding="UTF-8"?>\n', "\n")
    )


def _class_rule(
    kind: ET.Element, word: str, column: str, low: float | None, high: float | None
) -> None:
    rule = ET.SubElement(kind, f"{{{SE}}}Rule")
    _text(rule, "Name", word)
    _described(rule, f"{word.capitalize()} ({_range(low, high)})")
    outer = ET.SubElement(rule, f"{{{OGC}}}Filter")
    if low is not None and high is not None:
        outer = ET.SubElement(outer, f"{{{OGC}}}And")
    if low is not None:
        _compare(outer, "PropertyIsGreaterThanOrEqualTo", column, low)
    if high is not None:
        _compare(outer, "PropertyIsLessThan", column, high)
    _polygon(rule, palette.CLASS_COLOURS[word])


def _range(low: float | None, high: float | None) -> str:
    if low is None:
        return f"under {high:g}"
    return f"{low:g} and more" if high is None else f"{low:g} to under {high:g}"


def _not_ranked_rule(kind: ET.Element, column: str) -> None:
    rule = ET.SubElement(kind, f"{{{SE}}}Rule")
    _text(rule, "Name", palette.NOT_RANKED)
    _described(rule, "Not ranked: sewer, no building, or too little known")
    test = ET.SubElement(ET.SubElement(rule, f"{{{OGC}}}Filter"), f"{{{OGC}}}PropertyIsNull")
    ET.SubElement(test, f"{{{OGC}}}PropertyName").text = column
    _polygon(rule, palette.CLASS_COLOURS[palette.NOT_RANKED])
    _crosses(rule)


def _apart_rule(kind: ET.Element, layer: str) -> None:
    """Put crosses over the colour of what is scored, but may be on sewer, as the map does."""
    _text(kind, "FeatureTypeName", layer)
    rule = ET.SubElement(kind, f"{{{SE}}}Rule")
    _text(rule, "Name", "service unknown")
    _described(rule, "Service unknown: scored, ranked apart")
    outer = ET.SubElement(ET.SubElement(rule, f"{{{OGC}}}Filter"), f"{{{OGC}}}Not")
    test = ET.SubElement(outer, f"{{{OGC}}}PropertyIsNull")
    ET.SubElement(test, f"{{{OGC}}}PropertyName").text = "apart_rank"
    _crosses(rule)


def _compare(parent: ET.Element, operator: str, column: str, value: float) -> None:
    test = ET.SubElement(parent, f"{{{OGC}}}{operator}")
    ET.SubElement(test, f"{{{OGC}}}PropertyName").text = column
    ET.SubElement(test, f"{{{OGC}}}Literal").text = f"{value:g}"


def _polygon(rule: ET.Element, colour: str) -> None:
    area = ET.SubElement(rule, f"{{{SE}}}PolygonSymbolizer")
    _parameters(ET.SubElement(area, f"{{{SE}}}Fill"), {"fill": colour})
    line = {"stroke": palette.OUTLINE, "stroke-width": "0.3"}
    _parameters(ET.SubElement(area, f"{{{SE}}}Stroke"), line)


def _crosses(rule: ET.Element) -> None:
    """Fill an area with crosses: a mark that the standard itself names."""
    area = ET.SubElement(rule, f"{{{SE}}}PolygonSymbolizer")
    fill = ET.SubElement(area, f"{{{SE}}}Fill")
    graphic = ET.SubElement(ET.SubElement(fill, f"{{{SE}}}GraphicFill"), f"{{{SE}}}Graphic")
    mark = ET.SubElement(graphic, f"{{{SE}}}Mark")
    _text(mark, "WellKnownName", "x")
    line = {"stroke": palette.HATCH, "stroke-width": "0.6"}
    _parameters(ET.SubElement(mark, f"{{{SE}}}Stroke"), line)
    _text(graphic, "Size", str(CROSS_SIZE))


def _described(parent: ET.Element, title: str) -> None:
    _text(ET.SubElement(parent, f"{{{SE}}}Description"), "Title", title)


def _text(parent: ET.Element, name: str, content: str) -> None:
    ET.SubElement(parent, f"{{{SE}}}{name}").text = content


def _parameters(parent: ET.Element, values: dict[str, str]) -> None:
    for name, value in values.items():
        ET.SubElement(parent, f"{{{SE}}}SvgParameter", {"name": name}).text = value
