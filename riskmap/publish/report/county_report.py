"""The county report of a run: what its stages found, gathered for the page."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pandas as pd

from riskmap.failure.service_life import survival_table
from riskmap.publish.report.fetched import fetched_section
from riskmap.publish.report.further import further_sections
from riskmap.publish.report.pages import Findings, write_report
from riskmap.publish.report.plan import nitrate_table, weights_table, zones_by_kind
from riskmap.publish.report.section import Section
from riskmap.publish.words.imprint import sender_of
from riskmap.stages.listing import find_visits, list_length
from riskmap.stages.result import Result

FEWEST_LIVES: Final = 20
"""Kinds with fewer lives on record get no survival table."""
REPORT_LAYERS: Final = ("streams", "waterbodies")


def county_report(folder: Path, result: Result) -> None:
    """Write ``report/`` of a run."""
    tables, doubt = result.county.tables, result.doubt
    findings = Findings(
        survival=_survival(result.service_history),
        aging=result.aging,
        information=None if doubt is None else doubt.collect,
        defects=result.data_quality,
        rows_read={name: len(table) for name, table in tables.items()},
        sections=_own_sections(result),
        map_layers={name: tables[name] for name in REPORT_LAYERS if name in tables},
    )
    write_report(
        folder,
        result.parcels,
        sender_of(result.region),
        model=result.model,
        rules=result.region.rules,
        head=list_length(result.parcels, result.region.lists),
        visits=find_visits(result.parcels, result.region),
        findings=findings,
    )


def _survival(history: pd.DataFrame) -> dict[str, pd.DataFrame]:
    tables = {}
    for kind, lives in history.groupby("kind", sort=True):
        if len(lives) >= FEWEST_LIVES and lives["failed"].any():
            tables[str(kind)] = survival_table(
                lives["age_yr"].to_numpy(float),
                lives["failed"].to_numpy(bool),
                entry_age_yr=lives["entry_age_yr"].to_numpy(float),
            )
    return tables


def _own_sections(result: Result) -> list[Section]:
    sections = [Section("How the clogging model was set", [result.field_margin.words])]
    if result.groundwater is not None:
        sections.append(Section("Where the water table comes from", list(result.groundwater.notes)))
    if result.planning is not None:
        plan = result.planning
        table = zones_by_kind(plan.zones, units=result.region.county.units)
        sections.append(Section("Areas to protect", (*plan.notes, table)))
    if result.well_validation is not None:
        found = result.well_validation
        blocks = (found.words, nitrate_table(found.table))
        sections.append(Section("Predicted nitrate against samples", blocks))
    if result.doubt is not None:
        doubt = result.doubt
        words = (
            f"The ranges and chances on the list come from {doubt.draws:,} draws over "
            f"{doubt.scenarios} scenarios. In each scenario every record that is open and the "
            "numbers of the models were drawn again and the models run again. "
            f"{doubt.collect_words} The table shows which weight moves the "
            "list most when it goes to an end of its bounds."
        )
        moves = weights_table(doubt.sensitivity.head(10), result.model, top=doubt.top)
        sections.append(Section("How sure the list is", (words, moves)))
    return [*sections, *further_sections(result), *fetched_section(result.fetched)]
