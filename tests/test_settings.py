"""Settings are declared once, and a bound, a default or a belief is the same for whoever asks."""

from __future__ import annotations

import ast
import json
from dataclasses import MISSING, asdict, dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtri
from scipy.stats import lognorm, norm, uniform

from riskmap.contract.settings import (
    Z_95,
    Belief,
    Section,
    Setting,
    beliefs_of,
    clipped,
    draw_beliefs,
    drawn,
    setting,
    settings_of,
)
from riskmap.failure.settings import FailureSettings
from riskmap.groundwater.settings import GroundwaterSettings, WellSettings
from riskmap.region.sections import sections

EVEN = ndtri((np.arange(20_000) + 0.5) / 20_000)
DECLARED = [
    pytest.param(one, id=f"{name}.{one.name}")
    for name, section in sections().items()
    for one in settings_of(section).values()
]
BELIEVED = [
    pytest.param(belief, id=f"{name}.{one.name}")
    for name, section in sections().items()
    for one in settings_of(section).values()
    for belief in one.beliefs
]
TWO_OFF = Belief(0.5, 2.0, "test")


@dataclass(frozen=True)
class Row(Section):
    depth_m: float = setting(1.0, "Depth", unit="m", low=0, high=2)


@dataclass(frozen=True)
class Sample(Section):
    name: str = setting(MISSING, "Name")
    length_m: float = setting(5.0, "Length", unit="m", low=0, high=10, beliefs=(TWO_OFF,))
    width_m: float = setting(
        2.0, "Width", unit="m", low=0, high=10,
        beliefs=(TWO_OFF, Belief(-1.0, 1.0, "test", "uniform", "shift")),
    )  # fmt: skip
    count: int = setting(3, "Count", low=0, high=9)
    word: Literal["one", "two"] = setting("one", "Word")
    year: int | None = setting(None, "Year", low=1900, high=2000)
    cuts: tuple[float, float] = setting((1.0, 2.0), "Cuts", low=0, high=5)
    rows: tuple[Row, ...] = setting((Row(),), "Rows")


class TestOneValue:
    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"length_m": 11}, "length_m = 11: must lie between 0 and 10"),
            ({"length_m": float("nan")}, "must lie between"),
            ({"length_m": True}, "expected a number"),
            ({"length_m": 10**400}, "too large"),
            ({"count": 1.5}, "expected a whole number"),
            ({"word": "on"}, "use one of one, two"),
            ({"name": "a\x00b"}, "one line of text"),
            ({"year": 1800}, "must lie between 1900 and 2000"),
            ({"cuts": (1.0,)}, "a list of 2 values"),
            ({"cuts": (1.0, 9.0)}, "must lie between 0 and 5"),
            ({"rows": ({"depth_m": 1},)}, "expected a table"),
        ],
    )
    def test_what_is_wrong_is_said(self, change: dict[str, object], words: str) -> None:
        with pytest.raises(ValueError, match=r"\w") as caught:
            Sample(**{"name": "x", **change})  # type: ignore[arg-type]
        assert words in str(caught.value)

    def test_all_that_is_wrong_is_said_together(self) -> None:
        with pytest.raises(ValueError, match=r"length_m = -1.*; count = -1.*; word = 'x'"):
            Sample("x", length_m=-1, count=-1, word="x")  # type: ignore[arg-type]

    def test_numbers_are_held_as_plain_floats(self) -> None:
        found = Sample("x", length_m=np.float32(2), width_m=3)  # type: ignore[arg-type]
        assert type(found.length_m) is float
        assert json.loads(json.dumps(asdict(found)))["rows"] == [{"depth_m": 1.0}]

    def test_a_changed_copy_is_checked_too(self) -> None:
        with pytest.raises(ValueError, match="between"):
            replace(Sample("x"), length_m=20.0)
        assert clipped(Sample("x"), length_m=20.0, width_m=-1.0).length_m == 10.0


class TestBeliefsAgainstOtherSoftware:
    """scipy's distributions, fitted to the same 5 and 95 % ends."""

    @pytest.mark.parametrize("shape", ["lognormal", "normal", "uniform"])
    def test_quantiles(self, shape: str) -> None:
        one = Belief(0.5, 3.0, "", shape)  # type: ignore[arg-type]
        ranks = np.array([0.01, 0.05, 0.3, 0.5, 0.95, 0.999])
        sigma, middle = np.log(6.0) / (2 * Z_95), np.sqrt(1.5)
        expected = {
            "lognormal": lognorm(sigma, scale=middle),
            "normal": norm(1.75, 2.5 / (2 * Z_95)),
            "uniform": uniform(0.5 - 2.5 / 18, 2.5 * 20 / 18),
        }[shape].ppf(ranks)
        assert one.at(ndtri(ranks)) == pytest.approx(expected, rel=1e-9)


class TestBeliefs:
    @pytest.mark.parametrize("belief", BELIEVED)
    def test_nine_tenths_lie_in_the_range_and_the_source_is_named(self, belief: Belief) -> None:
        values = belief.at(EVEN)
        inside = (values >= belief.low) & (values <= belief.high)
        assert np.mean(inside) == pytest.approx(0.9, abs=2e-4)
        assert len(belief.source) > 20
        nothing = 1.0 if belief.of == "factor" else 0.0
        assert belief.low <= nothing <= belief.high

    def test_by_hand(self) -> None:
        one, two = beliefs_of(Sample("x"))
        found = drawn(Sample("x", length_m=6.0, width_m=3.0), {one: 1.5, two: 0.25})
        assert (found.length_m, found.width_m, found.name) == (9.0, 4.75, "x")
        assert drawn(Sample("x", length_m=9.0), {one: 1.5, two: 0.0}).length_m == 10.0

    def test_shared_beliefs_are_drawn_once(self) -> None:
        water = GroundwaterSettings()
        beliefs = beliefs_of(water)
        assert len(beliefs) == 10
        both = [b for b in beliefs if b in settings_of(type(water))["dispersivity_down_m"].beliefs]
        found = drawn(water, {b: 2.0 if b in both else 1.0 if b.of == "factor" else 0.0
                              for b in beliefs})  # fmt: skip
        assert found == replace(water, dispersivity_along_m=20.0, dispersivity_across_m=0.04,
                                dispersivity_down_m=0.04)  # fmt: skip

    def test_ends_are_drawn(self) -> None:
        water = GroundwaterSettings(conductivity_m_d=4.0)
        beliefs = beliefs_of(water)
        low, high = draw_beliefs(beliefs, np.array([[-Z_95, Z_95]] * len(beliefs)))
        assert drawn(water, high).conductivity_m_d == pytest.approx(20.0)
        assert drawn(water, high).decay_1_d == pytest.approx(2e-4)
        assert drawn(water, low).denitrified_frac == pytest.approx(0.10)

    @given(st.lists(st.floats(-6, 6), min_size=17, max_size=17))
    @settings(max_examples=60, deadline=None)
    def test_any_draw_is_a_valid_scenario(self, normals: list[float]) -> None:
        water = GroundwaterSettings(porosity_frac=0.58, denitrified_frac=0.95, background_mg_l=49)
        failure = FailureSettings(alpha_per_m=400.0)
        beliefs = beliefs_of(failure, water)
        (values,) = draw_beliefs(beliefs, [[z] for z in normals])
        assert drawn(water, values).porosity_frac <= 0.6
        assert drawn(failure, values).unrecorded_pump_outs_per_yr >= 0


class TestPublishedValues:
    """The published figures that beliefs were set by, beside the numbers they are about."""

    def test_groundwater(self) -> None:
        water = GroundwaterSettings()

        def ends(name: str) -> tuple[float, float]:
            (belief,) = settings_of(GroundwaterSettings)[name].beliefs
            value = getattr(water, name)
            if belief.of == "shift":
                return value + belief.low, value + belief.high
            return value * belief.low, value * belief.high

        # Hantzsche and Finnemore (1992): .10-.35 lost in the soil, .5-1.0 mg/L background
        assert ends("denitrified_frac") == pytest.approx((0.10, 0.35))
        assert ends("background_mg_l")[1] >= 1.0
        # 35 Ill. Adm. Code 671 App. A, loose ground: .15 to .21; Washington practice .22
        assert ends("porosity_frac")[0] <= 0.15 < 0.22 <= ends("porosity_frac")[1]
        # 4.2 (a Florida basin budget), 4.68 (Amador et al. 2018), 4.09 (EPA, from memory) kg/yr
        assert ends("per_person_kg_yr")[0] <= 4.09 < 4.68 <= ends("per_person_kg_yr")[1]

    def test_failure(self) -> None:
        alpha = settings_of(FailureSettings)["alpha_per_m"]
        # Elrick & Reynolds (1992): categories 4, 12 and 36 per m
        assert alpha.default * alpha.beliefs[0].low == pytest.approx(4.0)
        assert alpha.default * alpha.beliefs[0].high == pytest.approx(36.0)


class TestDeclarations:
    @pytest.mark.parametrize("one", DECLARED)
    def test_everything_that_people_ask_is_declared(self, one: Setting) -> None:
        assert one.meaning
        assert not one.meaning.endswith(".")
        if one.kind in (int, float):
            assert one.low is not None
            assert one.high is not None
            assert one.low < one.high
            assert one.source
        if one.kind is float:
            assert one.unit

    def test_defaults_are_valid(self) -> None:
        for section in sections().values():
            required = {
                one.name: {"name": "x"}.get(one.name, __import__("datetime").date(2026, 6, 1))
                for one in settings_of(section).values()
                if one.required
            }
            assert section(**required) == section(**required)

    def test_wells_ranges_may_not_meet(self) -> None:
        with pytest.raises(ValueError, match="below"):
            WellSettings(age_new_yr=30.0, age_old_yr=30.0)


REPO = Path(__file__).resolve().parents[1]
ROOMS = ("inventory", "failure", "groundwater", "ranking", "action", "stages")
MODULES = [path for room in ROOMS for path in sorted((REPO / "riskmap" / room).rglob("*.py"))]
OTHERS = {
    "vulnerability.py: use": "weights of the index, general or for pesticides",
    "classifier.py: folds": "parts in which a strength is chosen, inside what is learned from",
}
"""Arguments that share a setting's name and are something else."""
NAMES = {one.name for section in sections().values() for one in settings_of(section).values()}


def is_literal(node: ast.AST | None) -> bool:
    """Whether a value is written out; nothing, zero and no stand for "none given"."""
    return isinstance(node, ast.Constant) and bool(node.value)


def second_copies(tree: ast.AST, file: str = "") -> list[str]:
    """Defaults written out under a setting's name: of dataclass fields and of arguments."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef):
            for part in node.body:
                if isinstance(part, ast.AnnAssign) and is_literal(part.value):
                    found.append((getattr(part.target, "id", ""), part.lineno))
        if isinstance(node, ast.FunctionDef):
            given = node.args
            plain = given.posonlyargs + given.args
            pairs = [
                *zip(plain[len(plain) - len(given.defaults) :], given.defaults, strict=True),
                *zip(given.kwonlyargs, given.kw_defaults, strict=True),
            ]
            found += [(a.arg, a.lineno) for a, value in pairs if is_literal(value)]
    return [
        f"{name} in line {line}"
        for name, line in found
        if name in NAMES and f"{file}: {name}" not in OTHERS
    ]


class TestSaidOnce:
    @pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(REPO)))
    def test_no_default_of_a_setting_is_written_a_second_time(self, path: Path) -> None:
        assert second_copies(ast.parse(path.read_text(encoding="utf-8")), path.name) == []

    def test_a_second_copy_would_be_seen(self) -> None:
        field = "class A:\n    porosity_frac: float = 0.2\n"
        argument = "def f(x, porosity_frac=0.2, *, thickness_m=20.0): ...\n"
        assert len(second_copies(ast.parse(field + argument))) == 3

    def test_every_setting_has_a_reader_outside_its_declaration(self) -> None:
        declaring = {"settings.py", "rules.py", "page.py"}
        read: set[str] = set()
        for path in (REPO / "riskmap").rglob("*.py"):
            if path.name not in declaring:
                tree = ast.parse(path.read_text(encoding="utf-8"))
                read |= {n.attr for n in ast.walk(tree) if isinstance(n, ast.Attribute)}
        assert sorted(NAMES - read) == []
