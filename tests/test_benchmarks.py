"""The three ways of the benchmark agree, at a small size."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest


def test_three_ways_give_the_same_shares_and_means(repo: Path) -> None:
    pytest.importorskip("rasterstats", reason="rasterstats, the by-hand way's library, is absent")
    command = [sys.executable, "-m", "benchmarks.compare", "--parcels", "400", "--runs", "1"]
    done = subprocess.run(command, cwd=repo, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "times fewer processor seconds than by_hand" in done.stdout
    assert "soil fractions differ by at most" in done.stdout
