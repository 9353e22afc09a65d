"""Who is visited each year, for what reason, and what the visitor saw.

Visits are part of a system's life: in some worlds what is found is repaired. The office keeps those
since some year (`permit_office`); those before left no paper.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from sample_region.dice import dice
from sample_region.plan import YEAR, Flags, Floats, Ints, Plan
from sample_region.worlds import World

SOUND, STRESSED, FAILED = 0, 1, 2
REASONS: Final = ("COMPLAINT", "SALE", "ROUTINE", "AUDIT")
DATED_YEARS: Final = 16
"""Visits of so many years can be on file; the years before draw from a stream of their own."""


class Visitors:
    """Sends visitors out year by year, in order.

    One stream decides first who is visited in all dated years, then what was seen, then what is
    written down (:func:`paper_dice`).
    """

    def __init__(self, plan: Plan, world: World, homes: pd.DataFrame) -> None:
        self._world = world
        self._shore = (homes.kind == "shore").to_numpy()
        self._close = np.where(homes.area_m2 < 2500, 1.8, 0.7)
        self._complains = _complaining(plan, world, homes)
        self._undated = dice(plan.seed, "undated visits")
        self._lottery = dice(plan.seed, "inspections")
        self._eyes = paper_dice(plan, systems=len(homes), seen=0)

    def of_year(self, year: int, stage: Ints, here: Flags) -> pd.DataFrame:
        """Draw the year's visits.

        Parameters
        ----------
        year
            Calendar year; call in order.
        stage
            State of each system (n,): sound, stressed or failed.
        here
            Whether the system is there (n,).

        Returns
        -------
        DataFrame
            ``row, year, reason, stage, seen``, by row.
        """
        dated = year > YEAR - DATED_YEARS
        lottery, eyes = (self._lottery, self._eyes) if dated else (self._undated, self._undated)
        parts = []
        for reason, chance in zip(REASONS, self._chances(year, stage), strict=True):
            row = np.flatnonzero(here & (lottery.random(len(stage)) < chance))
            parts.append(pd.DataFrame({"row": row, "reason": reason}))
        visits = pd.concat(parts).sort_values("row", kind="stable", ignore_index=True)
        visits["year"], visits["stage"] = year, stage[visits.row]
        sale = (visits.reason == "SALE").to_numpy()
        visits["seen"] = _seen(visits.stage.to_numpy(), sale, self._world, eyes)
        return visits

    def _chances(self, year: int, stage: Ints) -> tuple[Floats, ...]:
        count = len(stage)
        complaint = np.choose(stage, self._world.complaints_per_year) * self._close
        return (
            np.where(self._complains, complaint, 0.0),
            np.full(count, 0.022),
            np.where(self._shore & (year >= 2012), 0.12, 0.006),
            np.full(count, 0.012 if year >= 2019 else 0.0),
        )


def _complaining(plan: Plan, world: World, homes: pd.DataFrame) -> Flags:
    """Pick whole neighborhoods, so many that they are the world's share of all, never none."""
    names = np.unique(homes.neighborhood.to_numpy().astype(str))
    count = max(1, round(world.complaining_frac * len(names)))
    chosen = dice(plan.seed, "complaining").permutation(names)[:count]
    return np.asarray(homes.neighborhood.isin(chosen), dtype=bool)


def _seen(stage: Ints, sale: Flags, world: World, rng: np.random.Generator) -> Ints:
    """Let the visitor see: a dry summer or a pumped tank hides trouble, most of all at a sale."""
    draw = rng.random(len(stage))
    missed = draw < np.where(sale, world.missed_at_sale_frac, world.missed_frac)
    alarm = draw > 0.985
    seen = np.where(missed, np.maximum(stage - 1, SOUND), stage)
    return np.where(alarm, np.minimum(stage + 1, FAILED), seen)


def paper_dice(plan: Plan, *, systems: int, seen: int) -> np.random.Generator:
    """Return the visits' stream after the lottery and after what `seen` dated visits showed.

    Parameters
    ----------
    plan
        Gives the seed.
    systems
        Number of systems.
    seen
        Number of dated visits.
    """
    rng = dice(plan.seed, "inspections")
    rng.bit_generator.advance(DATED_YEARS * len(REASONS) * systems + seen)  # type: ignore[attr-defined]
    return rng
