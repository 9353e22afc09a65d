"""A season played on invented counties, and how much better the list is for it.

``python -m benchmarks.second_season --work DIR FOLDER...``: folders that ``python -m
sample_region.make`` wrote. On each the program plans a season, the visits find what is truly so,
they are recorded, and the program runs again. The list of the second run is then held against that
of the first: of the systems that nobody visited, how many of the first on each list have truly
failed. ``--page`` writes ``docs/outputs/second_season.md``.
"""

from __future__ import annotations

import argparse
import json
import re
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

import riskmap
from riskmap.action.aims import chance_to_find, on_file_as_failed
from riskmap.action.season_figures import by_visit, county_share
from riskmap.outcomes.log import visits
from riskmap.region.sections import Region
from riskmap.season.planning import SeasonPlan

SILENT: Final = 0.05
"""Share of visits that cannot tell: no access, no one there."""
TEMPLATE: Final = Path(__file__).with_suffix(".md")
PAGE: Final = Path(__file__).parents[1] / "docs" / "outputs" / "second_season.md"
RESAMPLES: Final = 10_000


def played(folder: Path, work: Path, *, inspectors: int, days: int) -> dict[str, Any]:
    """Play a season on a copy of a county.

    Parameters
    ----------
    folder
        The county, with its truth.
    work
        Where the copy goes; an earlier one is replaced.
    inspectors, days
        Of the season.

    Returns
    -------
    dict
        What was visited, found and expected, and what either list finds among those left.
    """
    county = work / folder.name
    shutil.rmtree(county, ignore_errors=True)
    shutil.copytree(folder, county, ignore=shutil.ignore_patterns(".riskmap", "outcomes.sqlite"))
    file = county / "region.toml"
    file.write_text(file.read_text().replace("neighbourhood", "neighborhood"))
    truth = pd.read_csv(county / "truth.csv", dtype={"parcel_id": str}).set_index("parcel_id")
    first = riskmap.assess(_plain(riskmap.open_region(file)))
    season = riskmap.plan(first, inspectors=inspectors, days=days)
    _visit(season, truth, county / "visits.csv")
    last = season.stops["date"].max()
    riskmap.record(_plain(riskmap.open_region(file)), [county / "visits.csv"], today=last)
    date = (last + pd.Timedelta(days=1)).isoformat()[:10]
    file.write_text(re.sub(r"(?m)^date = .*$", f"date = {date}", file.read_text(), count=1))
    second = riskmap.assess(_plain(riskmap.open_region(file)))
    told = _told(first.parcels, riskmap.open_region(file))
    return {"county": folder.name, **told, **_lists(season, first, second, truth)}


def _plain(region: Region) -> Region:
    """Leave out the draws, on which the order of the list does not depend."""
    return replace(region, run=replace(region.run, draws=0))


def _visit(season: SeasonPlan, truth: pd.DataFrame, path: Path) -> None:
    """Fill in the season's list with what is truly so."""
    stops = season.stops
    dice = np.random.default_rng(season.region.run.seed)
    found = truth["stage"].reindex(stops.index).fillna("could not tell").to_numpy(object)
    found[dice.random(len(found)) < SILENT] = "could not tell"
    pd.DataFrame(
        {
            "Parcel": stops.index,
            "Visit": stops["visit"].to_numpy(),
            "Visited on": [day.isoformat() for day in stops["date"]],
            "By": stops["inspector"].to_numpy(),
            "Access": ["none" if one == "could not tell" else "full" for one in found],
            "Found": found,
        }
    ).to_csv(path, index=False)


def _told(before: pd.DataFrame, region: Region) -> dict[str, Any]:
    """Sum up the season as its report does."""
    assert region.outcomes is not None
    known = before.assign(chance=chance_to_find(before))
    table = visits(region.outcomes.place).join(known[["rank", "chance"]], on="parcel_id")
    kinds = by_visit(table.assign(reason_1=None))
    systems = int(before["rank"].notna().sum())
    share = county_share(table, systems=systems)
    searched = kinds.drop(index="follow-up")
    return {
        "systems": systems,
        "visits": len(table),
        "found": int(searched["failed"].sum()),
        "expected": float(searched["expected"].sum()),
        "follow_ups": int(kinds["visits"].get("follow-up", 0)),
        "share": [share.share, share.low, share.high],
    }


def _lists(season: SeasonPlan, first: Any, second: Any, truth: pd.DataFrame) -> dict[str, Any]:
    """Count what each list finds among the systems that nobody visited or has on file."""
    both = pd.DataFrame({"first": first.parcels["rank"], "second": second.parcels["rank"]}).dropna()
    left = both[~both.index.isin(season.stops.index)]
    left = left[second.parcels.loc[left.index, "worklist"].eq("to find").to_numpy(bool)]
    failed = truth["failed"].reindex(left.index).fillna(0)
    most = int(season.stops["visit"].eq("list").sum())
    hits = {
        name: int(failed[left[name].astype(float).nsmallest(most).index].sum()) for name in left
    }
    every = truth["failed"].reindex(both.index).mean()
    open_ = ~on_file_as_failed(first.parcels)
    all_open = first.parcels[open_ & first.parcels["rank"].notna().to_numpy(bool)]
    return {
        "left": len(left),
        "failed_left": int(failed.sum()),
        "next_visits": most,
        "by_first": hits["first"],
        "by_second": hits["second"],
        "true_share": float(every),
        "all_failed": int(truth["failed"].reindex(all_open.index).fillna(0).sum()),
        "all_expected": float(chance_to_find(all_open).sum()),
    }


def gain(told: pd.DataFrame) -> tuple[float, float, float]:
    """Mean gain of the second list over the first, %, with a 90% interval over the counties.

    Counties are drawn again with replacement; hits are summed before they are compared.
    """
    dice = np.random.default_rng(1)
    rows = dice.integers(0, len(told), (RESAMPLES, len(told)))
    first, second = (told[name].to_numpy(float)[rows].sum(axis=1) for name in COMPARED)
    low, high = np.percentile(100 * (second / first - 1), [5, 95])
    sums = told[list(COMPARED)].sum()
    return float(100 * (sums["by_second"] / sums["by_first"] - 1)), float(low), float(high)


COMPARED: Final = ("by_first", "by_second")


def page(told: pd.DataFrame, *, inspectors: int, days: int) -> str:
    """Write the handbook's page."""
    one = told.iloc[0]
    middle, low, high = gain(told)
    share, ends = (
        f"{100 * one['share'][0]:.1f}%",
        f"{100 * one['share'][1]:.1f} to {100 * one['share'][2]:.1f}%",
    )
    rows = "\n".join(
        f"| {row['county'].replace('_', ', seed ')} | {row['visits']:,} | {row['found']} | "
        f"{row['expected']:.0f} | {row['all_failed']} | {row['all_expected']:.0f} | "
        f"{row['left']:,} | {row['failed_left']} | {row['by_first']} | "
        f"{row['by_second']} |"
        for row in told.to_dict("records")
    )
    bars = "\n".join(
        f"{row['county'].split('_')[0]:<16} first  {'#' * round(row['by_first'] / 2)} "
        f"{row['by_first']}\n{'':<16} second {'#' * round(row['by_second'] / 2)} {row['by_second']}"
        for row in told.to_dict("records")
    )
    gained = (told["by_second"] - told["by_first"]).idxmax()
    sums = told.sum(numeric_only=True)
    text = TEMPLATE.read_text(encoding="utf-8")
    return text.format(
        inspectors=inspectors, days=days, one=one, share=share, ends=ends, rows=rows, bars=bars,
        truly=f"{100 * one['true_share']:.1f}%", counties=len(told), middle=middle, low=low,
        high=high, most=told["county"][gained].replace("_", ", seed "),
        without=gain(told.drop(index=gained))[0],
        found_ratio=sums["found"] / sums["expected"],
        all_ratio=sums["all_failed"] / sums["all_expected"],
    )  # fmt: skip


def main() -> None:
    """Play the season on some counties; print a line a county."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--work", type=Path, required=True, help="where copies are made")
    parser.add_argument("--inspectors", type=int, default=3)
    parser.add_argument("--days", type=int, default=20)
    parser.add_argument("--page", action="store_true", help="write the handbook's page")
    given = parser.parse_args()
    kept = given.work / "played.jsonl"
    done = [json.loads(line) for line in kept.read_text().splitlines()] if kept.exists() else []
    given.work.mkdir(parents=True, exist_ok=True)
    size = {"inspectors": given.inspectors, "days": given.days}
    for folder in given.folders:
        if folder.name not in [one["county"] for one in done]:
            done.append(played(folder, given.work, **size))
            with kept.open("a") as file:
                file.write(json.dumps(done[-1]) + "\n")
        print(next(one for one in done if one["county"] == folder.name), flush=True)
    names = [folder.name for folder in given.folders]
    told = pd.DataFrame([one for one in done if one["county"] in names])
    print("gain {:.1f}% ({:.1f} to {:.1f})".format(*gain(told)))
    if given.page:
        PAGE.write_text(page(told, **size), encoding="utf-8")


if __name__ == "__main__":
    main()
