"""`riskmap weights`: comparisons in, a scoring model out that a run takes."""

from __future__ import annotations

import json
import math
import re
import tomllib
from pathlib import Path

import pytest

from riskmap.cli import main
from riskmap.contract.errors import ModelError
from riskmap.ranking.model import Factor, Model, parse_model
from riskmap.ranking.weights import judge
from riskmap.region.comparisons import judged_model, read_comparisons
from riskmap.region.model_file import model_content, model_text, model_toml, read_model, write_model

SHIPPED = read_model()
NAMES = ("age", "seasonal_water", "pumping", "load")


def fitting_pairs(names: tuple[str, ...] = NAMES) -> list[str]:
    """Comparisons that agree exactly with the shipped weights, kept inside 1/9 to 9."""
    weight = {factor.name: factor.weight for factor in SHIPPED.factors}
    return [
        f"{a},{b},{weight[a] / weight[b]!r}" for i, a in enumerate(names) for b in names[i + 1 :]
    ]


def write(path: Path, rows: list[str]) -> Path:
    path.write_text("first,second,times\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


class TestModelText:
    def test_shipped_model_comes_back_the_same(self) -> None:
        text = model_toml(SHIPPED, about="one line\nanother")
        assert parse_model(model_content(text)) == SHIPPED
        assert text.startswith("# one line\n# another\n")

    def test_sources_and_reasons_are_kept(self) -> None:
        content = tomllib.loads(model_toml(SHIPPED))
        given = model_content(model_text())
        for made, read in zip(content["factor"], given["factor"], strict=True):
            assert (made["source"], made["reason"]) == (read["source"], read["reason"])

    def test_awkward_texts_and_numbers_come_back(self, tmp_path: Path) -> None:
        name = 'a "quoted" \\ backslash é 水 #='
        curve = ((-1e-9, 0.0), (1 / 3, 0.1 + 0.2), (1e14, 1.0))
        odd = Factor("f", "failure", "x", name, 1 / 7, 0, 1e3, 0.1, name, name + "{value}", curve)
        table = (("very poor.ly", 1.0), ("", 0.0))
        words = Factor("g", "groundwater", "y", "", 1, 0, 2, 0.5, "", "", table=table)
        model = Model(name, (odd, words), 2 / 3, 0.1, 1e-17)
        write_model(model, tmp_path / "m.toml")
        assert read_model(tmp_path / "m.toml") == model

    def test_unwritable_place_is_named(self, tmp_path: Path) -> None:
        with pytest.raises(ModelError, match="cannot be written"):
            write_model(SHIPPED, tmp_path / "nowhere" / "m.toml")


class TestSavedOnTheMap:
    """The page puts weights into the model's own text; a run must read what was meant."""

    def test_a_file_as_the_page_saves_it_is_the_changed_model(self, tmp_path: Path) -> None:
        # the page's rule: per [[factor]] block, the number after "weight =" is replaced
        text = "# Weights changed on the map of Nowhere County, run of 2026-06-01\n" + model_text()
        changed = {"age": 8.15, "well_distance": 20.0}
        for name, weight in changed.items():
            block = rf'(\[\[factor\]\]\nname = "{name}"[^\[]*?weight = )[-+0-9.eE_]+'
            text, count = re.subn(block, rf"\g<1>{json.dumps(weight)}", text, flags=re.DOTALL)
            assert count == 1
        path = tmp_path / "changed_weights.toml"
        path.write_text(text, encoding="utf-8")
        assert read_model(path) == SHIPPED.with_weights(changed)
        again = parse_model(model_content(model_toml(read_model(path))))
        assert again == SHIPPED.with_weights(changed)


class TestComparisons:
    def test_numbers_and_fractions(self, tmp_path: Path) -> None:
        path = write(tmp_path / "p.csv", ["age,load,3", "age, slope ,1/4"])
        assert read_comparisons(path) == {("age", "load"): 3.0, ("age", "slope"): 0.25}

    @pytest.mark.parametrize(
        ("rows", "words"),
        [
            (["age,load,many"], "line 2: times = 'many'"),
            (["age,load,1/0"], "line 2"),
            (["age,load,-2"], "line 2"),
            (["age,load,2", "load,age,3"], "line 3: load and age are compared twice"),
            ([], "at least one row"),
        ],
    )
    def test_faults_are_named_with_their_line(
        self, tmp_path: Path, rows: list[str], words: str
    ) -> None:
        with pytest.raises(ModelError, match=words):
            read_comparisons(write(tmp_path / "p.csv", rows))

    def test_missing_file_and_missing_column(self, tmp_path: Path) -> None:
        with pytest.raises(ModelError, match="cannot be read"):
            read_comparisons(tmp_path / "none.csv")
        (tmp_path / "p.csv").write_text("a,b\n1,2\n", encoding="utf-8")
        with pytest.raises(ModelError, match="first, second, times"):
            read_comparisons(tmp_path / "p.csv")

    def test_weight_outside_its_bounds_is_refused_with_the_bounds(self) -> None:
        judgment = judge([{("age", "slope"): 1}])
        with pytest.raises(ModelError, match=r"slope 8\.50 \(bounds 1 to 8\)"):
            judged_model(SHIPPED, judgment)

    def test_unknown_factor_is_refused(self) -> None:
        with pytest.raises(ModelError, match=r"unknown factor 'agee'.*age"):
            judged_model(SHIPPED, judge([{("agee", "load"): 1}]))


class TestCommand:
    def test_comparisons_that_agree_give_the_model_back(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        one = write(tmp_path / "one.csv", fitting_pairs())
        two = write(tmp_path / "two.csv", fitting_pairs())
        out = tmp_path / "model.toml"
        assert main(["weights", str(one), str(two), "--out", str(out)]) == 0
        said = capsys.readouterr().out
        assert "2 people" in said
        assert "Consistency ratio 0.000" in said
        for made, given in zip(read_model(out).factors, SHIPPED.factors, strict=True):
            assert math.isclose(made.weight, given.weight, rel_tol=1e-9)
        assert "judged in pairs by 2" in out.read_text(encoding="utf-8").splitlines()[0]

    def test_a_model_that_is_there_is_never_overwritten(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        pairs = write(tmp_path / "one.csv", fitting_pairs())
        out = tmp_path / "model.toml"
        out.write_text("years of work")
        assert main(["weights", str(pairs), "--out", str(out)]) == 2
        assert "is there already and may be your work" in capsys.readouterr().err
        assert out.read_text() == "years of work"

    def test_contradiction_names_the_pair(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        rows = [
            "age,seasonal_water,4/3", "age,pumping,2", "age,load,4", "seasonal_water,pumping,1.5",
            "seasonal_water,load,1/5", "pumping,load,2",
        ]  # fmt: skip
        assert main(["weights", str(write(tmp_path / "p.csv", rows))]) == 0
        assert "Reconsider seasonal_water against load" in capsys.readouterr().out

    def test_errors_are_plain(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["weights", str(tmp_path / "none.csv")]) == 2
        assert "ModelError" in capsys.readouterr().err
