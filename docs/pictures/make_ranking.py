"""Pictures of scores and ranks: scoring, weights, doubt, records, drift, hot spots, worth."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd
from matplotlib.figure import Figure as Drawing

from docs.pictures.board import (
    ACCENT,
    INK,
    LINE,
    LINES,
    PALE,
    PALE_TO_DARK,
    SOFT,
    WARN,
    field,
    note,
    picture,
    tint,
)
from riskmap.action.hindsight import first_visits, hindsight
from riskmap.ranking.drift import compare_runs
from riskmap.ranking.hotspots import hot_spots
from riskmap.ranking.information import LookUp, collection_list, record_values
from riskmap.ranking.model import Model, parse_model
from riskmap.ranking.score import score
from riskmap.ranking.uncertainty import Doubt, propagate
from riskmap.ranking.weights import judge

SHADES = (PALE_TO_DARK[2], PALE_TO_DARK[1], tint(ACCENT, 0.45), PALE, LINE)
FACTORS = {
    "age_yr": ("Age", 15, [[0, 0], [10, 0.1], [20, 0.45], [30, 0.75], [45, 1]]),
    "wet_depth_cm": ("Seasonal water", 10, [[30, 1], [61, 0.85], [120, 0.4], [180, 0]]),
    "soil_rating": ("Soil limits", 10, [[0, 0], [1, 1]]),
    "lot_m2": ("Small lot", 8, [[1000, 1], [4000, 0.3], [8000, 0]]),
}


def _model() -> Model:
    """Four factors of failing: an example, not the county's model."""
    rest = {"low": 0, "high": 90, "unknown": 0.5, "source": "example", "reason": ""}
    factors = [
        rest
        | {"name": name, "score": kind, "feature": name, "label": label}
        | {"weight": weight, "curve": curve}
        for kind in ("failure",)
        for name, (label, weight, curve) in FACTORS.items()
    ]
    well = {"name": "well", "score": "groundwater", "feature": "well_distance_m", "label": "Well"}
    factors.append(rest | well | {"weight": 1, "curve": [[15, 1], [100, 0]]})
    head = {"name": "example", "failure_share": 1.0, "min_known_frac": 0.2}
    return parse_model(head | {"log_hazard_per_point": 0.03, "factor": factors})


def _systems(count: int, *, seed: int = 2) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    table = pd.DataFrame(
        {
            "age_yr": rng.gamma(3.0, 8.0, count),
            "wet_depth_cm": rng.uniform(30, 200, count),
            "soil_rating": rng.beta(2, 1.2, count),
            "lot_m2": rng.lognormal(7.9, 0.7, count),
            "well_distance_m": 60.0,
        },
        index=[f"lot {n}" for n in range(count)],
    )
    table["age_yr_evidence"] = rng.choice(["measured", "inferred", "assumed"], count)
    return table


@picture(
    "scoring",
    "Points of four example parcels as bars: each factor adds its points, the length of the bar "
    "is the failure score, and its number is at the end.",
    height_in=2.3,
)
def scoring(drawing: Drawing) -> None:
    """Scores are sums."""
    parcels = pd.DataFrame(
        {
            "age_yr": [44.0, 31.0, 18.0, 6.0],
            "wet_depth_cm": [45.0, 160.0, 90.0, 190.0],
            "soil_rating": [1.0, 0.7, 0.9, 0.2],
            "lot_m2": [1200.0, 2500.0, 5200.0, 9000.0],
            "well_distance_m": 60.0,
        },
        index=["lot 1", "lot 2", "lot 3", "lot 4"],
    )
    result = score(parcels, _model())
    axes = drawing.subplots()
    start = np.zeros(4)
    for (name, (label, _, _)), shade in zip(FACTORS.items(), SHADES, strict=False):
        points = result.points[name].to_numpy(float)
        axes.barh(range(4), points, left=start, color=shade, edgecolor=INK, lw=0.6, label=label)
        for row in np.flatnonzero(points > 3):
            at = start[row] + points[row] / 2
            note(axes, f"{points[row]:.0f}", at, row, ha="center", va="center")
        start += points
    for row, total in enumerate(result.scores["failure_score"]):
        note(axes, f"{total:.0f}", start[row] + 1.2, row, va="center", weight="bold")
    axes.set(yticks=range(4), yticklabels=parcels.index, xlim=(0, 100), xlabel="Failure score")
    axes.invert_yaxis()
    axes.legend(loc="lower right")


@picture(
    "backtest",
    "Share of visits that found a failed system, with its 95% interval, for the first 50, 100 and "
    "200 of an example list of five years ago and for all on it. The further down, the lower the "
    "share; the fewer visits, the wider the interval.",
    height_in=1.9,
)
def backtest(drawing: Drawing) -> None:
    """Hold a list of some years ago against visits since."""
    rng = np.random.default_rng(5)
    chance = np.sort(rng.beta(0.6, 3.0, 600))[::-1]
    names = [f"lot {n}" for n in range(600)]
    seen = rng.choice(600, 220, replace=False)
    visits = pd.DataFrame(
        {
            "parcel_id": [names[n] for n in seen],
            "date": pd.Timestamp("2023-06-01"),
            "reason": "routine",
            "stage": np.where(rng.random(len(seen)) < chance[seen], "failed", "sound"),
        }
    )
    found = first_visits(visits, pd.Timestamp("2020-06-01"), pd.Timestamp("2025-06-01"))
    then = pd.DataFrame(
        {"worklist": "to find", "list_rank": range(1, 601), "chance_failed_frac": chance},
        index=names,
    )
    table = hindsight(then, found)
    rows = table[(table["reason"] == "all reasons") & (table["visited"] > 0)]
    axes = drawing.subplots()
    for place, row in enumerate(rows.to_dict("records")):
        share = row["failed"] / row["visited"]
        axes.plot([row["low"], row["high"]], [place, place], color=ACCENT, lw=2)
        axes.plot([share], [place], "o", color=ACCENT, ms=6)
        axes.plot([row["expected"] / row["visited"]], [place], "|", color=INK, ms=12)
        note(axes, f"{row['failed']} of {row['visited']}", row["high"] + 0.01, place, va="center")
    axes.set(yticks=range(len(rows)), yticklabels=rows["systems"], xlim=(0, 1))
    axes.set_xlabel("Share found failed (dot), with its 95% interval; expected (stroke)")
    axes.invert_yaxis()


@picture(
    "weights",
    "Weights from pairwise comparisons of four factors. Left: comparisons that agree. Right: one "
    "pair turned round; the consistency ratio passes 0.10 and the weights shift.",
    height_in=2.2,
)
def weights(drawing: Drawing) -> None:
    """Weights and their consistency."""
    fitting = {
        ("age", "soil"): 4 / 3, ("age", "load"): 2, ("age", "slope"): 4,
        ("soil", "load"): 1.5, ("soil", "slope"): 3, ("load", "slope"): 2,
    }  # fmt: skip
    for axes, pairs in zip(
        drawing.subplots(1, 2, sharex=True),
        (fitting, fitting | {("soil", "slope"): 0.2}),
        strict=True,
    ):
        found = judge([pairs])
        shade = SHADES[0] if found.accepted else SHADES[4]
        hatch = "" if found.accepted else "//"
        axes.barh(found.weights.index, found.weights, color=shade, edgecolor=INK, hatch=hatch)
        for row, value in enumerate(found.weights):
            note(axes, f"{value:.2f}", value + 0.008, row, va="center")
        verdict = "accepted" if found.accepted else "reconsider " + " / ".join(found.reconsider)
        axes.set(title=f"ratio {found.ratio:.2f}: {verdict}", xlim=(0, 0.5), xlabel="Weight")
        axes.invert_yaxis()


def _doubt(count: int = 60, top: int = 15) -> tuple[Doubt, Model]:
    model = _model()
    return propagate(_systems(count), model, top=top, draws=512, seed=1), model


@picture(
    "doubt",
    "Left: sixty systems by middle score, each with its 90% range; many ranges overlap. Right: "
    "the chance of each belonging among the first fifteen falls slowly through the list, not "
    "at the fifteenth place.",
)
def doubt(drawing: Drawing) -> None:
    """Ranges of scores and the chance of the top."""
    found, _ = _doubt()
    table = found.table.sort_values("failure_score_p50", ascending=False)
    low, middle, high = (table[f"failure_score_p{p}"] for p in ("05", "50", "95"))
    place = np.arange(1, len(table) + 1)
    left, right = drawing.subplots(1, 2)
    left.vlines(place, low, high, color=SHADES[1], linewidth=2.4)
    left.plot(place, middle, "o", color=INK, markersize=2.5)
    left.set(title="Score: middle and 90% range", xlabel="Place by the middle score", ylim=(0, 100))
    chance = 100 * table["failure_score_top_chance"]
    colors = np.where(place <= found.top, SHADES[0], LINE)
    right.bar(place, chance, color=colors, edgecolor=SOFT, linewidth=0.4)
    right.axvline(found.top + 0.5, color=INK, linestyle="--", linewidth=0.9)
    note(right, "end of the list", found.top + 1.4, 92)
    right.set(title="Chance of the true first fifteen (%)", xlabel="Place by the middle score")


@picture(
    "information",
    "What a hundred look-ups of each record bring to the list, as bars, and beside each bar what "
    "an hour of it brings: a cheap look-up in the permit file can beat a dearer visit.",
    height_in=1.9,
)
def information(drawing: Drawing) -> None:
    """Gain of three records on example systems."""
    found, model = _doubt(200, 30)
    records = (
        LookUp("age", "permit file: year", ("age_yr",), 10),
        LookUp("soil", "hand auger: soil and water", ("soil_rating", "wet_depth_cm"), 90),
        LookUp("lot", "deed: lot size", ("lot_m2",), 15),
    )
    values = record_values(found, model, records, kind="failure_score")
    table = collection_list(values, records)
    axes = drawing.subplots()
    axes.barh(table["label"], table["gain_per_100"], color=SHADES[2], edgecolor=INK)
    for row, line in enumerate(table.itertuples()):
        note(axes, f"{line.gain_per_hour:.2f} an hour", line.gain_per_100 + 0.1, row, va="center")
    axes.set(xlabel="True top systems gained per 100 look-ups")
    axes.set_xlim(0, 1.35 * table["gain_per_100"].max())
    axes.invert_yaxis()


@picture(
    "drift",
    "Changes of five systems between two runs, each split into time, new records and new weights; "
    "the parts to the right raise the score, those to the left lower it, and the dot is their sum.",
    height_in=2.3,
)
def drift(drawing: Drawing) -> None:
    """Draw the parts of a change."""
    before = _systems(5, seed=8)
    after = before.copy()
    after["age_yr"] += 1.0
    after.loc["lot 1", "age_yr"] = 38.0
    after.loc["lot 3", "wet_depth_cm"] = 175.0
    model = _model()
    heavier = model.with_weights({"soil_rating": 16.0})
    moves = compare_runs(
        before, after, model_before=model, model_after=heavier, years=1.0, top=2
    ).moves.loc[before.index]
    axes = drawing.subplots()
    ends = {1: np.zeros(5), -1: np.zeros(5)}
    for part, shade, hatch in zip(
        ("time", "data", "weights"), SHADES, ("", "//", ".."), strict=False
    ):
        size = moves[part].to_numpy(float)
        start = np.where(size >= 0, ends[1], ends[-1])
        axes.barh(range(5), size, left=start, color=shade, edgecolor=INK, hatch=hatch, label=part)
        ends[1] += np.maximum(size, 0)
        ends[-1] += np.minimum(size, 0)
    axes.plot(moves["change"].to_numpy(float), range(5), "o", color=INK, label="change")
    axes.axvline(0, color=INK, linewidth=0.8)
    axes.set(yticks=range(5), yticklabels=before.index, xlabel="Points of the failure score")
    axes.invert_yaxis()
    axes.legend()


@picture(
    "hot_spots",
    "Scores of 400 places, shaded, with rings around those in hot spots after control of false "
    "discoveries: they gather in one corner where high scores were put; high single dots "
    "elsewhere carry no ring.",
    height_in=3.0,
)
def hot(drawing: Drawing) -> None:
    """Hot spots among drawn places."""
    rng = np.random.default_rng(4)
    x, y = rng.uniform(0, 4000, 400), rng.uniform(0, 2400, 400)
    scores = 40 + 12 * rng.standard_normal(400)
    scores += 18 * np.exp(-(((x - 3000) / 600) ** 2) - ((y - 1600) / 450) ** 2)
    found = hot_spots(x, y, scores, radius_m=450.0)
    axes = drawing.subplots()
    cuts = np.digitize(scores, [30, 40, 50, 60])
    for name, color in enumerate(PALE_TO_DARK):
        some = cuts == name
        axes.plot(x[some], y[some], "o", color=color, markeredgecolor=SOFT, mew=0.3, markersize=4.5)
    for spot, color, dash in (("hot", INK, "solid"), ("cold", ACCENT, "dotted")):
        ring = (found["spot"] == spot).to_numpy()
        axes.scatter(x[ring], y[ring], s=80, facecolor="none", edgecolor=color, linestyle=dash)
    hot_count = int((found["spot"] == "hot").sum())
    field(axes, f"{hot_count} of 400 places in hot spots (ringed)", frame=True)


@picture(
    "worth",
    "Failures found per 100 visits to the first tenth of the list, among systems not known to have "
    "failed, with 90% intervals, for each way to order it; a dashed line marks visits at random.",
    height_in=2.4,
)
def worth(drawing: Drawing) -> None:
    """Draw the last column of the page's first table as points and intervals."""
    page = (Path(__file__).parents[1] / "methods" / "worth.md").read_text(encoding="utf-8")
    table = page[page.index("| order | average precision") :].split("\n\n")[0]
    *rows, by_chance = [line.strip("| ").split(" | ") for line in table.splitlines()[2:]]
    axes = drawing.subplots()
    for row, (_, *figures) in enumerate(rows):
        value, low, high = (float(part) for part in re.findall(r"\d+\.\d+", figures[-1]))
        axes.plot([low, high], [row, row], color=SHADES[0], linewidth=5, solid_capstyle="butt")
        axes.plot(value, row, "o", color=INK)
        note(axes, f"{value:.0f}", high + 0.4, row, va="center")
    axes.axvline(float(by_chance[-1]), color=WARN, linestyle=LINES[1][1], linewidth=1)
    axes.set(yticks=range(len(rows)), yticklabels=[row[0] for row in rows])
    axes.set(xlabel="Failures found per 100 visits", ylim=(len(rows) - 0.5, -0.7))
    axes.set_xlim(left=0)
