"""Writes compared scenarios: a page for a council paper, tables, and the difference by parcel."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
from markupsafe import Markup

from riskmap.contract.quantities import COUNT, EXPECTED, MASS_RATE, Quantity, Units, figure, shown
from riskmap.publish import palette
from riskmap.publish.plain_page import plain_page
from riskmap.publish.words.cautions import SCREENING, STAFF_ONLY
from riskmap.publish.words.imprint import run_name
from riskmap.publish.words.text_safety import csv_text, plain_text
from riskmap.results.swap import result_folder
from riskmap.stages.progress import Progress
from riskmap.stages.result import Result
from riskmap.whatif.following import TODAY, Followed
from riskmap.whatif.steps import Plan
from riskmap.whatif.tables import compared, waters_compared, worth_of_steps

SCENARIOS: Final = "scenarios 1"
"""What the mark of the folder says it is; only compared scenarios take its place."""
TEMPLATE: Final = Path(__file__).with_name("page.html")
WORDS: Final[dict[str, tuple[str, Quantity]]] = {
    "failing": ("Systems that fail within {years} years, or have", EXPECTED),
    "people": ("People living with them", COUNT),
    "nitrogen_kg_yr": ("Nitrogen reaching groundwater, {unit}", MASS_RATE),
    "surface_nitrogen_kg_yr": ("of this arriving at lakes and streams, {unit}", MASS_RATE),
    "wells_above": ("Wells expected above the limit of nitrate", EXPECTED),
}
"""Measure -> how it is read."""
MOST_WATERS: Final = 12
"""Lakes on the page."""
SIDE: Final = 420.0
LEAST: Final = 0.005
"""Changes of a chance below this are not drawn."""


def write_scenarios(
    out: Path,
    result: Result,
    followed: Followed,
    plans: Sequence[Plan],
    steps: Sequence[Plan],
    progress: Progress,
) -> None:
    """Write the folder, whole or not at all; earlier scenarios there are replaced."""
    with (
        progress.stage("write the scenarios"),
        result_folder(out, tell=progress.tell, kind=SCENARIOS) as folder,
    ):
        names = [TODAY.name, *(plan.name for plan in plans)]
        table = compared(followed)
        table = table[table["scenario"].isin(names)]
        worth = worth_of_steps(followed, steps)
        _write(folder / "scenarios.csv", table)
        _write(folder / "steps.csv", worth)
        waters = waters_compared(followed)
        waters = waters[waters["scenario"].isin(names)] if len(waters) else waters
        _write(folder / "waters.csv", waters)
        _write(folder / "parcels.csv", _by_parcel(result, followed, names))
        page = _page(result, followed, plans, table, worth, waters)
        (folder / "index.html").write_bytes(page.encode("utf-8"))


def _write(path: Path, table: pd.DataFrame) -> None:
    path.write_bytes(csv_text(table).encode("utf-8"))


def _by_parcel(result: Result, followed: Followed, names: Sequence[str]) -> pd.DataFrame:
    """Chance of each system to have failed by the horizon, today and in every scenario."""
    places = result.parcels.loc[followed.systems, ["neighborhood"]]
    table = pd.DataFrame({"parcel_id": followed.systems.astype(str)})
    table["neighborhood"] = places["neighborhood"].to_numpy(object)
    for name in names:
        table[name] = followed.failing[name].round(4)
    return table


def _page(
    result: Result,
    followed: Followed,
    plans: Sequence[Plan],
    table: pd.DataFrame,
    worth: pd.DataFrame,
    waters: pd.DataFrame,
) -> str:
    region = result.region
    units = region.county.units
    years = region.rules.horizon_yr
    scenarios = [
        {
            "name": plan.name,
            "cost": figure(followed.cost[plan.name]) if followed.cost[plan.name] else "",
            "rows": _rows(table[table["scenario"] == plan.name], units, years),
            "waters": _water_rows(waters, plan.name, units),
            "steps": [
                (step.title, touched)
                for step, touched in zip(plan.steps, followed.touched[plan.name], strict=True)
            ],
            "svg": Markup(_svg(result, followed, plan.name)),
        }
        for plan in plans
    ]
    return plain_page(
        TEMPLATE,
        county=plain_text(region.county.name),
        run=run_name(region, result.inputs),
        scenarios=scenarios,
        worth=_worth_rows(worth, units),
        titles=[_title(name, units, years) for name in WORDS if f"less_{name}" in worth],
        draws=len(followed.draws[TODAY.name]["failing"]),
        load=MASS_RATE.scale(units).unit,
        cautions=(SCREENING, STAFF_ONLY),
        better=palette.ACCENT,
        worse=palette.WARN_INK,
    )


def _title(name: str, units: Units, years: int) -> str:
    words, quantity = WORDS[name]
    return words.format(years=years, unit=quantity.scale(units).unit)


def _text(value: float, quantity: Quantity, units: Units, *, signed: bool = False) -> str:
    number = float(shown(np.array([value]), quantity, units)[0])
    words = figure(abs(number) if signed else number, quantity.scale(units).decimals)
    if not signed:
        return words
    return words if float(words.replace(",", "")) == 0 else f"{'+' if number > 0 else '−'}{words}"


def _rows(table: pd.DataFrame, units: Units, years: int) -> list[dict[str, str]]:
    rows = []
    for row in table.to_dict("records"):
        name = str(row["measure"])
        quantity = WORDS[name][1]
        plain = {key: _text(row[key], quantity, units) for key in ("today", "then")}
        apart = {
            key: _text(row[key], quantity, units, signed=True)
            for key in ("change", "change_low", "change_high")
        }
        rows.append({"title": _title(name, units, years), **plain, **apart})
    return rows


def _water_rows(waters: pd.DataFrame, name: str, units: Units) -> list[list[str]]:
    """Lakes that are reached, by what arrives today; all of them are in the table."""
    own = waters[waters["scenario"] == name].head(MOST_WATERS) if len(waters) else waters
    rows = []
    for row in own.to_dict("records"):
        counts = [figure(row[key], 1) for key in ("systems_today", "systems_then")]
        plain = [_text(row[key], MASS_RATE, units) for key in ("today", "then")]
        apart = [
            _text(row[key], MASS_RATE, units, signed=True)
            for key in ("change", "change_low", "change_high")
        ]
        rows.append([plain_text(str(row["water"])), *counts, *plain, *apart])
    return rows


def _worth_rows(worth: pd.DataFrame, units: Units) -> list[list[str]]:
    rows = []
    for row in worth.to_dict("records"):
        cost = float(row["cost"])
        cells = [plain_text(str(row["step"])), figure(row["systems"]), figure(cost) if cost else ""]
        for name, (_, quantity) in WORDS.items():
            if f"less_{name}" not in row:
                continue
            less = _text(-row[f"less_{name}"], quantity, units, signed=True)
            each = row[f"per_million_{name}"]
            cells += [less, "" if np.isnan(each) else _text(each, quantity, units)]
        rows.append(cells)
    return rows


def _svg(result: Result, followed: Followed, name: str) -> str:
    """Draw where the chance to fail falls or rises, a dot a system; north is up."""
    parcels = result.parcels.loc[followed.systems]
    x, y = (parcels[axis].to_numpy(float, na_value=np.nan) for axis in ("x_m", "y_m"))
    apart = followed.failing[name] - followed.failing[TODAY.name]
    if not np.isfinite(x).any():
        return ""
    low = np.array([np.nanmin(x), np.nanmin(y)])
    size = np.array([np.nanmax(x), np.nanmax(y)]) - low
    scale = (SIDE - 20) / max(*size, 1.0)
    height = size[1] * scale + 20
    parts: list[str] = []
    order = np.argsort(np.abs(apart), kind="stable")
    for n in order[np.isfinite(x[order])]:
        across, down = (x[n] - low[0]) * scale + 10, height - 10 - (y[n] - low[1]) * scale
        at = f'cx="{across:.1f}" cy="{down:.1f}"'
        parts.append(f"<circle {at} {_dot(float(apart[n]))}/>")
    label = "Where the chance to fail changes"
    return (
        f'<svg viewBox="0 0 {SIDE:.0f} {height:.0f}" role="img" aria-label="{label}">'
        f"{''.join(parts)}</svg>"
    )


def _dot(apart: float) -> str:
    """Size grows with the change; a ring is worse, a full dot better, whatever the color."""
    if abs(apart) < LEAST:
        return f'r="1" fill="{palette.LINE}"'
    size = 1.5 + 5 * min(abs(apart), 0.5) ** 0.5
    if apart < 0:
        return f'r="{size:.1f}" fill="{palette.ACCENT}" fill-opacity="0.7"'
    return f'r="{size:.1f}" fill="none" stroke="{palette.WARN_INK}" stroke-width="1.4"'


def summary_lines(followed: Followed, plans: Sequence[Plan], years: int, units: Units) -> list[str]:
    """Say in a line a scenario what it changes."""
    table = compared(followed)
    lines: list[str] = []
    for plan in plans:
        told: list[Any] = []
        own = table[table["scenario"] == plan.name]
        for row in _rows(own, units, years):
            told.append(f"{row['title']}: {row['change']} ({row['change_low']} to "
                        f"{row['change_high']})")  # fmt: skip
        lines.append(f"{plan.name}\n  " + "\n  ".join(told))
    return lines
