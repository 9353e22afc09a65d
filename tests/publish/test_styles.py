"""Style files: every parcel gets exactly one look, the same as on the map."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree as ET

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest

from riskmap.action.zone_reasons import ZONE_KINDS
from riskmap.contract.vocabulary import CLASSES, NOT_RANKED
from riskmap.publish import palette
from riskmap.publish.gis.files import write_gis_files
from riskmap.publish.gis.style_parts import OGC, SE, SLD
from riskmap.publish.gis.styles import (
    ALL_STYLES,
    LAYER_TITLES,
    STYLES,
    WORD_STYLES,
    compose_style,
    write_styles,
)
from riskmap.publish.map.plan import LAYER_STYLES

VISITS = 40
ORDER = {
    "Rule": ["Name", "Description", "Filter", "PolygonSymbolizer", "PointSymbolizer",
             "TextSymbolizer"],
    "PolygonSymbolizer": ["Fill", "Stroke"],
    "Fill": ["GraphicFill", "SvgParameter"],
    "Graphic": ["Mark", "Size", "Rotation"],
    "TextSymbolizer": ["Label", "Font", "Halo", "Fill"],
    "Halo": ["Radius", "Fill"],
    "Mark": ["WellKnownName", "Fill", "Stroke"],
    "FeatureTypeStyle": ["FeatureTypeName", "Rule"],
    "UserStyle": ["Name", "Description", "IsDefault", "FeatureTypeStyle"],
    "NamedLayer": ["Name", "UserStyle"],
}  # fmt: skip
"""Order of children by the schemas of SLD 1.1.0 (OGC 05-078r4) and SE 1.1.0 (OGC 05-077r4), from
memory."""

STANDARD_MARKS = {"square", "circle", "triangle", "star", "cross", "x"}
"""Well-known names of SE 1.1.0, 11.3.2 (from memory)."""


def rules(name: str, *, layer_style: int = 0) -> list[ET.Element]:
    root = ET.fromstring(compose_style(name, visits=VISITS))
    return root.findall(f".//{{{SE}}}FeatureTypeStyle")[layer_style].findall(f"{{{SE}}}Rule")


def name_of(rule: ET.Element) -> str:
    return rule.findtext(f"{{{SE}}}Name") or ""


def holds(test: ET.Element, row: pd.Series) -> bool:
    """Whether a filter holds for a row, by Filter Encoding 1.1.0: nothing compares with null."""
    operator = test.tag.removeprefix(f"{{{OGC}}}")
    if operator in {"Filter", "And"}:
        return all(holds(part, row) for part in test)
    if operator == "Not":
        return not holds(test[0], row)
    value = row[test.findtext(f"{{{OGC}}}PropertyName")]
    if operator == "PropertyIsNull":
        return bool(pd.isna(value))
    if pd.isna(value):
        return False
    if operator == "PropertyIsEqualTo":
        return bool(value == test.findtext(f"{{{OGC}}}Literal"))
    literal = float(test.findtext(f"{{{OGC}}}Literal") or "nan")
    return bool(
        {
            "PropertyIsGreaterThanOrEqualTo": value >= literal,
            "PropertyIsLessThan": value < literal,
        }[operator]
    )


def sql(test: ET.Element) -> str:
    """Return the filter as a condition for another program's query."""
    operator = test.tag.removeprefix(f"{{{OGC}}}")
    if operator in {"Filter", "And"}:
        return " AND ".join(f"({sql(part)})" for part in test)
    if operator == "Not":
        return f"NOT ({sql(test[0])})"
    column = test.findtext(f"{{{OGC}}}PropertyName")
    if operator == "PropertyIsNull":
        return f"{column} IS NULL"
    if operator == "PropertyIsEqualTo":
        return f"{column} = '{test.findtext(f'{{{OGC}}}Literal')}'"
    sign = {"PropertyIsGreaterThanOrEqualTo": ">=", "PropertyIsLessThan": "<"}[operator]
    return f"{column} {sign} {test.findtext(f'{{{OGC}}}Literal')}"


def filter_of(rule: ET.Element) -> ET.Element:
    found = rule.find(f"{{{OGC}}}Filter")
    assert found is not None
    return found


class TestStandard:
    @pytest.mark.parametrize("name", ALL_STYLES)
    def test_is_what_the_standard_says(self, name: str) -> None:
        root = ET.fromstring(compose_style(name, visits=VISITS))
        assert root.tag == f"{{{SLD}}}StyledLayerDescriptor"
        assert root.get("version") == "1.1.0"
        for element in root.iter():
            order = ORDER.get(element.tag.split("}")[1])
            if order:
                places = [order.index(child.tag.split("}")[1]) for child in element]
                assert places == sorted(places)

    @pytest.mark.parametrize("name", ALL_STYLES)
    def test_marks_are_the_standard_ones(self, name: str) -> None:
        root = ET.fromstring(compose_style(name, visits=VISITS))
        marks = {element.text for element in root.iter(f"{{{SE}}}WellKnownName")}
        assert marks <= STANDARD_MARKS
        assert bool(marks) == (name in {*STYLES, *WORD_STYLES, "wells"})


@pytest.mark.parametrize("name", STYLES)
class TestScores:
    def test_colors_are_those_of_the_palette(self, name: str) -> None:
        for rule in rules(name):
            fill = rule.find(f"{{{SE}}}PolygonSymbolizer/{{{SE}}}Fill/{{{SE}}}SvgParameter")
            assert fill is not None
            assert fill.get("name") == "fill"
            assert fill.text == palette.CLASS_COLORS[name_of(rule)]

    def test_only_what_is_not_ranked_is_crossed(self, name: str) -> None:
        crossed = [name_of(r) for r in rules(name) if r.find(f".//{{{SE}}}GraphicFill") is not None]
        assert crossed == [NOT_RANKED]

    def test_legend_goes_from_the_highest_down(self, name: str) -> None:
        assert [name_of(rule) for rule in rules(name)] == [*CLASSES, NOT_RANKED]


class TestFilters:
    @pytest.mark.parametrize("word", [*CLASSES, NOT_RANKED])
    def test_each_class_falls_in_one_rule(self, word: str) -> None:
        for name, (column, _) in STYLES.items():
            row = pd.Series({column: word})
            hits = [name_of(rule) for rule in rules(name) if holds(filter_of(rule), row)]
            assert hits == [word]

    def test_another_program_finds_the_same_parcels(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame
    ) -> None:
        """GDAL's own query over the GeoPackage as written, rule by rule."""
        apart = pd.Series(pd.NA, index=ranked.index, dtype="Int64")
        apart.iloc[:7] = np.arange(1, 8)
        package, _ = write_gis_files(tmp_path, ranked.assign(apart_rank=apart))
        for name, (column, _) in STYLES.items():
            expected = ranked[column].value_counts()
            total = 0
            for rule in rules(name):
                rows = pyogrio.read_dataframe(
                    package, where=sql(filter_of(rule)), read_geometry=False
                )
                assert len(rows) == expected.get(name_of(rule), 0)
                total += len(rows)
            assert total == len(ranked)
        over = filter_of(rules("priority", layer_style=1)[0])
        assert len(pyogrio.read_dataframe(package, where=sql(over), read_geometry=False)) == 7


def paints(element: ET.Element) -> list[str]:
    """Every color in the order of drawing."""
    found = element.iter(f"{{{SE}}}SvgParameter")
    return [str(p.text) for p in found if p.get("name") in {"fill", "stroke"}]


class TestWords:
    """The likely state and the soil limits: the map's colors, and nothing left without a look."""

    @pytest.mark.parametrize("name", WORD_STYLES)
    def test_each_parcel_takes_one_rule_in_the_color_of_the_page(self, name: str) -> None:
        page = {"stage": palette.STAGE_COLORS, "soil_limits": palette.SOIL_COLORS}[name]
        column = WORD_STYLES[name].column
        for word in (*page, None):
            row = pd.Series({column: None if word == "not rated" else word})
            hits = [rule for rule in rules(name) if holds(filter_of(rule), row)]
            assert len(hits) == 1
            gray = palette.CLASS_COLORS[NOT_RANKED]
            assert paints(hits[0])[0] == (page[word] if word else gray)
            crossed = hits[0].find(f".//{{{SE}}}GraphicFill") is not None
            assert crossed == (word in {None, "not rated"})

    def test_what_is_assumed_is_crossed_over_its_color(self) -> None:
        (over,) = rules("stage", layer_style=1)
        for mark in ("measured", "inferred", "assumed", None):
            row = pd.Series({"stage": "failed", "stage_evidence": mark})
            assert holds(filter_of(over), row) == (mark == "assumed")
        assert over.find(f".//{{{SE}}}GraphicFill") is not None

    def test_another_program_finds_the_same_parcels(
        self, tmp_path: Path, ranked: gpd.GeoDataFrame
    ) -> None:
        words = np.array(["failed", "stressed", "sound", None], object)
        drawn = words[np.random.default_rng(5).integers(0, 4, len(ranked))]
        package, _ = write_gis_files(tmp_path, ranked.assign(stage=drawn))
        counts = [
            len(pyogrio.read_dataframe(package, where=sql(filter_of(r)), read_geometry=False))
            for r in rules("stage")
        ]
        by_hand = pd.Series(drawn, dtype=object).fillna("").value_counts()
        assert counts == [by_hand[word] for word in ("failed", "stressed", "sound", "")]


class TestLayersBeside:
    @pytest.mark.parametrize("name", LAYER_TITLES)
    def test_colors_are_those_of_the_page(self, name: str) -> None:
        root = ET.fromstring(compose_style(name, visits=VISITS))
        look = LAYER_STYLES[name]
        assert root.findtext(f"{{{SLD}}}NamedLayer/{{{SE}}}Name") == name
        colors = {look.color, look.edge or look.color}
        if name == "zones":
            colors = {color for color, _ in palette.ZONE_LOOKS.values()}
        assert set(paints(root)) - {palette.PANEL} == colors
        opacity = [p.text for p in root.iter(f"{{{SE}}}SvgParameter")
                   if p.get("name") == "fill-opacity"]  # fmt: skip
        assert opacity == ([f"{look.opacity:g}"] if look.kind == "area" else [])

    def test_zones_carry_their_names(self) -> None:
        root = ET.fromstring(compose_style("zones", visits=VISITS))
        assert root.findtext(f".//{{{SE}}}Label/{{{OGC}}}PropertyName") == "zone_id"

    def test_each_kind_of_zone_has_a_line_of_its_own(self) -> None:
        assert tuple(palette.ZONE_LOOKS) == ZONE_KINDS
        looks = list(palette.ZONE_LOOKS.values())
        assert len({color for color, _ in looks}) == len({dash for _, dash in looks}) == len(looks)
        assert [name_of(rule) for rule in rules("zones")] == list(ZONE_KINDS)

    def test_styles_of_layers_not_made_are_left_out(self, tmp_path: Path) -> None:
        write_styles(tmp_path, visits=VISITS)
        write_styles(tmp_path, visits=VISITS, names=("priority", "wells"))
        left = sorted(path.name for path in (tmp_path / "styles").iterdir())
        assert left == ["priority.sld", "wells.sld"]


def test_files_are_the_same_bytes(tmp_path: Path) -> None:
    first = write_styles(tmp_path / "a", visits=VISITS)
    again = write_styles(tmp_path / "b", visits=VISITS)
    assert [path.stem for path in first] == list(ALL_STYLES)
    assert [p.read_bytes() for p in first] == [p.read_bytes() for p in again]
    assert first[0].read_bytes().startswith(b'<?xml version="1.0" encoding="UTF-8"?>\n<sld:')


def test_a_hostile_layer_name_stays_text() -> None:
    text = compose_style("priority", visits=VISITS, layer='a"<b>&]]>')
    root = ET.fromstring(text)
    assert root.findtext(f"{{{SLD}}}NamedLayer/{{{SE}}}Name") == 'a"<b>&]]>'
