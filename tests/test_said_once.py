"""Facts that are said once: columns, unit factors, colors, percents. A second copy is a bug."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from riskmap.contract import results
from riskmap.contract.columns import Layer
from riskmap.contract.features import COLUMNS, FEATURES, column
from riskmap.contract.layers import LAYERS
from riskmap.contract.quantities import in_units

REPO = Path(__file__).resolve().parents[1]
MODULES = sorted([*(REPO / "riskmap").rglob("*.py"), *(REPO / "data_pipelines").rglob("*.py")])
CODE = {path: path.read_text(encoding="utf-8") for path in MODULES}
TREES = {path: ast.parse(text) for path, text in CODE.items()}
TABLES = [table for table in vars(results).values() if isinstance(table, Layer)]
NAMES = {*COLUMNS, *(found.name for table in TABLES for found in table.columns)}

NAMED_IN_CODE = {
    "groundwater/rerun.py": "RERUN_COLUMNS",  # what it computes
    "inventory/soil_rule.py": "SUB_RULES",  # what it computes
    "ranking/priority.py": "CHANCES",  # what its formulas read
    "ranking/uncertainty.py": "SCORE_COLUMNS",  # what its kernel computes
    "stages/scenario_county.py": "FOLLOWED",  # arguments of the arithmetic that it calls
    "stages/scenario_records.py": "STREAMS",  # names of dice, not columns
    "stages/scenarios.py": "BY_RECORDS KEPT VARYING",  # what a scenario draws
    "starting/aliases.py": "ALIASES AVOIDED",  # what others call them
    "starting/codes.py": "SAID",  # what others write in them
    "starting/layers.py": "TELLING",  # by which a table is told
    "starting/names.py": "SHORT",  # words, not columns
    "starting/units.py": "USUAL",  # of which size they mostly are
}
"""Tables of column names outside the contract that are right: code names what it computes."""

UNREAD = {
    "buildings": "building_id",
    "streams": "stream_id",
    "waterbodies": "waterbody_id",
    "soil_units": "area_symbol",
    "soil_mapunits": "area_symbol published_class_least published_class_most",
    "soil_components": "compname major",
    "soil_months": "flooding_duration wet_bottom_cm",
    "soil_interpretations": "rule_depth",
}
"""Canonical columns that nothing reads yet: to be wired or taken out. The list may only shrink."""

READ_ON_READING = {"ground_elevation_m", "site_id", "vertical_datum"}
"""Columns that the readers themselves check or convert by."""


def short(path: Path) -> str:
    return str(path.relative_to(REPO)).removeprefix("riskmap/")


def in_contract(path: Path) -> bool:
    return short(path).startswith("contract/")


class TestColumns:
    def test_every_column_is_declared_once(self) -> None:
        assert len(COLUMNS) == len({found.name for found in COLUMNS.values()})
        for layer in (*LAYERS.values(), *TABLES):
            assert len(set(layer.column_names)) == len(layer.columns), layer.name

    def test_the_unit_in_a_name_is_the_unit_declared(self) -> None:
        suffixes = {
            "_m": "m", "_cm": "cm", "_m2": "m2", "_l": "L", "_l_d": "L/day", "_um_s": "um/s",
            "_pct": "%", "_frac": "0-1", "_mg_l": "mg/L as N", "_kg_yr": "kg/yr",
            "_per_km2": "1/km2", "_l_d_m2": "L/day/m2", "_min_cm": "min/cm",
        }  # fmt: skip
        every = [*COLUMNS.values()]
        every += [found for layer in (*LAYERS.values(), *TABLES) for found in layer.columns]
        for found in every:
            ends = [s for s in sorted(suffixes, key=len) if found.name.endswith(s)]
            if (
                found.dtype == "number"
                and ends
                and not found.name.endswith(("within_150_m", "_229_m"))
            ):
                assert found.unit == suffixes[ends[-1]], found.name

    def test_what_a_column_names_is_there(self) -> None:
        for found in COLUMNS.values():
            assert set(found.depends_on) <= set(FEATURES), found.name
            assert set(found.words) <= set(found.domain), found.name
            assert "{" not in in_units(found.meaning + found.label, "us")
            if found.card or found.listed or found.sheet:
                assert found.label, found.name

    def test_one_that_is_declared_nowhere_is_read_by_its_name(self) -> None:
        assert column("snow_depth_cm").unit == "cm"
        assert column("kind_evidence").domain[0] == "measured"

    @pytest.mark.parametrize("layer", LAYERS.values(), ids=lambda layer: layer.name)
    def test_every_canonical_column_has_a_reader(self, layer: Layer) -> None:
        known = set(UNREAD.get(layer.name, "").split())
        unread = {found.name for found in layer.columns if found.name not in READ}
        assert unread - known == set(), "read them or take them out"
        assert known - unread == set(), "they are read now: shorten the list"

    def test_no_table_outside_the_contract_is_keyed_by_columns(self) -> None:
        found = {
            (short(path), name)
            for path, tree in TREES.items()
            if "riskmap" in path.relative_to(REPO).parts and not in_contract(path)
            for name, keys in tables_of(tree)
            if len({key for key in keys if key in NAMES}) >= 3
        }
        right = {(path, name) for path, names in NAMED_IN_CODE.items() for name in names.split()}
        assert found - right == set()
        assert right - found == set(), "no longer needed here"


def tables_of(tree: ast.Module) -> Iterator[tuple[str, list[object]]]:
    """Yield the tables of a module: what each is called, and what its entries begin with."""
    for statement in tree.body:
        if isinstance(statement, ast.Assign | ast.AnnAssign) and statement.value is not None:
            target = getattr(statement, "target", None) or statement.targets[0]  # type: ignore[union-attr]
            for node in ast.walk(statement.value):
                yield getattr(target, "id", ""), first_words(node)


def first_words(node: ast.AST) -> list[object]:
    if isinstance(node, ast.Dict):
        return [key.value for key in node.keys if isinstance(key, ast.Constant)]
    if not isinstance(node, ast.Tuple | ast.List | ast.Set):
        return []
    heads = [
        part.elts[0] if isinstance(part, ast.Tuple | ast.List) and part.elts
        else part.args[0] if isinstance(part, ast.Call) and part.args
        else part
        for part in node.elts
    ]  # fmt: skip
    return [head.value for head in heads if isinstance(head, ast.Constant)]


def names_read() -> set[str]:
    """Words and attributes in the code of the program.

    Readers deliver columns, and a county's first day names them: neither reads them.

    What the inventory hands on under the same name is read by whoever reads the result; keys are
    checked to be the only one of their kind.
    """
    found = set(COLUMNS) | READ_ON_READING | {layer.key for layer in LAYERS.values() if layer.key}
    for path, tree in TREES.items():
        if {"data_pipelines", "starting"} & set(path.parts) or in_contract(path):
            continue
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.add(node.value)
            elif isinstance(node, ast.Attribute):
                found.add(node.attr)
    return found


READ = names_read()


class TestUnits:
    FACTORS = (0.3048, 0.0254, 2.54, 25400, 3.28084, 3.2808, 43560, 4046.86, 4046.8564224,
               3.785411784, 3.785, 0.45359237, 2.20462, 1609.344, 1.609344, 5280, 0.1417, 365.25,
               0.09290304, 10.7639, 2.589988110336, 0.2259)  # fmt: skip

    def test_no_unit_factor_stands_outside_units(self) -> None:
        found = [
            f"{short(path)}:{node.lineno}: {node.value}"
            for path, tree in TREES.items()
            if path.name != "units.py"
            for node in ast.walk(tree)
            if isinstance(node, ast.Constant) and type(node.value) in (int, float)
            if node.value in self.FACTORS
        ]
        assert found == []


class TestColors:
    COLOR = re.compile(r"(?<![&\w])#(?:[0-9a-fA-F]{3}|[0-9a-fA-F]{6})\b(?!;\s*[a-z])")

    def test_no_color_stands_outside_the_palette(self) -> None:
        files = [
            path
            for ending in ("py", "js", "css", "html", "typ")
            for path in (REPO / "riskmap").rglob(f"*.{ending}")
            if path.name != "palette.py"
        ]
        found = [
            f"{short(path)}:{number}: {line.strip()}"
            for path in files
            for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
            if self.COLOR.search(line) and not re.match(r"\s*(>>>|\(')", line)
        ]
        assert found == []


def test_percents_are_written_without_a_space() -> None:
    texts = {path: text for path, text in CODE.items() if "riskmap" in path.parts}
    for ending in ("md", "toml", "html", "typ"):
        for folder in ("riskmap", "docs"):
            for path in (REPO / folder).rglob(f"*.{ending}"):
                texts[path] = path.read_text(encoding="utf-8")
    found = {
        f"{path.relative_to(REPO)}:{number}"
        for path, text in texts.items()
        for number, line in enumerate(text.splitlines(), start=1)
        if re.search(r"[\d}] %(?![\w(])", line)
    }
    assert found == set()
