"""Nitrogen of a scenario in one draw: at wells, and at each lake, new houses included.

Plumes add up, so that those of new houses are followed alone and added to the county's. Which water
a plume comes to is the assessment's; when it comes, and what is left of it then, is the draw's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import pandas as pd

from riskmap.contract.arrays import Floats, Whole
from riskmap.groundwater.assess import assess_groundwater
from riskmap.groundwater.nitrogen import LIMIT_MG_L
from riskmap.groundwater.plume import left_after
from riskmap.groundwater.rerun import Rerun, added_at_wells, nitrogen_of, prepare_rerun
from riskmap.groundwater.rerun_sums import scenario_of
from riskmap.groundwater.settings import GroundwaterSettings
from riskmap.groundwater.well_risk import chance_above, gsd_of_range
from riskmap.stages.groundwater import Groundwater, fed_yr
from riskmap.stages.result import Result
from riskmap.stages.scenarios import Drawn
from riskmap.whatif.changes import Changes, places_of

STREAMS: Final = "streams"
LONG_AGO: Final = np.nan
"""Age of a system whose plume arrived long ago."""


class Reached(NamedTuple):
    """Of one draw: sums by measure; nitrogen arriving at each water, and systems it comes from."""

    sums: dict[str, float]
    arriving: Floats
    reaching: Floats


@dataclass(frozen=True)
class Plumes:
    """Systems made ready to be followed again, and the water that each comes to.

    ``water`` counts among the names of the waters, -1 for none; ``distance_m`` to it.
    """

    prepared: Rerun
    water: Whole
    distance_m: Floats

    def arriving(self, settings: GroundwaterSettings, load: Floats) -> Floats:
        """Nitrogen (n,) that arrives at surface water in a draw, kg a year."""
        draw = scenario_of(settings, self.prepared.settings)
        time = self.prepared.pairs.water_time_d * draw.time_scale
        wet = (self.water >= 0) & (time <= draw.max_time_d * (1 + 1e-9))
        left = left_after(
            self.distance_m, time, decay_1_d=draw.decay_1_d, dispersivity_m=draw.along_m
        )
        return np.where(wet, load * left, 0.0)


@dataclass(frozen=True)
class Water:
    """Nitrogen and wells of all systems that groundwater follows, ranked or not.

    ``place``: where among these the ranked systems stand; ``all_parcels``: where among the parcels
    these stand. ``names`` of the waters, streams first; ``code`` of each water number, by name.
    """

    found: Groundwater
    plumes: Plumes
    persons: Floats
    age_yr: Floats
    house_yr: Floats
    place: np.ndarray
    all_parcels: np.ndarray
    names: list[str]
    code: Whole
    predicted_mg_l: Floats
    assessed_mg_l: Floats
    gsd: Floats

    @classmethod
    def of(cls, result: Result, own: np.ndarray) -> Water | None:
        """Gather what the county's groundwater says; None where it was not followed."""
        found = result.groundwater
        if found is None or found.rerun is None:
            return None
        systems, wells = found.systems, found.wells
        everyone = result.parcels.index
        names, code = _waters(result)
        return cls(
            found=found,
            plumes=_plumes(found.rerun, systems, code),
            persons=systems["persons"].to_numpy(float),
            age_yr=systems["age_yr"].to_numpy(float),
            house_yr=systems["house_yr"].to_numpy(float),
            place=systems.index.get_indexer(everyone[own]),
            all_parcels=everyone.get_indexer(systems.index),
            names=names,
            code=code,
            predicted_mg_l=wells["nitrate_predicted_mg_l"].to_numpy(float),
            assessed_mg_l=wells["nitrate_added_mg_l"].to_numpy(float),
            gsd=gsd_of_range(wells["nitrate_low_mg_l"], wells["nitrate_high_mg_l"]),
        )

    def plumes_of(self, change: Changes, result: Result) -> Plumes | None:
        """Follow the plumes of a scenario's new houses; None where it has none."""
        if not change.lots:
            return None
        found, region = self.found, result.region
        systems = new_systems(change, result)
        others = (region.groundwater, region.wells)
        wells = found.wells[[name for name in found.wells if not name.endswith("_found")]]
        alone = assess_groundwater(
            systems, wells, found.surface.head, *others, water_id=found.water_id
        )
        prepared = prepare_rerun(
            alone, systems, wells, *others,
            daily_flow_l_d=np.full(len(systems), np.nan), water_id=found.water_id,
        )  # fmt: skip
        return _plumes(prepared, alone.systems, self.code)

    def measure(
        self,
        settings: GroundwaterSettings,
        records: Drawn,
        change: Changes,
        houses: Plumes | None,
    ) -> Reached:
        """Sum nitrogen, and the wells expected above the limit, in one draw.

        Parameters
        ----------
        settings, records
            Of the draw.
        change
            The scenario.
        houses
            Plumes of its new houses, from :meth:`plumes_of`.
        """
        persons, age = self.persons.copy(), self.age_yr.copy()
        persons[self.place], age[self.place] = records["persons"], records["age_yr"]
        parts = [(self.plumes, self.all_parcels, persons, fed_yr(age, self.house_yr))]
        if houses is not None:
            people = np.asarray(change.persons, float)
            parts.append((houses, np.asarray(change.lots), people, np.full(len(people), LONG_AGO)))
        nitrogen, added = 0.0, np.zeros(len(self.predicted_mg_l))
        arriving, reaching = np.zeros(len(self.names)), np.zeros(len(self.names))
        for plumes, rows, living, years in parts:
            load = _left(nitrogen_of(plumes.prepared, settings, living), plumes, change, rows)
            nitrogen += float(np.nansum(load))
            added += added_at_wells(plumes.prepared, settings, nitrogen_kg_yr=load, age_yr=years)
            here = np.nan_to_num(plumes.arriving(settings, load))
            arriving += _by_water(plumes.water, here, len(self.names))
            reaching += _by_water(plumes.water, here > 0, len(self.names))
        nitrate = np.maximum(self.predicted_mg_l + added - self.assessed_mg_l, 0.0)
        above = chance_above(nitrate, LIMIT_MG_L, gsd=self.gsd)
        sums = {
            "nitrogen_kg_yr": nitrogen,
            "surface_nitrogen_kg_yr": float(arriving.sum()),
            "wells_above": float(np.nansum(above)),
        }
        return Reached(sums, arriving, reaching)


def _left(load: Floats, plumes: Plumes, change: Changes, rows: np.ndarray) -> Floats:
    """Nitrogen (n,) that treatment and sewers leave of the load of the systems at some parcels."""
    left, target = 1.0 - plumes.prepared.removed_frac, 1.0 - change.removed_frac[rows]
    with np.errstate(divide="ignore", invalid="ignore"):
        load = load * np.where(left > target, target / left, 1.0)
    return np.where(change.connected[rows], 0.0, load)


def _by_water(water: Whole, values: np.ndarray, count: int) -> Floats:
    wet = water >= 0
    sums = np.bincount(water[wet], weights=values[wet].astype(float), minlength=count)
    return np.asarray(sums, float)


def _plumes(prepared: Rerun, systems: pd.DataFrame, code: Whole) -> Plumes:
    return Plumes(
        prepared,
        code[systems["water_id"].to_numpy(np.int64)],
        systems["water_distance_m"].to_numpy(float),
    )


def _waters(result: Result) -> tuple[list[str], Whole]:
    """Names of the waters, and which of them each number of a water on the grid means.

    Number 0 is land, 1 streams, then come the waterbodies in their order; parts of one name are one
    water.
    """
    bodies = result.county.tables.get("waterbodies")
    told: list[object] = []
    if bodies is not None:
        told = bodies["name"].tolist() if "name" in bodies else [None] * len(bodies)
    names, code = [STREAMS], [-1, 0]
    for number, name in enumerate(told, start=1):
        words = str(name).strip() if isinstance(name, str) else ""
        words = words or f"water without a name, number {number}"
        if words not in names:
            names.append(words)
        code.append(names.index(words))
    return names, np.asarray(code, np.int64)


def new_systems(change: Changes, result: Result) -> pd.DataFrame:
    """Describe the systems of a scenario's new houses: usual ones, without treatment."""
    x, y = (axis[change.lots] for axis in places_of(result.parcels))
    return pd.DataFrame(
        {
            "x_m": x,
            "y_m": y,
            "persons": change.persons,
            "kind": "unknown",
            "treatment_removal_frac": 0.0,
            "age_yr": LONG_AGO,
        },
        index=result.parcels.index[change.lots],
    )
