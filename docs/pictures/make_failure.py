"""Pictures of how systems fail: flow and pumping, clogging, aging."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure as Drawing

from docs.pictures.board import (
    INK,
    LINES,
    PALE_TO_DARK,
    SOFT,
    WARN,
    WATER,
    note,
    picture,
    plain_ticks,
)
from riskmap.contract import kinds
from riskmap.contract.units import GALLON_L
from riskmap.failure.aging import DEFAULT_AGING, survival_frac
from riskmap.failure.assess import assess_failure
from riskmap.failure.mat import STRESS_RESERVE
from riskmap.failure.pumping import pump_interval_yr
from riskmap.failure.rules_data import (
    KSAT_ANCHOR_CLASSES,
    KSAT_ANCHORS_UM_S,
    PUMP_TABLE_GAL,
    PUMP_TABLE_YR,
    TEXAS,
)
from riskmap.failure.service_life import fit_weibull
from riskmap.failure.sizing import rate_of_class, rate_of_ksat


@picture(
    "flow",
    "Left: years between pump-outs fall with persons and rise with the tank's volume; dots are "
    "the cells of the published table. Right: the rate a soil accepts in the long run rises with "
    "its conductivity, through the classes of the rule.",
)
def flow(drawing: Drawing) -> None:
    """Pump-out intervals and acceptance rates."""
    left, right = drawing.subplots(1, 2)
    people = np.linspace(1, 8, 71)
    for (color, dash), gallons in zip(LINES, (1500, 1250, 1000, 750), strict=True):
        years = pump_interval_yr(np.full(71, gallons * GALLON_L), people)
        left.plot(people, years, color=color, linestyle=dash, label=f"{gallons:,} gal")
        printed = PUMP_TABLE_YR[PUMP_TABLE_GAL.index(gallons)][:8]
        left.plot(range(1, 9), printed, ".", color=color, markersize=5)
    left.set(title="Years between pump-outs", xlabel="Persons", ylim=(0, None))
    left.legend(title="Tank")
    ksat = np.geomspace(0.05, 300, 121)
    right.loglog(ksat, rate_of_ksat(ksat), color=INK)
    rates = rate_of_class(list(KSAT_ANCHOR_CLASSES), rule=TEXAS)
    right.plot(KSAT_ANCHORS_UM_S, rates, "o", color=WARN, markersize=4)
    for name, at, rate in zip(KSAT_ANCHOR_CLASSES, KSAT_ANCHORS_UM_S, rates, strict=True):
        right.annotate(name, (at, rate), (4, -9), textcoords="offset points", fontsize=7.5)
    right.set(title="Acceptance rate (L/day per m²)", xlabel="Saturated conductivity (µm/s)")
    right.set_yticks([3, 5, 10, 20])
    plain_ticks(right, y=True)
    for axes in (left, right):
        axes.grid(alpha=0.6)


KINDS = {"trench": "Trench", "mound": "Mound", "seepage_pit": "Seepage pit"}


def _pond_frac(kind: str, ages: np.ndarray, *, kept: bool) -> np.ndarray:
    """Depth of the pond over the depth to the inlet, year by year."""
    systems = pd.DataFrame(
        {
            "kind": kind,
            "age_yr": ages,
            "metered_flow_l_d": 700.0,
            "field_area_m2": {"trench": 120.0, "mound": 20.0, "seepage_pit": 130.0}[kind],
            "ksat_um_s": 6.0,
            "occupants": 3.0,
            "tank_volume_l": 3785.0,
            "years_since_pumped_yr": np.minimum(ages, 2.0) if kept else ages,
        }
    )
    return 1.0 - assess_failure(systems)["reserve_frac"].to_numpy(float)


@picture(
    "clogging",
    "Three panels, trench, mound and seepage pit: share of the depth to the inlet that is under "
    "water against the field's age. With a tank that is never pumped the pond climbs past the "
    "mark of stressed to the inlet; with a tank that is kept it comes to rest below the inlet.",
)
def clogging(drawing: Drawing) -> None:
    """Ponding against age for three kinds of field, tank kept and never pumped."""
    ages = np.linspace(0.05, 40, 120)
    for axes, (kind, label) in zip(drawing.subplots(1, 3, sharey=True), KINDS.items(), strict=True):
        for kept, (color, dash) in zip((False, True), LINES, strict=False):
            pond = np.clip(_pond_frac(kind, ages, kept=kept), 0, 1)
            if not kept:
                axes.fill_between(ages, 100 * pond, color=WATER, alpha=0.55, linewidth=0)
            words = "tank pumped on time" if kept else "tank never pumped"
            axes.plot(ages, 100 * pond, color=color, linestyle=dash, label=words)
        axes.axhline(100, color=INK, linewidth=1.4)
        axes.axhline(100 * (1 - STRESS_RESERVE), color=SOFT, linewidth=0.8, linestyle=":")
        inlet = kinds.KINDS[kind].field.inlet_m
        axes.set(
            title=f"{label}, inlet {100 * inlet:.0f} cm up",
            xlim=(0, 40),
            ylim=(0, 112),
            xlabel="Age (years)",
        )
        note(axes, "inlet: failed above", 39, 102.5, ha="right", fontsize=7)
        note(axes, "stressed", 1, 77, fontsize=7, color=SOFT)
    drawing.axes[0].set_ylabel("Under water, % of depth to inlet")
    drawing.axes[0].legend(loc="lower right", fontsize=7)


def _county(records_from: float) -> tuple[np.ndarray, ...]:
    """Systems of known service life: those replaced before records began are missing."""
    rng = np.random.default_rng(12)
    truth = DEFAULT_AGING["trench"]
    built = rng.uniform(1945, 2020, 6000)
    life = truth.scale_yr * rng.weibull(truth.shape, 6000)
    seen = built + life > records_from
    built, life = built[seen], life[seen]
    age = np.minimum(life, 2025 - built)
    return age, built + life <= 2025, np.maximum(records_from - built, 0.0)


@picture(
    "aging",
    "Left: share of systems still serving by age for four kinds, trench through the two "
    "published anchors at ten and twenty years. Right: a simulated county whose records begin in "
    "1995; the fit that allows for it lies on the truth, the plain one far above.",
)
def aging(drawing: Drawing) -> None:
    """Service life by kind, and why delayed entry matters."""
    left, right = drawing.subplots(1, 2, sharey=True)
    ages = np.linspace(0, 60, 121)
    for (color, dash), kind in zip(
        LINES, ("mound", "trench", "seepage_pit", "cesspool"), strict=True
    ):
        model = DEFAULT_AGING[kind]
        share = survival_frac(ages, shape=model.shape, scale_yr=model.scale_yr)
        left.plot(ages, 100 * share, color=color, linestyle=dash, label=kind.replace("_", " "))
    left.plot([10, 20], [95, 80], "o", color=INK, markersize=4.5, label="Maine permits (2001)")
    left.set(title="Still serving (%), defaults", xlabel="Age (years)", ylim=(0, 103))
    left.legend(fontsize=7.5)
    age, failed, entry = _county(1995.0)
    fits = {
        "truth": DEFAULT_AGING["trench"],
        "fit with delayed entry": fit_weibull(age, failed, entry_age_yr=entry),
        "fit without it": fit_weibull(age, failed),
    }
    colors = (PALE_TO_DARK[2], INK, WARN)
    for color, width, (_, dash), (name, model) in zip(
        colors, (5, 1.4, 1.6), LINES, fits.items(), strict=False
    ):
        share = survival_frac(ages, shape=model.shape, scale_yr=model.scale_yr)
        right.plot(ages, 100 * share, color=color, linewidth=width, linestyle=dash, label=name)
    right.set(title="Records that begin in 1995", xlabel="Age (years)")
    right.legend(fontsize=7.5)
    for axes in (left, right):
        axes.grid(alpha=0.6)
