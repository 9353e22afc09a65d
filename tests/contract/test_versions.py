"""Versions of code and packages: what a stage rests on changes its key, and nothing else does."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from riskmap.contract import versions

REPO = Path(__file__).resolve().parents[2]


def behind(module: str) -> set[str]:
    root = REPO.as_posix() + "/"
    return {path.as_posix().removeprefix(root) for path in versions._behind(module)}


class TestCode:
    def test_it_covers_what_python_loads(self) -> None:
        """Oracle: the modules of this project that a fresh Python has after importing it."""
        script = (
            "import importlib, sys; importlib.import_module(sys.argv[1]);"
            "print(*(m.__file__ for n, m in sys.modules.items()"
            " if n.partition('.')[0] in ('riskmap', 'data_pipelines') and '.' in n))"
        )
        for module in ("riskmap.stages.zones", "riskmap.publish.paper.letters"):
            done = subprocess.run(
                [sys.executable, "-c", script, module],
                capture_output=True, check=True, text=True, cwd=REPO,
                env={"PYTHONPATH": str(REPO), "PATH": ""},
            )  # fmt: skip
            loaded = {Path(p).relative_to(REPO).as_posix() for p in done.stdout.split()}
            assert len(loaded) > 20
            assert loaded <= behind(module)

    def test_data_beside_the_modules_counts(self) -> None:
        found = behind("riskmap.publish.paper.letters")
        assert any(name.endswith("/letter_en.toml") for name in found)
        assert "riskmap/ranking/scoring_model.toml" in behind("riskmap.region.model_file")

    def test_imports_for_types_only_do_not_count(self) -> None:
        assert "riskmap/stages/zones.py" not in behind("riskmap.stages.result")
        assert "riskmap/stages/county.py" in behind("riskmap.stages.result")

    def test_a_letter_does_not_rest_on_the_physics(self) -> None:
        declared = {"riskmap/failure/__init__.py", "riskmap/failure/settings.py"}
        letters = {n for n in behind("riskmap.publish.paper.letters") if "/failure/" in n}
        assert letters <= declared  # a region's settings, no physics
        assert {n for n in behind("riskmap.stages.failure") if "/failure/" in n}

    def test_a_changed_source_changes_it(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        (tmp_path / "riskmap" / "data").mkdir(parents=True)
        for name, text in {
            "one.py": "from riskmap import two\n",
            "two.py": "def f():\n    from riskmap.three import (\n        g,\n    )\n",
            "three.py": "g = 1\n",
            "other.py": "",
            "__init__.py": "",
            "data/page.html": "<p>",
        }.items():
            (tmp_path / "riskmap" / name).write_text(text, encoding="utf-8")

        def version() -> str:
            for cached in ("_imports", "_source", "_data", "_sha256", "code_version"):
                getattr(versions, cached).cache_clear()
            return versions.code_version("riskmap.one")

        monkeypatch.setattr(versions, "_root", lambda _: tmp_path / "riskmap")
        try:
            seen = [version()]
            for name in ("three.py", "data/page.html"):
                place = tmp_path / "riskmap" / name
                place.write_text(place.read_text("utf-8") + "\n", encoding="utf-8")
                seen.append(version())
            (tmp_path / "riskmap" / "other.py").write_text("x = 1\n", encoding="utf-8")
            seen.append(version())
            assert len(set(seen[:3])) == 3
            assert seen[3] == seen[2]
        finally:
            monkeypatch.undo()
            version()

    def test_nothing_is_imported_behind_the_back(self) -> None:
        """A module named only in a text would be missed: the rooms import by statement."""
        rooms = ("inventory", "failure", "groundwater", "ranking", "action", "spatial", "publish")
        for room in rooms:
            for path in (REPO / "riskmap" / room).rglob("*.py"):
                assert "import_module" not in path.read_text("utf-8"), path


def test_packages_are_those_declared() -> None:
    declared = tomllib.loads((REPO / "pyproject.toml").read_text("utf-8"))["project"]
    names = {text.split(">")[0].split("<")[0].split("=")[0] for text in declared["dependencies"]}
    found = versions.package_versions()
    assert set(found) == {"python", "riskmap", *names}
    assert "not installed" not in found.values()
