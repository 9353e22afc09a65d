"""Styles as desktop GIS programs keep them within a GeoPackage: QML, drawn like the SLD files.

QML has no published schema; it is the XML that a widespread open-source GIS writes and reads, here
in the form of its releases from 3.22 on.
"""

from __future__ import annotations

from xml.etree import ElementTree as ET

from riskmap.action.zones import LABELS
from riskmap.contract.vocabulary import NOT_RANKED
from riskmap.publish import palette
from riskmap.publish.gis.styles import STYLES, WORD_STYLES
from riskmap.publish.map.plan import LAYER_STYLES
from riskmap.publish.words.class_words import class_meanings

Look = dict[str, str]


def compose_qml(name: str, *, visits: int) -> str:
    """Return the text of one style.

    Parameters
    ----------
    name
        One of :data:`riskmap.publish.gis.styles.ALL_STYLES`.
    visits
        Visits of a season to systems that are to be found: what the classes are counted by.
    """
    root = ET.Element("qgis", {"version": "3.22", "styleCategories": "Symbology"})
    if name == "zones":
        _zones(root)
    elif name in STYLES or name in WORD_STYLES:
        _by_words(root, *(_scores(name, visits) if name in STYLES else _words(name)))
    else:
        renderer = ET.SubElement(root, "renderer-v2", {"type": "singleSymbol"})
        _layer(ET.SubElement(renderer, "symbols"), name)
    ET.indent(root)
    return ET.tostring(root, encoding="unicode")


def _scores(name: str, visits: int) -> tuple[str, list[tuple[str, str, str]]]:
    """Column, and word, title and color of each class; what is not ranked comes last."""
    held = class_meanings(visits).items()
    rows = [(w, f"{w.capitalize()}: {said}", palette.CLASS_COLORS[w]) for w, said in held]
    return STYLES[name][0], [*rows, (NOT_RANKED, "Not ranked", palette.CLASS_COLORS[NOT_RANKED])]


def _words(name: str) -> tuple[str, list[tuple[str, str, str]]]:
    look = WORD_STYLES[name]
    rows = [(t.removeprefix("likely "), t.capitalize(), c) for t, c in look.colors.items()]
    return look.column, [*rows, ("", look.rest[0].capitalize(), look.rest[1])]


def _by_words(root: ET.Element, column: str, rows: list[tuple[str, str, str]]) -> None:
    """Draw areas by the words of a column; the last row is crossed, as nothing is known there."""
    categories, symbols = _categories(root, column)
    for number, (word, title, color) in enumerate(rows):
        _category(categories, number, word, title)
        symbol = _symbol(symbols, "fill", number)
        _part(symbol, "SimpleFill", _area(color))
        if number == len(rows) - 1:
            _part(symbol, "SimpleFill", _area(palette.HATCH) | {"style": "diagonal_x"})


def _zones(root: ET.Element) -> None:
    """Draw each kind of zone with a line of its own."""
    categories, symbols = _categories(root, "kind")
    for number, (word, (color, dash)) in enumerate(palette.ZONE_LOOKS.items()):
        _category(categories, number, word, LABELS[word].capitalize())
        symbol = _symbol(symbols, "fill", number)
        _part(symbol, "SimpleFill", _outline(palette.PANEL, 1.4) | {"style": "no"})
        line = {"line_color": _rgb(color), "line_width": "0.7"}
        if dash:
            pattern = ";".join(f"{0.28 * length:g}" for length in dash)  # pixels of 96 to the inch
            line |= {"use_custom_dash": "1", "customdash": pattern}
        _part(symbol, "SimpleLine", line)


def _layer(symbols: ET.Element, name: str) -> None:
    look = LAYER_STYLES[name]
    if look.kind == "point":
        shape = {"name": "diamond", "size": "2.5", "color": _rgb(look.color)}
        _part(_symbol(symbols, "marker", 0), "SimpleMarker", shape)
        return
    symbol = _symbol(symbols, "fill", 0)
    edge = _outline(look.edge, 0.35) if look.edge else {"outline_style": "no"}
    _part(symbol, "SimpleFill", {"color": _rgb(look.color, look.opacity), **edge})


def _categories(root: ET.Element, column: str) -> tuple[ET.Element, ET.Element]:
    """Begin a style by the words of a column: its categories and its symbols."""
    renderer = ET.SubElement(root, "renderer-v2", {"type": "categorizedSymbol", "attr": column})
    return ET.SubElement(renderer, "categories"), ET.SubElement(renderer, "symbols")


def _category(categories: ET.Element, number: int, word: str, title: str) -> None:
    about = {"value": word, "label": title, "symbol": str(number), "render": "true"}
    ET.SubElement(categories, "category", about)


def _area(color: str) -> Look:
    return {"color": _rgb(color), **_outline(palette.OUTLINE, 0.1)}


def _outline(color: str, width_mm: float) -> Look:
    return {"outline_color": _rgb(color), "outline_width": f"{width_mm:g}"}


def _symbol(symbols: ET.Element, kind: str, number: int) -> ET.Element:
    return ET.SubElement(symbols, "symbol", {"type": kind, "name": str(number)})


def _part(symbol: ET.Element, kind: str, look: Look) -> None:
    """Add a layer of a symbol; the properties are written as text, which every release takes."""
    part = ET.SubElement(symbol, "layer", {"class": kind, "enabled": "1"})
    options = ET.SubElement(part, "Option", {"type": "Map"})
    for name, value in look.items():
        ET.SubElement(options, "Option", {"type": "QString", "name": name, "value": value})


def _rgb(color: str, opacity: float = 1.0) -> str:
    """Return a color as red, green, blue and opacity, each 0 to 255.

    >>> _rgb("#4a1852", 0.5)
    '74,24,82,128'
    """
    parts = (int(color[place : place + 2], 16) for place in (1, 3, 5))
    return ",".join(map(str, (*parts, round(255 * opacity))))
