"""What learning, inference, fairness and comparison add to a run's report."""

from __future__ import annotations

import pandas as pd

from riskmap.inventory.service import NO_SEWER_MAP
from riskmap.publish.report.backtest import backtest_section
from riskmap.publish.report.changes import changes_section
from riskmap.publish.report.fairness import fairness_section
from riskmap.publish.report.learning import learning_section, service_section
from riskmap.publish.report.section import Section
from riskmap.stages.result import Result
from riskmap.stages.service import CONFIDENCE


def further_sections(result: Result) -> list[Section]:
    """Sections of the report, in order; none for what the run did not do."""
    sections = []
    if result.learning is not None:
        sections.append(
            learning_section(result.learning.words, result.learning.decision.comparison)
        )
    sections.append(backtest_section(result.backtest))
    if result.service is not None:
        open_before, filled = _service_counts(result.parcels)
        sections.append(service_section(result.service, filled=filled, open_before=open_before))
    if result.fairness is not None:
        parts = {"inspections": result.fairness.inspections, "letters": result.fairness.letters}
        sections.append(fairness_section({what: part for what, part in parts.items() if part}))
    if result.drift is not None:
        sections.append(changes_section(result.drift.words, result.drift.drift, result.model))
    return sections


def _service_counts(parcels: pd.DataFrame) -> tuple[int, int]:
    """Built parcels without a record of service, and how many of them got a word."""
    still = int(parcels["service_reason"].eq(NO_SEWER_MAP).sum())
    if CONFIDENCE not in parcels:
        return still, 0
    confident = parcels[CONFIDENCE].notna()
    filled = int((confident & parcels["service_evidence"].eq("inferred")).sum())
    return still + filled, filled
