from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from pyproj import CRS


@pytest.fixture
def write(tmp_path: Path) -> Callable[[str, str], Path]:
    """Write a small text file and return its path."""

    def write_file(name: str, text: str) -> Path:
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write_file


@pytest.fixture(scope="session")
def utm() -> CRS:
    return CRS("EPSG:26915")


@pytest.fixture(scope="session")
def found() -> Callable[..., dict[str, str]]:
    """Rows of one check in a defect table: row label -> value."""

    def rows_of(defects: pd.DataFrame, check: str) -> dict[str, str]:
        chosen = defects[defects["check"] == check]
        return dict(zip(chosen["row"], chosen["value"], strict=True))

    return rows_of
