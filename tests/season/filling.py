"""What is filled in on a list, for the tests."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path
from typing import Any

TODAY = datetime.date(2026, 8, 31)
RUN = "2026-06-01 0a1b2c3d"
Fill = Callable[..., Path]


def visit(**more: Any) -> dict[str, Any]:
    """Answers of one visit, by heading."""
    told = {"Visited on": datetime.date(2026, 7, 1), "By": "AB", "Access": "full",
            "Found": "failed"}  # fmt: skip
    return told | {name.replace("_", " "): value for name, value in more.items()}
