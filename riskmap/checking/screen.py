"""A check for the screen: at most 100 letters a line, what is serious first."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import Final

import pandas as pd

from riskmap.checking.check import Checked
from riskmap.checking.findings import SERIOUS
from riskmap.contract.quantities import percent

WIDTH: Final = 100
MOST_MINOR: Final = 15
MOST_COSTS: Final = 8
LEAST_COST: Final = 0.01


def screen_text(checked: Checked) -> str:
    """Write a check for people at a terminal."""
    lines = [line for part in _parts(checked) for line in part]
    return "\n".join(line[:WIDTH].rstrip() for line in lines)


def _parts(checked: Checked) -> Iterator[list[str]]:
    if checked.faults:
        said = [line for fault in checked.faults for line in _item(fault)]
        yield [f"ERRORS: {len(checked.faults)} stop a run", *said, ""]
    yield _ranked(checked)
    yield _grades(checked)
    if len(checked.matches):
        yield _matches(checked.matches)
    serious = checked.findings[checked.findings["weight"] == SERIOUS]
    minor = checked.findings[checked.findings["weight"] != SERIOUS]
    yield _findings("SERIOUS: these change the ranking", serious, len(serious))
    yield _findings("MINOR", minor, MOST_MINOR)
    yield _costs(checked.costs)


def _item(text: str, mark: str = "- ") -> list[str]:
    return textwrap.wrap(" ".join(text.split()), WIDTH, initial_indent=mark,
                         subsequent_indent="  ", break_long_words=True)  # fmt: skip


def _ranked(checked: Checked) -> list[str]:
    if checked.faults:
        return []
    lines = [f"RANKED: {checked.ranked:,} of {checked.parcels:,} parcels"]
    for one in checked.unranked:
        lines += _item(f"{one.parcels:,} not: {one.reason}. {one.cure if one.layer else ''}")
    return [*lines, ""]


def _grades(checked: Checked) -> list[str]:
    shares = {one.layer: percent(one.share) for one in checked.coverage}
    shares["soil_survey"] = shares.get("soil_units", "")
    lines = [f"{'LAYER':<18}{'GRADE':<10}{'PARCELS COVERED':>16}"]
    lines += [
        f"{name:<18}{grade:<10}{shares.get(name, ''):>16}" for name, grade in checked.grades.items()
    ]
    return [*lines, ""]


def _matches(matches: pd.DataFrame) -> list[str]:
    lines = [
        f"{'MATCHES':<34}{'NUMBERS':>10}{'AS THEY STAND':>15}{'OTHER SPELLING':>16}{'LOST':>8}"
    ]
    for row in matches.to_dict("records"):
        name = f"{row['layer']}.{row['column']} in {row['joins']}"
        lines.append(
            f"{name[:33]:<34}{row['keys']:>10,}{row['as_they_stand']:>15,}{row['other_spelling']:>16,}"
            f"{row['lost']:>8,}"
        )
    return [*lines, ""]


def _findings(head: str, rows: pd.DataFrame, most: int) -> list[str]:
    if rows.empty:
        return [f"{head}: none", ""]
    lines = [head]
    for row in rows.head(most).to_dict("records"):
        place = ".".join(part for part in (row["layer"], row["column"]) if part)
        count = f" ({row['rows']:,} rows)" if row["rows"] else ""
        example = f", such as {row['example']}" if row["example"] and row["rows"] else ""
        costs = f" Costs: {row['cost']}." if row["cost"] else ""
        lines += _item(f"{place}: {row['finding']}{count}{example}.{costs} {row['cure']}")
    if len(rows) > most:
        lines.append(f"  and {len(rows) - most:,} more; all are in the page and table of --out")
    return [*lines, ""]


def _costs(costs: pd.DataFrame) -> list[str]:
    rows = costs[costs["lost_frac"] > LEAST_COST].head(MOST_COSTS)
    if rows.empty:
        return []
    lines = [f"{'NOT KNOWN':<42}{'OF PARCELS':>11}{'OF THE SCORE LOST':>19}  FROM"]
    for row in rows.to_dict("records"):
        name = f"{row['score']}: {row['factor']}"
        known = f"{percent(row['unknown_frac']):>11}{percent(row['lost_frac']):>19}"
        lines.append(f"{name[:41]:<42}{known}  {row['layer']}")
    return lines
