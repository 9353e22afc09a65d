"""Pages of one file with the same plain frame: head, policy against foreign content, tables."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from jinja2 import DictLoader, Environment

from riskmap.publish import palette

FRAME: Final = "plain_page.html"
"""What a page may extend: blocks ``title``, ``width``, ``style``, ``allowed`` and ``body``."""


def plain_page(template: Path, **words: Any) -> str:
    """Fill a page's template; everything from outside is escaped by the engine.

    Parameters
    ----------
    template
        File that extends :data:`FRAME`, or a page of its own.
    words
        What stands in it, besides the palette.
    """
    frame = (files("riskmap.publish") / "templates" / FRAME).read_text("utf-8")
    loader = DictLoader({FRAME: frame, template.name: template.read_text("utf-8")})
    engine = Environment(loader=loader, autoescape=True)
    return engine.get_template(template.name).render(palette=palette, **words)
