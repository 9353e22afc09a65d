"""folium kept in check, for every page it composes: same bytes, no text read as a template."""

from __future__ import annotations

import re
from typing import Any, Final

import folium
from branca.element import Element

from riskmap.publish.words.text_safety import TEMPLATE_OPENS

_VIEWPORT: Final = re.compile(r'<meta name="viewport"[^>]*user-scalable=no[^>]*>')
"""The composer forbids enlarging by hand; people who need larger letters must be able to."""


def literal(text: str) -> str:
    """Wrap text so that the composer's own template engine leaves it as it is.

    >>> literal("{{ 7*7 }}")
    '{% raw %}&#123;{ 7*7 }}{% endraw %}'
    """
    # A county's name might end the raw block; an entity in place of the brace cannot.
    return "{% raw %}" + TEMPLATE_OPENS.sub("&#123;", text) + "{% endraw %}"


def literal_element(text: str) -> Element:
    """Make a part of a page from finished HTML, under a name that is the same in every run."""
    element = Element(literal(text))
    element._id = "fixed"
    return element


def fix_names(chart: folium.Map, name: str) -> None:
    """Replace the names that the composer draws at random: they would change every run's bytes."""
    chart._id, chart.global_switches._id = name, "switches"


def rendered(figure: Any) -> str:
    """Render a page that readers may enlarge."""
    return _VIEWPORT.sub("", str(figure.render()))
