"""Writes what counties have together: dataset, list, page."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import pandas as pd

from riskmap.contract.quantities import figure
from riskmap.contract.vocabulary import ON_FILE
from riskmap.publish.plain_page import plain_page
from riskmap.publish.words.cautions import SCREENING, STAFF_ONLY
from riskmap.publish.words.text_safety import csv_text, plain_text
from riskmap.results.swap import result_folder
from riskmap.stages.progress import Progress
from riskmap.statewide.dataset import PART, first_of_state, state_ranks, write_dataset
from riskmap.statewide.state_file import State

TOGETHER: Final = "statewide"
"""Folder beside the counties' folders."""
KIND: Final = "statewide 1"
"""What the mark of the folder says it is."""
TEMPLATE: Final = Path(__file__).with_name("page.html")


def write_together(out: Path, state: State, faults: Mapping[str, str], progress: Progress) -> Path:
    """Write the folder, whole or not at all; returns its front page.

    Parameters
    ----------
    out
        Folder with a result folder for each county that is not among the faults.
    state
        The counties.
    faults
        Why a county is missing, by short name.
    progress
        Gets what people must know.
    """
    results = {name: out / name for name in state.regions if name not in faults}
    with result_folder(out / TOGETHER, tell=progress.tell, kind=KIND) as folder:
        ranks = state_ranks(results)
        units = next(iter(state.regions.values())).county.units
        parts = write_dataset(folder, results, ranks)
        (folder / "lists").mkdir()
        first = first_of_state(results, ranks, first=state.settings.first, units=units)
        (folder / "lists" / "first.csv").write_bytes(csv_text(first).encode("utf-8"))
        page = _page(state, results, faults, parts, first)
        (folder / "index.html").write_bytes(page.encode("utf-8"))
    return out / TOGETHER / "index.html"


def _page(
    state: State,
    results: Mapping[str, Path],
    faults: Mapping[str, str],
    parts: list[dict[str, Any]],
    first: pd.DataFrame,
) -> str:
    among = first["county"].value_counts()
    rows = [
        {
            "name": plain_text(state.regions[part["county"]].county.name),
            "folder": part["county"],
            "date": part["date"],
            "cells": [
                figure(part["rows"]),
                figure(part["ranked"]),
                *_figures(results[part["county"]]),
                figure(int(among.get(part["county"], 0))),
            ],
        }
        for part in parts
    ]
    return plain_page(
        TEMPLATE,
        state=plain_text(state.settings.name),
        counties=rows,
        ranked=figure(sum(part["ranked"] for part in parts)),
        first=figure(len(first)),
        left=[(plain_text(state.regions[name].county.name), why) for name, why in faults.items()],
        cautions=(SCREENING, STAFF_ONLY),
    )


def _figures(result: Path) -> tuple[str, str]:
    """Systems on file, and how many are expected to have failed."""
    table = pd.read_parquet(result / PART, columns=["rank", "worklist", "chance_failed_frac"])
    table = table[table["rank"].notna()]
    on_file = int(table["worklist"].eq(ON_FILE).fillna(False).sum())
    return figure(on_file), figure(round(float(table["chance_failed_frac"].sum())))
