"""Drawings for paper and screen: SVG text, the same bytes for the same numbers.

Drawn by matplotlib without any global state. Text stays text, so that it can be searched and read
aloud; every drawing carries a title and a description. Colors fall in lightness with their meaning
and are backed by hatching, dashes or labels, so that nothing is lost in gray.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable, Mapping
from itertools import count
from typing import Any, Final
from xml.etree import ElementTree as ET

import matplotlib
import matplotlib.style
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure as Drawing

from riskmap.failure.aging import AgingModel, survival_frac
from riskmap.publish import palette
from riskmap.publish.report.section import Figure
from riskmap.publish.words.text_safety import plain_text

WIDTH_IN: Final = 6.6
"""Width of every drawing: what letter and A4 paper both hold."""

_SVG: Final = "{http://www.w3.org/2000/svg}"
_NUMBER: Final = re.compile(r"-?\d+\.\d{3,}")
_POINTS: Final = ("d", "x", "y", "x1", "x2", "y1", "y2", "width", "height", "points")
_STYLE: Final[dict[str, Any]] = {
    "svg.fonttype": "none",
    "font.family": ["sans-serif"],
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 8.5,
    "text.parse_math": False,
    "text.color": palette.INK,
    "axes.edgecolor": palette.OUTLINE,
    "axes.labelcolor": palette.INK,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlesize": 8.5,
    "axes.titlelocation": "left",
    "axes.axisbelow": True,
    "grid.color": palette.LINE,
    "grid.linewidth": 0.6,
    "hatch.linewidth": 0.7,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "xtick.color": palette.OUTLINE,
    "xtick.labelcolor": palette.INK,
    "ytick.color": palette.OUTLINE,
    "ytick.labelcolor": palette.INK,
}
DASHES: Final = ("solid", (0, (5, 2)), (0, (1.5, 1.5)), (0, (7, 2, 1.5, 2)))
CURVE_COLORS: Final = (palette.WARN_INK, palette.ACCENT, palette.SOFT_INK, palette.HATCH)


def drawn(
    paint: Callable[[Drawing], None],
    *,
    name: str,
    title: str,
    words: str,
    height_in: float,
    caption: str = "",
) -> Figure:
    """Draw with `paint` and return the finished figure.

    Parameters
    ----------
    paint
        Gets an empty drawing :data:`WIDTH_IN` wide and puts axes and marks on it.
    name
        Unique in the page; every id inside begins with it.
    title, words
        What the drawing is and what it shows, for those who do not see it.
    """
    with matplotlib.style.context(["default", _STYLE | {"svg.hashsalt": name}]):
        drawing = Drawing(figsize=(WIDTH_IN, height_in), layout="constrained")
        FigureCanvasSVG(drawing)
        stream = io.StringIO()
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="Glyph")
            paint(drawing)
            silent = dict.fromkeys(("Date", "Creator", "Format", "Type"))
            drawing.savefig(stream, format="svg", metadata=silent)
    return Figure(_tidy(stream.getvalue(), name, title, words), caption, words)


def tint(color: str, strength: float) -> str:
    """Mix of a color with white; strength 1 is the color itself.

    >>> tint("#000000", 0.0), tint("#204060", 1.0)
    ('#ffffff', '#204060')
    """
    mixed = [round(255 - (255 - value) * strength) for value in palette.channels(color)]
    return "#" + "".join(f"{value:02x}" for value in mixed)


def label(text: object, *, longest: int = 34) -> str:
    """Text from outside as one short line for a drawing."""
    line = plain_text(text)
    return line if len(line) <= longest else line[: longest - 1].rstrip() + "…"


def survival_figure(
    table: pd.DataFrame,
    models: Mapping[str, AgingModel],
    *,
    name: str = "survival",
    title: str = "Share of systems still serving, by age",
) -> Figure:
    """Kaplan-Meier steps with their 95% band and the Weibull curves of `models`.

    Parameters
    ----------
    table
        From :func:`riskmap.failure.service_life.survival_table`; may be empty.
    models
        Label (such as the kind) -> curve; at most four are drawn, each with its own dash.
    """
    until = _last_age(table)
    chosen = dict(list(models.items())[: len(DASHES)])

    def paint(drawing: Drawing) -> None:
        axes = drawing.subplots()
        if len(table):
            _steps(axes, table, until)
        for place, (kind, model) in enumerate(chosen.items()):
            _curve(axes, kind, model, until, place)
        _survival_axes(axes, table, until)

    words = f"{title}. {survival_words(table, chosen)}"
    return drawn(paint, name=name, title=title, words=words, height_in=2.5)


def survival_words(table: pd.DataFrame, models: Mapping[str, AgingModel]) -> str:
    """Say what the survival picture shows, in numbers."""
    parts = []
    if len(table):
        last = table.iloc[-1]
        parts.append(
            f"Records: {int(table['failures'].sum()):,} failures; {100 * last['survival_frac']:.0f}"
            f"% were still serving at {last['age_yr']:.0f} years."
        )
    for kind, model in models.items():
        shares = survival_frac([10.0, 20.0, 30.0], shape=model.shape, scale_yr=model.scale_yr)
        listed = ", ".join(f"{100 * value:.0f}%" for value in shares)
        origin = "fitted to the records" if model.fitted else "default, not fitted"
        parts.append(f"Curve {label(kind)} ({origin}): {listed} after 10, 20 and 30 years.")
    return " ".join(parts)


def _last_age(table: pd.DataFrame) -> float:
    last = float(table["age_yr"].max()) if len(table) else 0.0
    return float(np.clip(np.ceil((last + 1) / 10) * 10, 40, 100))


def _steps(axes: Axes, table: pd.DataFrame, until: float) -> None:
    def padded(column: str, first: float) -> Any:
        values = table[column].to_numpy(float)
        return np.concatenate([[first], values, values[-1:]])

    ages = np.concatenate([[0.0], table["age_yr"].to_numpy(float), [until]])
    low, high = padded("lower_frac", 1.0), padded("upper_frac", 1.0)
    axes.fill_between(
        ages,
        100 * low,
        100 * high,
        step="post",
        color=palette.LINE,
        linewidth=0,
        label="95% interval",
    )
    survival = 100 * padded("survival_frac", 1.0)
    axes.step(ages, survival, where="post", color=palette.INK, linewidth=1.3, label="Records")


def _curve(axes: Axes, kind: str, model: AgingModel, until: float, place: int) -> None:
    ages = np.linspace(0, until, 121)
    shares = survival_frac(ages, shape=model.shape, scale_yr=model.scale_yr)
    origin = "fitted" if model.fitted else "default"
    axes.plot(
        ages,
        100 * shares,
        linestyle=DASHES[place],
        color=CURVE_COLORS[place],
        linewidth=1.6,
        label=f"{label(kind)} ({origin})",
    )


def _survival_axes(axes: Axes, table: pd.DataFrame, until: float) -> None:
    ticks = np.arange(0, until + 1, 10)
    axes.set(xlim=(0, until), ylim=(0, 103), ylabel="Still serving (%)")
    watched = [_watched(table, age) for age in ticks]
    axes.set_xticks(ticks, [f"{age:.0f}\n{text}" for age, text in zip(ticks, watched, strict=True)])
    axes.set_xlabel(
        "Age (years); below each age, systems under watch" if len(table) else "Age (years)"
    )
    axes.grid(axis="y")
    axes.legend(loc="lower left")


def _watched(table: pd.DataFrame, age: float) -> str:
    """Systems at risk at the next failure from `age` on."""
    later = table[table["age_yr"] >= age] if len(table) else table
    return f"{int(later['at_risk'].iloc[0]):,}" if len(later) else ""


def _tidy(text: str, name: str, title: str, words: str) -> str:
    """Make the drawing fit for use inside a page: own ids, title, no style for others."""
    root = ET.fromstring(text)
    kept = {f"{_SVG}{tag}" for tag in ("metadata", "style")}
    for parent in list(root.iter()):
        for child in [c for c in parent if c.tag in kept]:
            parent.remove(child)
    names = _short_ids(root, name)
    for element in root.iter():
        element.tag = element.tag.split("}")[-1]
        element.attrib = {
            key.split("}")[-1]: _tidy_value(key.split("}")[-1], value, names)
            for key, value in element.attrib.items()
        }
    box = root.attrib["viewBox"]
    root.attrib = {"xmlns": _SVG[1:-1], "viewBox": box, "role": "img", "id": name}
    root.attrib["aria-labelledby"] = f"{name}-title {name}-words"
    for place, (tag, content) in enumerate((("title", title), ("desc", words))):
        element = ET.Element(tag, {"id": f"{name}-{'words' if place else 'title'}"})
        element.text = plain_text(content)
        root.insert(place, element)
    return ET.tostring(root, encoding="unicode")


def _short_ids(root: ET.Element, name: str) -> dict[str, str]:
    """Give every id that is referred to a short name of this drawing; drop the others."""
    text = ET.tostring(root, encoding="unicode")
    used = set(re.findall(r"url\(#([^)]+)\)", text)) | set(re.findall(r'href="#([^"]+)"', text))
    number = count(1)
    names: dict[str, str] = {}
    for element in root.iter():
        old = element.attrib.pop("id", "")
        if old in used:
            names[old] = element.attrib["id"] = f"{name}-{next(number)}"
    return names


def _tidy_value(key: str, value: str, names: Mapping[str, str]) -> str:
    if key == "href" and value.startswith("#"):
        return "#" + names[value[1:]]
    if "url(#" in value:
        value = re.sub(r"url\(#([^)]+)\)", lambda found: f"url(#{names[found[1]]})", value)
    if key in _POINTS:
        return _NUMBER.sub(lambda found: f"{float(found[0]):.2f}", value)
    return value
