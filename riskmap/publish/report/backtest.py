"""The page of a backtest: what an earlier list would have found, by the visits since."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pandas as pd

from riskmap.action.hindsight import ALL_REASONS, NO_TROUBLE
from riskmap.contract.quantities import percent
from riskmap.publish.report.pages import plain_page
from riskmap.publish.report.section import Section, Table, number
from riskmap.publish.words.imprint import sender_of
from riskmap.publish.words.text_safety import csv_text
from riskmap.region.sections import Region
from riskmap.stages.kept_backtest import FILE, KeptBacktest

FEW: Final = 10
"""Visits below which a share is not shown as one."""
NOTE: Final = (
    "Visited: systems of that part with a visit since; failed: found so at the first of them. "
    "In brackets: 95% intervals (Clopper and Pearson 1934). Expected: by the chances of that day. "
    f"Fewer than {FEW} visits: no share."
)
NONE_KEPT: Final = (
    "How a list of some years ago would have done by this county's own visits since is not shown "
    "here. `riskmap backtest REGION.toml --years 5 --out backtest` works it out; with "
    'backtest = "backtest" below [run] it stands here.'
)
CAUTIONS: Final = (
    "Visits were not drawn at random. Those that a complaint prompted find more failures than "
    "there are; sales find other systems than audits. Only shares of the same reason compare.",
    "A system that was found failed years after the day of the list may have failed since.",
    "A failure that nobody visited is not seen here.",
)


def write_backtest(folder: Path, region: Region, done: KeptBacktest) -> None:
    """Write ``index.html``, ``backtest.csv``, and ``backtest.json`` for the report of a run.

    Parameters
    ----------
    folder
        Where to write.
    region
        Gives the imprint.
    done
        The backtest.
    """
    sections = [
        Section("What the list would have found", _by_all(done.table)),
        Section("By reason of the visit", _by_reason(done)),
        Section("How to read this", CAUTIONS),
    ]
    page = plain_page(sections, sender_of(region), title="Backtest", facts=list(done.words))
    (folder / "index.html").write_bytes(page.encode("utf-8"))
    (folder / "backtest.csv").write_bytes(csv_text(done.table).encode("utf-8"))
    (folder / FILE).write_bytes(done.text().encode("utf-8"))


def backtest_section(done: KeptBacktest | None) -> Section:
    """Give the report's part on what an earlier list would have found, or how to come to one."""
    title = "What an earlier list would have found"
    if done is None:
        return Section(title, (NONE_KEPT,))
    return Section(title, (*done.words, *_by_all(done.table), *_by_reason(done), *CAUTIONS))


def _by_all(table: pd.DataFrame) -> tuple[Table, ...]:
    return _reason_table(table, ALL_REASONS), _reason_table(table, NO_TROUBLE)


def _by_reason(done: KeptBacktest) -> tuple[Table, str]:
    left_out = (
        f"{done.unlisted:,} of the systems visited since were on no list then: their houses came "
        "later, or it was not known that they are onsite."
    )
    return _whole_table(done.table), left_out


def _reason_table(table: pd.DataFrame, reason: str) -> Table:
    rows = [
        (row["systems"].capitalize(), f"{row['listed']:,}", *_cells(row))
        for _, row in table[table["reason"] == reason].iterrows()
    ]
    heads = ("Systems", "Listed", "Visited", "Failed", "Share", "Expected")
    return Table(heads, rows, frozenset({1, 2, 3, 5}), f"Visits for {reason}", NOTE)


def _whole_table(table: pd.DataFrame) -> Table:
    own = table[~table["reason"].isin([ALL_REASONS, NO_TROUBLE])]
    rows = [
        (row["reason"].capitalize(), row["systems"].capitalize(), *_cells(row))
        for _, row in own.sort_values(["reason"], kind="stable").iterrows()
    ]
    heads = ("Reason", "Systems", "Visited", "Failed", "Share", "Expected")
    return Table(heads, rows, frozenset({2, 3, 5}), "Visits by their reason", NOTE)


def _cells(row: pd.Series) -> tuple[str, str, str, str]:
    visited, failed = int(row["visited"]), int(row["failed"])
    share = "too few visits"
    if visited >= FEW:
        ends = (f"{100 * row[end]:.0f}" for end in ("low", "high"))
        share = f"{percent(failed, visited)} ({' to '.join(ends)}%)"
    return f"{visited:,}", f"{failed:,}", share, number(float(row["expected"]))


def screen_lines(table: pd.DataFrame) -> list[str]:
    """Write the rows of all reasons and of those without trouble as lines for the screen."""
    rows = [("", "reason", "visited", "failed", "share (95% interval)", "expected")]
    for _, row in table[table["reason"].isin([ALL_REASONS, NO_TROUBLE])].iterrows():
        rows.append((str(row["systems"]), str(row["reason"]), *_cells(row)))
    widths = [max(len(row[place]) for row in rows) for place in range(len(rows[0]))]
    return [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]
