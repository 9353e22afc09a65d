"""Everything a run writes, in order."""

from __future__ import annotations

from pathlib import Path

from riskmap.assessing import Result
from riskmap.progress import Progress


def publish(folder: Path, result: Result, progress: Progress) -> None:
    """Write the whole result into `folder`."""
