"""Drawings: right places, same bytes, readable without color and without eyes."""

from __future__ import annotations

import re
from functools import cache
from xml.etree import ElementTree as ET

import geopandas as gpd
import matplotlib
import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.failure.aging import DEFAULT_AGING, survival_frac
from riskmap.failure.service_life import survival_table
from riskmap.publish import palette
from riskmap.publish.report.charts import (
    EVIDENCE_FILL,
    ages_figure,
    drivers_figure,
    evidence_bar,
    evidence_legend,
    scores_figure,
)
from riskmap.publish.report.figures import drawn, survival_figure, tint
from riskmap.publish.report.map import BANDS, FEW, FEW_WORDS, NONE_WORDS, hexagons, map_figure
from riskmap.publish.report.section import Figure

SVG = "{http://www.w3.org/2000/svg}"
NAMES = ("survival", "scores", "ages", "drivers", "map", "bar", "legend")
NASTY = '<script>"&\u202e $\\alpha$ --> ]]>'

SIX_MP = (
    [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35],
    [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0],
)
"""Weeks to relapse and whether it came (Freireich et al. 1963, as in Gehan 1965, Biometrika 52)."""

SIX_MP_SURVIVAL = {6: 0.857143, 7: 0.806723, 10: 0.752941, 13: 0.690196, 16: 0.627451,
                   22: 0.537815, 23: 0.448179}  # fmt: skip
"""Published product-limit estimate of those data."""


def make_figures() -> dict[str, Figure]:
    draw = np.random.default_rng(1)
    values = draw.uniform(0, 100, 300)
    marks = draw.random(300) < 0.5
    return {
        "survival": survival_figure(survival_table(*SIX_MP), {"trench": DEFAULT_AGING["trench"]}),
        "scores": scores_figure({"Priority": values, NASTY: values}),
        "ages": ages_figure({"Trench": (values, marks), NASTY: (values, marks)}),
        "drivers": drivers_figure(
            ["Age", NASTY], np.array([2.0, 1]), np.array([1.0, 1]), top_words="A"
        ),
        "map": county_map(),
        "bar": evidence_bar([5, 4, 3, 2, 1]),
        "legend": evidence_legend(),
    }


@cache
def figures() -> dict[str, Figure]:
    return make_figures()


def county(*, systems: int = 500, seed: int = 2) -> gpd.GeoDataFrame:
    draw = np.random.default_rng(seed)
    x, y = draw.normal(0, 900, systems), draw.normal(0, 600, systems)
    rank = pd.array(np.arange(1, systems + 1), "Int64")
    rank[-60:] = pd.NA
    return gpd.GeoDataFrame(
        {
            "rank": rank,
            "priority": draw.uniform(10, 90, systems),
            "priority_class": draw.choice(["highest", "middle", "lower"], systems),
        },
        geometry=shapely.box(x, y, x + 30, y + 30),
        crs="EPSG:32616",
    )


def county_map() -> Figure:
    stream = gpd.GeoDataFrame(geometry=[shapely.LineString([(-900, 0), (0, 90), (900, 0)])])
    lake = gpd.GeoDataFrame(geometry=[shapely.Point(0, 0).buffer(200)])
    layers = {"streams": stream, "waterbodies": lake}
    figure = map_figure(county(), units="us", layers=layers)
    assert figure is not None
    return figure


@pytest.mark.parametrize("name", NAMES)
def test_well_formed_and_described(name: str) -> None:
    root = ET.fromstring(figures()[name].svg)
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    labeled = root.get("aria-label")
    if labeled is None:
        ids = (root.get("aria-labelledby") or "").split()
        texts = {element.get("id"): element.text for element in root.iter()}
        assert len(ids) == 2
        assert all(texts[key] for key in ids)
    assert {element.tag for element in root.iter()} & {f"{SVG}script", f"{SVG}style"} == set()


def test_same_bytes_whatever_the_user_has_set() -> None:
    with matplotlib.rc_context({"font.size": 20, "axes.facecolor": "red", "lines.linewidth": 9}):
        again = make_figures()
    assert again == figures()


def test_ids_of_two_figures_never_meet() -> None:
    ids = [set(re.findall(r' id="([^"]+)"', figure.svg)) for figure in figures().values()]
    assert sum(map(len, ids)) == len(set().union(*ids))
    for figure in figures().values():
        referred = set(re.findall(r"url\(#([^)]+)\)|href=\"#([^\"]+)\"", figure.svg))
        named = set(re.findall(r' id="([^"]+)"', figure.svg))
        assert {one or two for one, two in referred} <= named


def test_text_from_outside_is_neither_run_nor_read_as_formula() -> None:
    root = ET.fromstring(figures()["ages"].svg)
    texts = " ".join(element.text or "" for element in root.iter(f"{SVG}text"))
    assert '<script>"& $\\alpha$' in texts
    assert "\u202e" not in figures()["ages"].svg


def curve(figure: Figure, color: str, width: str) -> np.ndarray:
    """Corner points of the line of that color and width, drawing units."""
    for element in ET.fromstring(figure.svg).iter(f"{SVG}path"):
        style = element.get("style") or ""
        if f"stroke: {color}" in style and f"stroke-width: {width}" in style:
            numbers = re.findall(r"-?\d+\.?\d*", element.get("d") or "")
            points = np.array(numbers, float).reshape(-1, 2)
            if len(points) > 4:
                return points
    raise AssertionError("no such line")


def per_cent(points: np.ndarray, *, top: float, per_unit: float) -> np.ndarray:
    return 100 - (points[:, 1] - top) / per_unit


class TestPublishedValues:
    def test_steps_pass_through_the_published_survival(self) -> None:
        points = curve(figures()["survival"], palette.INK, "1.3")
        top, last = points[0, 1], points[-1, 1]
        per_unit = (last - top) / (100 - 100 * SIX_MP_SURVIVAL[23])
        heights = np.unique(np.round(per_cent(points, top=top, per_unit=per_unit), 1))
        expected = sorted([100.0, *(round(100 * value, 1) for value in SIX_MP_SURVIVAL.values())])
        np.testing.assert_allclose(heights, expected, atol=0.11)

    def test_the_curve_is_the_weibull_curve(self) -> None:
        figure = figures()["survival"]
        steps = curve(figure, palette.INK, "1.3")
        per_unit = (steps[-1, 1] - steps[0, 1]) / (100 - 100 * SIX_MP_SURVIVAL[23])
        points = curve(figure, palette.WARN_INK, "1.6")
        ages = 40 * (points[:, 0] - points[0, 0]) / (points[-1, 0] - points[0, 0])
        model = DEFAULT_AGING["trench"]
        expected = 100 * survival_frac(ages, shape=model.shape, scale_yr=model.scale_yr)
        drawn_shares = per_cent(points, top=steps[0, 1], per_unit=per_unit)
        np.testing.assert_allclose(drawn_shares, expected, atol=0.15)

    def test_words_tell_the_numbers(self) -> None:
        words = figures()["survival"].words
        assert "9 failures" in words
        assert "45% were still serving at 23 years" in words
        assert "95%, 80%" in words  # Dix & Hoxie 2001, as the default takes it


def test_survival_without_failures_draws_the_curve_alone() -> None:
    empty = survival_table([5.0, 9.0], [0, 0])
    assert empty.empty
    ET.fromstring(survival_figure(empty, {"bed": DEFAULT_AGING["bed"]}).svg)


class Testgray:
    def test_marks_get_lighter_as_less_is_known(self) -> None:
        lightness = [palette.lightness(color) for color in EVIDENCE_FILL.values()]
        assert lightness == sorted(lightness)
        assert min(np.diff(lightness)) > 4

    def test_tint_keeps_order(self) -> None:
        shades = [palette.lightness(tint(palette.ACCENT, s)) for s in (1.0, 0.7, 0.4, 0.1)]
        assert shades == sorted(shades)

    def test_bars_fill_the_whole_in_the_order_of_marks(self) -> None:
        svg = evidence_bar([10, 0, 5, 0, 5]).svg
        widths = [float(w) for w in re.findall(r'<rect[^>]* width="([\d.]+)"', svg)]
        np.testing.assert_allclose(widths, [79.5, 39.75, 39.75], atol=0.1)


class TestHexagons:
    def test_no_system_is_lost(self) -> None:
        ranked = county()
        cells = hexagons(ranked)
        assert cells.systems.sum() == ranked["rank"].notna().sum()

    def test_few_systems_get_no_class(self) -> None:
        cells = hexagons(county())
        few = (cells.systems > 0) & (cells.systems < FEW)
        assert few.any()
        assert set(cells.word[few]) == {FEW_WORDS}
        assert set(cells.word[cells.systems == 0]) <= {NONE_WORDS}
        assert set(cells.word[cells.systems >= FEW]) <= set(BANDS)

    def test_one_hexagon_by_hand(self) -> None:
        lots = shapely.box(np.zeros(5), np.zeros(5), np.full(5, 9.0), np.full(5, 9.0))
        table = gpd.GeoDataFrame(
            {
                "rank": pd.array([1, 2, 3, 4, 5], "Int64"),
                "priority": [20.0, 41, 45, 49, 99],
                "priority_class": ["lower", "middle", "high", "on file", "highest"],
            },
            geometry=lots,
            crs="EPSG:32616",
        )
        cells = hexagons(table)
        assert cells.systems.tolist() == [5]
        assert cells.word.tolist() == ["60% or more"]

    def test_no_shape_no_map(self) -> None:
        table = county().assign(geometry=None).set_geometry("geometry", crs="EPSG:32616")
        assert map_figure(table, units="si") is None


def test_a_name_in_letters_no_font_has_does_not_stop_the_drawing() -> None:
    figure = drawn(
        lambda drawing: drawing.subplots().set_title("\U0001f4a7 水"),
        name="odd",
        title="odd",
        words="odd",
        height_in=1,
    )
    assert "水" in figure.svg
