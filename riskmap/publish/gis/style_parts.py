"""Pieces of OGC style files: documents, rules, filters and symbols, in the order of the schemas.

OGC Styled Layer Descriptor 1.1.0 (OGC 05-078r4) holding OGC Symbology Encoding 1.1.0
(OGC 05-077r4); filters by OGC Filter Encoding 1.1.0 (OGC 04-095).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final
from xml.etree import ElementTree as ET

from riskmap.publish import palette

SLD: Final = "http://www.opengis.net/sld"
SE: Final = "http://www.opengis.net/se"
OGC: Final = "http://www.opengis.net/ogc"

CROSS_SIZE: Final = 7
"""Size of the crosses on what is not ranked, pixels."""


def style_root(
    *, name: str, title: str, layer: str, default: bool = False
) -> tuple[ET.Element, ET.Element]:
    """Begin a style file.

    Parameters
    ----------
    name, title
        Of the style, for programs and for people.
    layer
        Name of the layer that it is for.
    default
        Whether it is the layer's default style.

    Returns
    -------
    tuple
        Root of the document, and the style to fill.
    """
    for prefix, space in (("sld", SLD), ("se", SE), ("ogc", OGC)):
        ET.register_namespace(prefix, space)
    root = ET.Element(f"{{{SLD}}}StyledLayerDescriptor", {"version": "1.1.0"})
    named = ET.SubElement(root, f"{{{SLD}}}NamedLayer")
    se_text(named, "Name", layer)
    style = ET.SubElement(named, f"{{{SLD}}}UserStyle")
    se_text(style, "Name", name)
    described(style, title)
    if default:
        ET.SubElement(style, f"{{{SLD}}}IsDefault").text = "true"
    return root, style


def xml_text(root: ET.Element) -> str:
    """Return the text of a style file."""
    ET.indent(root)
    text = ET.tostring(root, encoding="unicode", xml_declaration=False)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'


def type_style(style: ET.Element, layer: str) -> ET.Element:
    """Begin a pass over the layer: of its rules each feature takes those whose filter holds."""
    kind = ET.SubElement(style, f"{{{SE}}}FeatureTypeStyle")
    se_text(kind, "FeatureTypeName", layer)
    return kind


def add_rule(kind: ET.Element, name: str, title: str) -> ET.Element:
    """Add a rule without filter and symbols.

    Parameters
    ----------
    kind
        From :func:`type_style`.
    name, title
        Of the rule; the title is the legend's text.
    """
    rule = ET.SubElement(kind, f"{{{SE}}}Rule")
    se_text(rule, "Name", name)
    described(rule, title)
    return rule


def add_filter(rule: ET.Element) -> ET.Element:
    """Add an empty filter to a rule."""
    return ET.SubElement(rule, f"{{{OGC}}}Filter")


def compare(parent: ET.Element, operator: str, column: str, value: float | str) -> None:
    """Add a comparison of a column with a value.

    Parameters
    ----------
    parent
        A filter, or a logical operator in one.
    operator
        Name of the operator in Filter Encoding, such as ``PropertyIsLessThan``.
    column, value
        What is compared.
    """
    test = ET.SubElement(parent, f"{{{OGC}}}{operator}")
    ET.SubElement(test, f"{{{OGC}}}PropertyName").text = column
    literal = value if isinstance(value, str) else f"{value:g}"
    ET.SubElement(test, f"{{{OGC}}}Literal").text = literal


def missing(parent: ET.Element, column: str) -> None:
    """Add the test that a column holds nothing."""
    test = ET.SubElement(parent, f"{{{OGC}}}PropertyIsNull")
    ET.SubElement(test, f"{{{OGC}}}PropertyName").text = column


def given(parent: ET.Element, column: str) -> None:
    """Add the test that a column holds something."""
    missing(ET.SubElement(parent, f"{{{OGC}}}Not"), column)


def area(
    rule: ET.Element,
    *,
    fill: str = "",
    opacity: float = 1.0,
    stroke: str = palette.OUTLINE,
    width: float = 0.3,
    dash: Sequence[int] = (),
) -> None:
    """Draw areas by a fill, an outline, or both; an empty color leaves that out.

    Parameters
    ----------
    rule
        Rule that draws it.
    fill, stroke
        Colors ``#rrggbb``; empty: no fill, no outline.
    opacity
        Of the fill, 0..1.
    width
        Of the outline, pixels.
    dash
        Lengths of its dashes and gaps, pixels; none: a whole line.
    """
    symbol = ET.SubElement(rule, f"{{{SE}}}PolygonSymbolizer")
    if fill:
        paint = {"fill": fill} | ({} if opacity == 1.0 else {"fill-opacity": f"{opacity:g}"})
        parameters(ET.SubElement(symbol, f"{{{SE}}}Fill"), paint)
    if stroke:
        line = {"stroke": stroke, "stroke-width": f"{width:g}"}
        line |= {"stroke-dasharray": " ".join(map(str, dash))} if dash else {}
        parameters(ET.SubElement(symbol, f"{{{SE}}}Stroke"), line)


def crosses(rule: ET.Element) -> None:
    """Fill an area with crosses: a mark that the standard itself names."""
    symbol = ET.SubElement(rule, f"{{{SE}}}PolygonSymbolizer")
    fill = ET.SubElement(symbol, f"{{{SE}}}Fill")
    graphic = ET.SubElement(ET.SubElement(fill, f"{{{SE}}}GraphicFill"), f"{{{SE}}}Graphic")
    mark = ET.SubElement(graphic, f"{{{SE}}}Mark")
    se_text(mark, "WellKnownName", "x")
    line = {"stroke": palette.HATCH, "stroke-width": "0.6"}
    parameters(ET.SubElement(mark, f"{{{SE}}}Stroke"), line)
    se_text(graphic, "Size", str(CROSS_SIZE))


def diamond(rule: ET.Element, *, fill: str, size: float) -> None:
    """Draw points as squares standing on a corner, edged with white.

    Parameters
    ----------
    rule
        Rule that draws it.
    fill
        Color ``#rrggbb``.
    size
        Side of the square, pixels.
    """
    symbol = ET.SubElement(rule, f"{{{SE}}}PointSymbolizer")
    graphic = ET.SubElement(symbol, f"{{{SE}}}Graphic")
    mark = ET.SubElement(graphic, f"{{{SE}}}Mark")
    se_text(mark, "WellKnownName", "square")
    parameters(ET.SubElement(mark, f"{{{SE}}}Fill"), {"fill": fill})
    line = {"stroke": palette.PANEL, "stroke-width": "1"}
    parameters(ET.SubElement(mark, f"{{{SE}}}Stroke"), line)
    se_text(graphic, "Size", f"{size:g}")
    se_text(graphic, "Rotation", "45")


def label(rule: ET.Element, column: str, *, color: str) -> None:
    """Write a column next to its shape, with a light rim.

    Parameters
    ----------
    rule
        Rule that draws it.
    column
        Column whose value is written.
    color
        Color of the text, ``#rrggbb``.
    """
    symbol = ET.SubElement(rule, f"{{{SE}}}TextSymbolizer")
    words = ET.SubElement(symbol, f"{{{SE}}}Label")
    ET.SubElement(words, f"{{{OGC}}}PropertyName").text = column
    font = {"font-family": "sans-serif", "font-weight": "bold", "font-size": "12"}
    parameters(ET.SubElement(symbol, f"{{{SE}}}Font"), font)
    rim = ET.SubElement(symbol, f"{{{SE}}}Halo")
    se_text(rim, "Radius", "2")
    parameters(ET.SubElement(rim, f"{{{SE}}}Fill"), {"fill": palette.PANEL})
    parameters(ET.SubElement(symbol, f"{{{SE}}}Fill"), {"fill": color})


def described(parent: ET.Element, title: str) -> None:
    """Add a title in words."""
    se_text(ET.SubElement(parent, f"{{{SE}}}Description"), "Title", title)


def se_text(parent: ET.Element, name: str, content: str) -> None:
    """Add an element of Symbology Encoding that holds text.

    Parameters
    ----------
    parent
        Element that gets it.
    name
        Name without the namespace.
    content
        Text; it is escaped.
    """
    ET.SubElement(parent, f"{{{SE}}}{name}").text = content


def parameters(parent: ET.Element, values: dict[str, str]) -> None:
    """Add drawing parameters by their names in SVG."""
    for name, value in values.items():
        ET.SubElement(parent, f"{{{SE}}}SvgParameter", {"name": name}).text = value
