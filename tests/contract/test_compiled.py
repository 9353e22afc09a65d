"""Machine code that is kept is that of the source as it is, callees in other files included."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

CALLEE = "from riskmap.contract.compiled import compiled\n@compiled\ndef f(x):\n    return {}\n"
CALLER = """
from typing import NamedTuple
from riskmap.contract.compiled import compiled
from riskmap.callee import f
class {name}(NamedTuple):
    x: float
@compiled
def g(given):
    return f(given.x)
"""
SCRIPT = """
import sys, riskmap
riskmap.__path__.insert(0, sys.argv[1])
import riskmap.caller as caller
print(caller.g(caller.{name}(2.0)), sum(caller.g.stats.cache_hits.values()))
"""


@pytest.fixture
def answer(tmp_path: Path, repo: Path):
    """Give what the caller answers in a fresh process, and how much came from kept code."""

    def run(callee: str, name: str = "Given") -> tuple[float, int]:
        (tmp_path / "callee.py").write_text(CALLEE.format(callee), encoding="utf-8")
        (tmp_path / "caller.py").write_text(CALLER.format(name=name), encoding="utf-8")
        done = subprocess.run(
            [sys.executable, "-c", SCRIPT.format(name=name), str(tmp_path)],
            capture_output=True, check=True, text=True,
            env={"PYTHONPATH": str(repo), "PYTHONDONTWRITEBYTECODE": "1"},
        )  # fmt: skip
        value, hits = done.stdout.split()
        return float(value), int(hits)

    return run


def test_kept_code_is_used(answer) -> None:
    assert answer("x + 1.0") == (3.0, 0)
    assert answer("x + 1.0") == (3.0, 1)


def test_a_change_in_another_file_is_seen(answer) -> None:
    """The compiler by itself would answer 3 again: it looks at the caller's file only."""
    assert answer("x + 1.0")[0] == 3.0
    assert answer("x + 5.0") == (7.0, 0)


def test_a_type_that_is_gone_does_no_harm(answer) -> None:
    """The compiler by itself cannot open kept code whose argument's type was renamed."""
    assert answer("x + 1.0", "Given")[0] == 3.0
    assert answer("x + 1.0", "Other")[0] == 3.0


def test_code_of_older_versions_is_cleared(answer, tmp_path: Path) -> None:
    for number in range(3):
        answer(f"x + {number}.0")
    assert len(list(tmp_path.glob("__pycache__/kernels/riskmap.caller-*"))) == 1
