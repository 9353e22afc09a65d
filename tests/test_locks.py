"""What is installed is pinned: every declared package stands in the lock files, with hashes."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.specifiers import SpecifierSet

PIN = re.compile(
    r"^([\w.-]+)==(\S+?)(?: ;[^\n\\]*)? \\\n((?:    --hash=sha256:\w{64}(?: \\)?\n)+)", re.M
)


def pins(repo: Path, name: str) -> dict[str, str]:
    text = (repo / "locks" / f"{name}.txt").read_text(encoding="utf-8")
    found = {plain(match[1]): match[2] for match in PIN.finditer(text)}
    assert len(PIN.findall(text)) == len(re.findall(r"^\S", text, re.M)), "a line without hashes"
    assert "://" not in text
    return found


def plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


@pytest.mark.parametrize(("name", "extras"), [("run", ()), ("test", ("test", "dev"))])
def test_every_declared_package_is_pinned_within_its_bounds(
    repo: Path, name: str, extras: tuple[str, ...]
) -> None:
    declared = tomllib.loads((repo / "pyproject.toml").read_text(encoding="utf-8"))
    wanted = [*declared["build-system"]["requires"], *declared["project"]["dependencies"]]
    wanted += [w for extra in extras for w in declared["project"]["optional-dependencies"][extra]]
    found = pins(repo, name)
    for requirement in map(Requirement, wanted):
        assert requirement.specifier.contains(found[plain(requirement.name)]), requirement


def test_both_files_pin_the_same_versions(repo: Path) -> None:
    run, test = pins(repo, "run"), pins(repo, "test")
    assert {name: test[name] for name in run} == run


def test_the_environment_for_conda_asks_for_what_is_declared(repo: Path) -> None:
    declared = tomllib.loads((repo / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    text = (repo / "environment.yml").read_text(encoding="utf-8")
    lines = [
        line.strip().removeprefix("- ") for line in text.partition("dependencies:")[2].split("\n")
    ]
    asked = {}
    for line in lines:
        if re.match(r"[A-Za-z]", line) and not line.endswith(":"):
            found = Requirement(line)
            asked[plain(found.name)] = found.specifier
    wanted = {plain(r.name): r.specifier for r in map(Requirement, declared["dependencies"])}
    assert {name: asked[name] for name in wanted} == wanted
    assert asked["python"] == SpecifierSet(declared["requires-python"])
    assert asked.keys() - wanted.keys() == {"python", "pip", "setuptools"}
    assert "-e ." in lines
