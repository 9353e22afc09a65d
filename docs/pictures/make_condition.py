"""Picture of the condition model: the chance that one system has failed, year by year."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure as Drawing

from docs.pictures.board import INK, SOFT, WARN, note, picture
from riskmap.condition.chances import expit
from riskmap.condition.ledger import path
from riskmap.condition.lots import lots_of
from riskmap.condition.model import model_of, point_at
from riskmap.condition.records import records_on_file

YEAR = 2026
VISITS = [
    ("2012-05-01", "sale", "sound"),
    ("2019-05-01", "complaint", "stressed"),
    ("2023-05-01", "complaint", "failed"),
]


def _chances(*, known: bool) -> tuple[np.ndarray, np.ndarray]:
    """Years and chance failed of a system built in 1985, with its records or with none."""
    lots = pd.DataFrame(
        {
            "year_built": 1985.0, "first_year": 1985.0, "first_permit_year": 1985.0,
            "lot_m2": 2000.0, "neighborhood": "A", "pump_interval_yr": 4.0,
        },
        index=pd.Index(["A"], name="parcel_id"),
    )  # fmt: skip
    visits = pd.DataFrame(VISITS, columns=["date", "reason", "stage"]).assign(
        parcel_id="A", ponding_cm=np.nan, last_pumped=pd.NaT
    )
    visits["date"] = pd.to_datetime(visits["date"])
    records = records_on_file(lots, None, visits if known else None)
    limits = pd.DataFrame({"site": [0.5]}, index=lots.index)
    county = lots_of(lots, records, limits, year=YEAR, passed_frac=1.0)
    model = model_of(county, np.array([1.0]))
    steps = list(path(county, point_at(model, model.mean).terms, 0))
    year = np.array([step.year for step in steps], float)
    return year, expit(np.array([step.log_odds for step in steps]))


@picture(
    "state_model",
    "Chance that a system of 1985 has failed, year by year, before a county's records have taught "
    "anything. Without records it rises slowly with age; found sound in 2012 it drops and rises "
    "again; a complaint in 2019 that found it stressed lifts it, the complaint of 2023 that found "
    "it failed lifts it to nearly one.",
)
def state_model(drawing: Drawing) -> None:
    """Chance failed through the years, with and without records."""
    axes = drawing.subplots()
    year, chance = _chances(known=False)
    axes.plot(year, chance, color=SOFT, label="nothing on file")
    year, chance = _chances(known=True)
    axes.step(year, chance, where="post", color=INK, label="with its records")
    for (day, reason, stage), height in zip(VISITS, (0.25, 0.45, 0.85), strict=True):
        at = pd.Timestamp(day).year
        axes.axvline(at, color=WARN, linewidth=0.7, linestyle=":")
        note(axes, f"{reason},\nfound {stage}", at, height)
    axes.set(title="Chance that it has failed", xlabel="Year", ylim=(0, 1), xlim=(1985, YEAR))
    axes.legend(loc="upper left")
    axes.grid(alpha=0.6)
