"""What learning, inference, fairness and comparison add to a run's report and lists."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from riskmap.inventory.service import NO_SEWER_MAP
from riskmap.publish.report.changes import changes_section
from riskmap.publish.report.fairness import fairness_section
from riskmap.publish.report.learning import learning_section, service_section
from riskmap.publish.report.section import Section
from riskmap.publish.words.text_safety import csv_text
from riskmap.ranking.explanations import Explanation
from riskmap.stages.result import Result
from riskmap.stages.service import CONFIDENCE


def further_sections(result: Result) -> list[Section]:
    """Sections of the report, in order; none for what the run did not do."""
    sections = []
    if result.learning is not None:
        sections.append(
            learning_section(result.learning.words, result.learning.decision.comparison)
        )
    if result.service is not None:
        open_before, filled = _service_counts(result.parcels)
        sections.append(service_section(result.service, filled=filled, open_before=open_before))
    if result.fairness is not None:
        parts = {"inspections": result.fairness.inspections, "letters": result.fairness.letters}
        sections.append(fairness_section({what: part for what, part in parts.items() if part}))
    if result.drift is not None:
        sections.append(changes_section(result.drift.words, result.drift.drift, result.model))
    return sections


def write_further_lists(folder: Path, result: Result) -> None:
    """Write ``lists/changes.csv`` and ``lists/learned_reasons.csv`` where there is any."""
    place = folder / "lists"
    place.mkdir(parents=True, exist_ok=True)
    if result.drift is not None:
        changes = result.drift.changes.reset_index()
        (place / "changes.csv").write_bytes(csv_text(changes).encode("utf-8"))
    if result.learned_reasons is not None:
        table = learned_reasons_table(result.parcels, result.learned_reasons)
        (place / "learned_reasons.csv").write_bytes(csv_text(table).encode("utf-8"))


def learned_reasons_table(parcels: pd.DataFrame, explained: Explanation) -> pd.DataFrame:
    """Share of each feature in the learned log-odds of the listed systems.

    ``base`` and the shares of a row add up to ``log_odds``, to the last of the six decimals that
    are written.
    """
    shares = explained.shares.round(6)
    table = parcels.loc[shares.index, ["rank", "learned_chance_frac"]].assign(
        base=round(explained.base, 6)
    )
    table = table.join(shares)
    table["log_odds"] = (table["base"] + shares.sum(axis=1)).round(6)
    return table.sort_values("rank", kind="stable").reset_index(names="parcel_id")


def _service_counts(parcels: pd.DataFrame) -> tuple[int, int]:
    """Built parcels without a record of service, and how many of them got a word."""
    still = int(parcels["service_reason"].eq(NO_SEWER_MAP).sum())
    if CONFIDENCE not in parcels:
        return still, 0
    confident = parcels[CONFIDENCE].notna()
    filled = int((confident & parcels["service_evidence"].eq("inferred")).sum())
    return still + filled, filled
