"""The season's report: two pages on what was found, against what was expected."""

from __future__ import annotations

import datetime
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.action.aims import chance_to_find
from riskmap.action.season_figures import (
    LEVEL,
    Share,
    by_reason,
    by_visit,
    county_share,
    ratio_to_expected,
)
from riskmap.action.season_moves import Moves, list_moves
from riskmap.contract.errors import NotEnoughDataError, OutputError, SourceMissingError
from riskmap.contract.quantities import figure, percent
from riskmap.contract.vocabulary import ON_FILE
from riskmap.outcomes.log import visits
from riskmap.publish.paper.typesetting import field, paper_of, typeset
from riskmap.publish.words.cautions import LOCAL_CODE, SCREENING
from riskmap.publish.words.imprint import imprint_of, run_name
from riskmap.region.sections import Region
from riskmap.stages.listing import find_visits

CAME_TOLD: Final = 6
"""Newcomers to the list that the report names."""


@dataclass(frozen=True)
class Season:
    """What a season found; ``visits`` has a row a visit with what the run before said of it."""

    region: Region
    run: str
    visits: pd.DataFrame
    kinds: pd.DataFrame
    reasons: pd.DataFrame
    share: Share
    systems: int
    moves: Moves | None = None


def season_of(region: Region, result_folder: Path, after: Path | None = None) -> Season:
    """Hold the outcome log against the run that its lists came from.

    Parameters
    ----------
    region
        The county; its outcome log is read.
    result_folder
        Result of the run before the season: its chances are what was expected.
    after
        Result of the run that learned from the season: what moved on its list is told too.

    Raises
    ------
    SourceMissingError
        If a folder holds no result.
    NotEnoughDataError
        If no visit after that run is on record.
    """
    before, date, run = _run_before(region, result_folder)
    if region.outcomes is None:
        raise NotEnoughDataError("Nothing was recorded yet. Record what visits found first.")
    told = visits(region.outcomes.place, up_to=region.outcomes.entries)
    told = told[told["visited_on"] > pd.Timestamp(date)]
    told = told[told["parcel_id"].isin(before.index)]
    moves = None
    if after is not None:
        now, later, _ = _run_before(region, after)
        if later <= date:
            raise SourceMissingError(
                str(after),
                f"this run is for {later.isoformat()}, not after the season's lists of "
                f"{date.isoformat()}.",
                "Move date in [county] on, run again, and name that result.",
            )
        newest = told.sort_values("visited_on", kind="stable").groupby("parcel_id")["found"].last()
        moves = list_moves(before, now, newest, first=find_visits(before, region))
    if told.empty:
        raise NotEnoughDataError(
            f"No visit after {date.isoformat()}, the day of {result_folder.name}, is on record. "
            "Record the season's visits, or name the result that its lists came from."
        )
    ranked = before[before["rank"].notna()]
    known = before.assign(chance=chance_to_find(before))
    table = told.join(known[["rank", "chance", "reason_1"]], on="parcel_id")
    return Season(
        region=region,
        run=run,
        visits=table,
        kinds=by_visit(table),
        reasons=by_reason(table),
        share=county_share(table, systems=len(ranked)),
        systems=len(ranked),
        moves=moves,
    )


def _run_before(region: Region, folder: Path) -> tuple[pd.DataFrame, datetime.date, str]:
    try:
        content = json.loads((folder / "run.json").read_text(encoding="utf-8"))
        date = datetime.date.fromisoformat(content["settings"]["in_force"]["county"]["date"])
        parcels = gpd.read_parquet(folder / "parcels.parquet").drop(columns="geometry")
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise SourceMissingError(
            str(folder),
            "this is no result of a run (run.json and parcels.parquet).",
            "Name the result folder that the season's lists came from.",
        ) from error
    dated = _dated(region, date)
    return _by_parcel(pd.DataFrame(parcels)), date, run_name(dated, content["inputs_sha256"])


def _dated(region: Region, date: datetime.date) -> Region:
    from dataclasses import replace

    return replace(region, county=replace(region.county, date=date))


def _by_parcel(parcels: pd.DataFrame) -> pd.DataFrame:
    return parcels.set_index("parcel_id") if "parcel_id" in parcels else parcels


def write_report(season: Season, path: Path) -> None:
    """Write the report as a PDF of two pages; an earlier file there is replaced whole.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    imprint = imprint_of(season.region)
    last = season.visits["visited_on"].max().date()
    content = typeset("season_report", _words(season), date=last, paper=paper_of(imprint.units))
    part = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(content)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise OutputError(f"{path}: cannot be written ({error.strerror}).") from error


def _words(season: Season) -> dict[str, Any]:
    kinds = season.kinds
    found, expected = int(kinds["failed"].sum()), float(kinds["expected"].sum())
    searched = kinds.drop(index="follow-up")
    ratio = ratio_to_expected(int(searched["failed"].sum()), float(searched["expected"].sum()))
    first, last = season.visits["visited_on"].min(), season.visits["visited_on"].max()
    silent = int((kinds["visits"] - kinds["told"]).sum())
    return {
        "county": field(season.region.county.name, 60),
        "run": season.run,
        "dates": f"{first.date().isoformat()} to {last.date().isoformat()}",
        "level": percent(LEVEL),
        "visits": figure(len(season.visits)),
        "silent": figure(silent),
        "found": figure(found),
        "searched": figure(int(searched["failed"].sum())),
        "expected": figure(float(searched["expected"].sum()), 1),
        "ratio": _range(ratio, 1.0, 2),
        "systems": figure(season.systems),
        "audit": figure(int(kinds["told"]["audit"])),
        "share": _range(season.share, 100.0, 1),
        "failed_systems": _systems(season),
        "kinds": [_kind(str(why), row) for why, row in kinds.iterrows() if row["visits"]],
        "reasons": [
            _reason(str(why), row)
            for why, row in season.reasons.head(12 if season.moves is None else 7).iterrows()
        ],
        "inspectors": _inspectors(season.visits),
        "cautions": [SCREENING, LOCAL_CODE],
        "all_expected": figure(expected, 1),
        "moves": None if season.moves is None else _moves(season.moves),
    }


def _moves(moves: Moves) -> dict[str, Any]:
    findings = [
        {
            "found": str(found),
            "systems": figure(row["systems"]),
            "before": percent(row["chance_before"]),
            "after": percent(row["chance_after"]),
            "on_file": figure(row["on_file"]),
        }
        for found, row in moves.by_finding.iterrows()
    ]
    came = [
        {
            "parcel": field(parcel, 24),
            "before": ON_FILE if pd.isna(row["rank_before"]) else figure(row["rank_before"]),
            "after": figure(row["rank_after"]),
            "why": field(row["reason"] if isinstance(row["reason"], str) else "", 60),
        }
        for parcel, row in moves.came.head(CAME_TOLD).iterrows()
    ]
    counts = {
        name: figure(getattr(moves, name)) for name in ("first", "stayed", "visited", "other")
    }
    return {**counts, "findings": findings, "came": came, "new": figure(len(moves.came))}


def _range(told: Share, factor: float, decimals: int) -> dict[str, str]:
    """Middle and ends in words; a dash where nothing tells."""
    names = ("share", "low", "high")
    values = [getattr(told, name) * factor for name in names]
    words = ["–" if np.isnan(value) else f"{value:.{decimals}f}" for value in values]
    return dict(zip(names, words, strict=True))


def _systems(season: Season) -> dict[str, str]:
    return _range(season.share, float(season.systems), 0)


def _kind(why: str, row: pd.Series) -> dict[str, str]:
    searched = why != "follow-up"
    return {
        "why": why,
        "visits": figure(row["visits"]),
        "told": figure(row["told"]),
        "failed": figure(row["failed"]),
        "expected": figure(row["expected"], 1) if searched else "–",
        **_hits(row),
    }


def _reason(why: str, row: pd.Series) -> dict[str, str]:
    numbers = {name: figure(row[name]) for name in ("told", "failed")}
    return {"why": field(why, 90), **numbers, **_hits(row)}


def _hits(row: pd.Series) -> dict[str, str]:
    told = Share(row["hits"], row["hits_low"], row["hits_high"])
    return _range(told, 1.0, 1)


def _inspectors(table: pd.DataFrame) -> list[dict[str, str]]:
    days = table.groupby("visited_by")["visited_on"].nunique()
    count = table["visited_by"].value_counts()
    return [
        {"name": field(name, 24), "days": figure(days[name]), "visits": figure(count[name])}
        for name in days.index
    ]
