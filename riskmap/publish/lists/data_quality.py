"""The list of defects in the sources: what is wrong, where, and what was done about it."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from riskmap.contract.sources import DEFECT_COLUMNS
from riskmap.publish.words.text_safety import csv_text
from riskmap.stages.result import Result


def data_quality(folder: Path, result: Result) -> None:
    """Write the list of defects of a run."""
    write_data_quality(folder, result.data_quality)


def write_data_quality(folder: Path, defects: pd.DataFrame) -> Path:
    """Write ``data_quality.csv``: what is wrong, where, and what was done about it."""
    columns = [name for name in DEFECT_COLUMNS if name in defects]
    extra = [name for name in defects.columns if name not in columns]
    path = folder / "data_quality.csv"
    path.write_bytes(csv_text(defects[columns + extra]).encode("utf-8"))
    return path
