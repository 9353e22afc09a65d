"""How a county's inspections and letters fall across neighborhoods, against need."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from riskmap.action.mailing import to_write_to
from riskmap.contract.arrays import Floats
from riskmap.contract.errors import RegionError
from riskmap.ranking.fairness import FEW_PICKS, Fairness, compare_with_need
from riskmap.region.csv_file import read_rows
from riskmap.region.sections import FairnessSettings
from riskmap.stages.county import County
from riskmap.stages.listing import in_list_order

POOL: Final = "smaller neighborhoods together"


@dataclass(frozen=True)
class CountyFairness:
    """Picks against need; ``standing`` names the number by neighborhood compared with them.

    ``inspections`` and ``letters`` are None where all systems or none are picked.
    """

    inspections: Fairness | None
    letters: Fairness | None
    standing: str

    @property
    def words(self) -> tuple[str, ...]:
        """Plain sentences."""
        return tuple(
            word for part in (self.inspections, self.letters) if part for word in part.words
        )


def read_county_standing(county: County) -> pd.Series | None:
    """Do :func:`read_standing` as a stage, so that a fault in the file comes to light early."""
    return read_standing(county.region.standing_file, county.region.fairness)


def judge_fairness(
    county: County, parcels: pd.DataFrame, standing: pd.Series | None
) -> CountyFairness | None:
    """Compare where inspections and letters fall with where failures are to be expected.

    Need is the chance of failing within the horizon. Inspections are the rows of the list, letters
    those that the run writes.

    Parameters
    ----------
    parcels
        The ranked table, index ``parcel_id``.
    standing
        A number by neighborhood to hold the ratios against.
    """
    region = county.region
    parcels = in_list_order(parcels, region.lists.order)
    systems = parcels[parcels["rank"].notna()]
    if systems.empty or systems["neighborhood"].isna().all():
        return None
    visited = systems["rank"].le(region.lists.length(len(systems))).to_numpy(bool)
    written = systems.index.isin(to_write_to(parcels).head(region.lists.letters).index)
    need = systems["chance_failing_frac"].fillna(0.0).to_numpy(float)
    found = [
        compare_with_need(
            pooled(systems["neighborhood"], need, int(picked.sum())),
            need,
            picked,
            standing=standing,
            what=what,
        )
        if 0 < picked.sum() < len(picked)
        else None
        for what, picked in (("inspections", visited), ("letters", np.asarray(written)))
    ]
    if found == [None, None]:
        return None
    return CountyFairness(found[0], found[1], "" if standing is None else str(standing.name))


def pooled(neighborhood: pd.Series, need: Floats, picks: int) -> pd.Series:
    """Put neighborhoods together that are too small for a verdict each.

    Those that would get fewer than five picks by their need become :data:`POOL`, so that what
    happens to them all together is still seen.

    Parameters
    ----------
    neighborhood
        Neighborhood of each system (n,); missing: "unknown".
    need
        Need of each system (n,), 0 or more.
    picks
        Number of systems picked.
    """
    names = neighborhood.astype("string").fillna("unknown")
    share = pd.Series(need, index=names.index).groupby(names).sum() / max(need.sum(), 1e-300)
    small = share.index[share * picks < FEW_PICKS]
    return names.where(~names.isin(small), POOL) if len(small) > 1 else names


def read_standing(path: Path | None, settings: FairnessSettings) -> pd.Series | None:
    """Read the county's number by neighborhood; None where it gives none.

    Raises
    ------
    RegionError
        Naming the file, and the column or line at fault.
    """
    if path is None:
        return None
    rows = read_rows(path, "the number by neighborhood", RegionError)
    columns = list(rows[0][1]) if rows else []
    number = settings.column or next((c for c in columns if c != settings.neighborhood), "")
    for name in (settings.neighborhood, number):
        if name not in columns:
            raise RegionError(f"{path}: [fairness] needs a column {name!r}; it has {columns}.")
    values: dict[str, float] = {}
    for line, row in rows:
        name, text = row[settings.neighborhood], row[number]
        if name in values:
            raise RegionError(f"{path}, line {line}: {name!r} is there twice.")
        try:
            values[name] = float(text) if text else np.nan
        except ValueError as error:
            raise RegionError(f"{path}, line {line}: {number} = {text!r} is no number.") from error
        if np.isinf(values[name]):
            raise RegionError(f"{path}, line {line}: {number} = {text!r} is no number.")
    return pd.Series(values, name=number, dtype=float)
