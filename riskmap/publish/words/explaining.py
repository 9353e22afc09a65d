"""One parcel's page: how every number came about, from the input rows to the rank."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from difflib import get_close_matches
from typing import Any, Final

import numpy as np
import pandas as pd

from riskmap.contract.columns import Column
from riskmap.contract.errors import RiskmapError
from riskmap.contract.quantities import in_units
from riskmap.contract.vocabulary import DECIDED_BY_CONDITION
from riskmap.publish.words.explaining_steps import Step
from riskmap.ranking.curves import limitation
from riskmap.ranking.model import SCORES, Factor, Model
from riskmap.ranking.priority import FIND, FORMULAS
from riskmap.ranking.score import LIMIT_DIGITS, TIE_RULE

Row = Mapping[str, Any]

RECORD_LAYERS: Final = ("parcels", "permits", "inspections", "wells")
CAUTION: Final = (
    "Screening, not a determination: only a site visit and a laboratory sample show whether this "
    "system fails or a well is contaminated. Local code and licensed practice decide."
)


def explain_parcel(
    parcel_id: str,
    *,
    parcels: pd.DataFrame,
    records: Mapping[str, pd.DataFrame],
    model: Model,
    declared: Mapping[str, Column],
    components: pd.DataFrame,
    derived: Sequence[Step] = (),
    ledger: Sequence[str] = (),
    aim: str = FIND,
) -> str:
    """Write the page of one parcel as plain text.

    Parameters
    ----------
    parcel_id
        The parcel number.
    parcels
        The run's result: features, evidence, points, scores, ranks; index ``parcel_id``.
    components
        Soil components under the likely treatment area with their weights
        (:func:`riskmap.publish.words.explaining_steps.soil_parts`).
    records
        Canonical input tables with a ``parcel_id`` column, by layer name.
    model, declared
        The scoring model and the declared features.
    derived
        Steps by which derived features came about.
    ledger
        Lines of the sum of log odds that the system has failed.
    aim
        What the priority serves.

    Raises
    ------
    RiskmapError
        If there is no such parcel; the nearest numbers are named.
    """
    require_parcel(parcel_id, parcels.index)
    row: Row = {str(k): v for k, v in parcels.loc[parcel_id].items()}
    lines = [f"PARCEL {parcel_id}", _shown(row.get("address", "")), ""]
    lines += ["1  INPUT ROWS", ""]
    lines += _records(parcel_id, records)
    lines += _soil(components)
    lines += ["2  WHAT IS KNOWN", ""]
    lines += _features(row, declared)
    lines += ["3  HOW DERIVED NUMBERS CAME ABOUT", ""]
    lines += [
        f"   {step.feature} = {step.text.replace('nan', 'unknown')} = {_shown(step.value)}"
        for step in derived
    ] + [""]
    for number, score in enumerate(SCORES, start=4):
        lines += [f"{number}  {score.upper()} SCORE", ""]
        lines += _score(row, model, score)
    lines += ["6  CHANCE THAT IT HAS FAILED", ""]
    lines += [*(ledger or ["   no onsite system is known or likely here"]), ""]
    lines += ["7  PRIORITY AND RANK", ""]
    lines += _priority(row, aim)
    lines += ["", CAUTION]
    return "\n".join(lines) + "\n"


def require_parcel(parcel_id: str, known: Iterable[object]) -> None:
    """Raise RiskmapError if there is no such parcel, naming the nearest numbers."""
    names = [str(name) for name in known]
    if parcel_id not in names:
        near = get_close_matches(parcel_id, names, n=3)
        hint = f" Near: {', '.join(near)}." if near else ""
        raise RiskmapError(f"there is no parcel {parcel_id!r} in this county.{hint}")


def _shown(value: object) -> str:
    if isinstance(value, float | np.floating):
        number = float(value)
        if np.isnan(number):
            return "unknown"
        return f"{number:.1f}" if abs(number) >= 1e5 else f"{number:.6g}"
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    return "unknown" if value is None or value is pd.NA or value is pd.NaT else str(value)


def _table(rows: Iterable[tuple[str, ...]], heads: tuple[str, ...]) -> list[str]:
    all_rows = [heads, *rows]
    widths = [max(len(row[i]) for row in all_rows) for i in range(len(heads))]
    lines = [
        "   " + "  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip()
        for row in all_rows
    ]
    return [*lines, ""]


def _records(parcel_id: str, records: Mapping[str, pd.DataFrame]) -> list[str]:
    lines = []
    for name, table in records.items():
        own = table[table["parcel_id"] == parcel_id]
        lines.append(f"   {name}: {len(own)} row{'' if len(own) == 1 else 's'}")
        plain = own.drop(columns=["parcel_id", "geometry"], errors="ignore")
        for label, record in plain.to_dict("index").items():
            known = {k: text for k, v in record.items() if (text := _shown(v)) != "unknown"}
            facts = ", ".join(f"{name} {text}" for name, text in known.items())
            lines.append(f"     row {label!s}: {facts}")
    return [*lines, ""]


SOIL_COLUMNS: Final = ("rating", "wet_top_cm", "restriction_cm", "ksat_min_um_s")


def _soil(parts: pd.DataFrame) -> list[str]:
    heads = ("map unit", "component", "weight", *SOIL_COLUMNS, "drainage class")
    rows = [
        (
            str(part["mukey"]),
            str(part["cokey"]),
            f"{part['weight']:.4f}",
            *(_shown(part[name]) for name in SOIL_COLUMNS),
            _shown(part["drainage_class"]),
        )
        for part in parts.to_dict("records")
    ]
    words = "   soils under the likely treatment area, by share of it (weights of all make 1)"
    return [words, *_table(rows, heads)]


def _features(row: Row, declared: Mapping[str, Column]) -> list[str]:
    rows = [
        (
            feature.name,
            _shown(row[feature.name]),
            feature.unit,
            _shown(row.get(f"{feature.name}_evidence", "")),
            in_units(feature.meaning, "si"),
        )
        for feature in declared.values()
        if feature.name in row
    ]
    return _table(rows, ("feature", "value", "unit", "evidence", "meaning"))


def _score(row: Row, model: Model, score: str) -> list[str]:
    factors = model.of(score)
    scale = model.scale(score)
    rows = [_factor(row, factor, scale) for factor in factors]
    lines = _table(rows, ("factor", "value", "limitation", "x weight", "x scale", "= points"))
    total = row[f"{score}_score"]
    if pd.isna(total):
        return [*lines, f"   not scored: {row['not_ranked_reason']}", ""]
    by_hand = sum(row[f"{factor.name}_points"] for factor in factors)
    lines[-1] = f"   sum of the points = {by_hand:.3f}; {score} score = {total:.3f}"
    lines.append(f"   class: {row[f'{score}_class']}")
    return [*lines, ""]


def _factor(row: Row, factor: Factor, scale: float) -> tuple[str, ...]:
    value = row[factor.feature]
    limit = limitation(factor, pd.Series([value]))[0].round(LIMIT_DIGITS)
    used = factor.unknown if np.isnan(limit) else limit
    note = " (unknown: set)" if np.isnan(limit) else ""
    return (
        factor.label,
        _shown(value),
        f"{used:.3f}{note}",
        f"{factor.weight:g}",
        f"{scale:.6g}",
        _shown(row[f"{factor.name}_points"]),
    )


def _priority(row: Row, aim: str) -> list[str]:
    if pd.isna(row["priority"]):
        return [f"   not ranked: {row['not_ranked_reason']}"]
    learned = row.get("decided_by", DECIDED_BY_CONDITION) != DECIDED_BY_CONDITION
    failed = row["learned_chance_frac" if learned else "chance_failed_frac"]
    by = f" (by the {row['decided_by']}, learned from visits)" if learned else ""
    lines = [
        f"   aim: {aim}; priority = {FORMULAS[aim]}",
        f"   chances: failed today {failed:.6f}{by}, stressed today "
        f"{row['chance_stressed_frac']:.6f}, failed within the horizon "
        f"{row['chance_failing_frac']:.6f}, groundwater score {row['groundwater_score']:.3f}",
        f"   priority = {row['priority']:.3f} ({row['priority_class']})",
    ]
    for column, words in (("rank", "rank"), ("apart_rank", "rank among those of unknown service")):
        if pd.notna(row[column]):
            lines.append(f"   {words}: {row[column]}")
    lines.append(f"   {TIE_RULE}")
    if pd.notna(row["list_rank"]):
        lines.append(f"   list: {row['worklist']}, place {row['list_rank']}")
    lines += [f"   {row[name]}" for name in ("on_file", "county_records") if pd.notna(row[name])]
    lines += [f"   reason: {row[f'reason_{n}']}" for n in (1, 2, 3) if row[f"reason_{n}"]]
    if row["unknown"]:
        lines.append(f"   unknown: {row['unknown']}")
    return lines
