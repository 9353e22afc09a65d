"""Re-runs against the whole assessment under the same numbers and records."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import norm

from riskmap.contract.grid import Grid, grid_from_bounds
from riskmap.contract.parameters import draw_parameters
from riskmap.groundwater.assess import AssessmentSettings, assess_groundwater
from riskmap.groundwater.nitrogen import neighborhood_nitrate_mg_l
from riskmap.groundwater.parameter_ranges import GROUNDWATER_PARAMETERS, GroundwaterParameters
from riskmap.groundwater.rerun import RERUN_COLUMNS, Rerun, prepare_rerun, rerun

Floats = NDArray[np.float64]
NAN = float("nan")
RADIUS_M = 400.0
RECHARGE_M_YR = 0.2
RECORDS = ("persons", "age_yr", "chance_failing_frac", "vulnerability_frac")


@dataclass(frozen=True)
class Place:
    systems: pd.DataFrame
    wells: pd.DataFrame
    head: Grid
    water: NDArray[np.int64]
    flow_l_d: Floats

    def assess(self, systems: pd.DataFrame, parameters: GroundwaterParameters) -> dict[str, Floats]:
        """Columns of a whole assessment anew."""
        chosen = parameters.settings(AssessmentSettings())
        given = systems.assign(
            persons=systems["persons"].fillna(2.5) * parameters.per_person_factor
        )
        each = assess_groundwater(given, self.wells, self.head, chosen, water_id=self.water).systems
        balance = neighborhood_nitrate_mg_l(
            systems["x_m"], systems["y_m"], load_kg_yr=each["nitrogen_load_kg_yr"],
            flow_l_d=self.flow_l_d, target_x_m=systems["x_m"], target_y_m=systems["y_m"],
            radius_m=RADIUS_M, recharge_m_yr=RECHARGE_M_YR * parameters.recharge_factor,
            background_mg_l=chosen.background_mg_l,
        )  # fmt: skip
        names = (
            "nitrogen_load_kg_yr", "groundwater_score_frac", "wells_soon", "largest_added_mg_l",
        )  # fmt: skip
        columns = [each[name].to_numpy(float) for name in names]
        return dict(zip(RERUN_COLUMNS, [*columns, balance], strict=True))

    def prepare(self) -> Rerun:
        chosen = AssessmentSettings(chunk=700)
        found = assess_groundwater(self.systems, self.wells, self.head, chosen, water_id=self.water)
        return prepare_rerun(
            found, self.systems, self.wells, chosen, daily_flow_l_d=self.flow_l_d,
            recharge_m_yr=RECHARGE_M_YR, balance_radius_m=RADIUS_M, water_id=self.water,
        )  # fmt: skip


def again(
    prepared: Rerun, systems: pd.DataFrame, parameters: GroundwaterParameters | None = None
) -> dict[str, Floats]:
    return rerun(
        prepared, parameters=parameters or GroundwaterParameters(),
        **{name: systems[name] for name in RECORDS},
    )  # fmt: skip


@pytest.fixture(scope="module")
def place() -> Place:
    """Bending flow over 5 km, a stream, kinds and ages of all sorts, a few unknown records."""
    rng = np.random.default_rng(7)
    n, m, side = 2000, 400, 5000.0
    flat = grid_from_bounds(west_m=0, north_m=side, cell_m=40, values=np.zeros((125, 125)))
    x, y = flat.centers()
    mounds = np.sin(x / 700 + 1) * np.sin(y / 900) + np.sin(x / 1900) * np.sin(y / 1500 + 2)
    systems = pd.DataFrame(
        {
            "x_m": rng.uniform(0, side, n), "y_m": rng.uniform(0, side, n),
            "persons": np.where(rng.random(n) < 0.1, NAN, rng.integers(0, 7, n)),
            "kind": rng.choice(["trench", "mound", "aerobic_unit", "holding_tank"], n),
            "age_yr": np.where(rng.random(n) < 0.2, NAN, rng.uniform(0, 60, n)),
            "chance_failing_frac": np.where(rng.random(n) < 0.1, NAN, rng.uniform(0, 0.5, n)),
            "vulnerability_frac": np.where(rng.random(n) < 0.1, NAN, rng.uniform(0.1, 0.9, n)),
        },
        index=[f"S{k}" for k in range(n)],
    )  # fmt: skip
    systems.iloc[3, :2] = NAN
    depth = rng.uniform(8, 60, m)
    wells = pd.DataFrame(
        {
            "x_m": rng.uniform(0, side, m), "y_m": rng.uniform(0, side, m), "depth_m": depth,
            "casing_m": np.where(rng.random(m) < 0.3, NAN, 0.6 * depth), "static_level_m": 4.0,
            "flow_l_d": np.where(rng.random(m) < 0.02, 200_000.0, NAN),
        }
    )  # fmt: skip
    water = np.zeros((125, 125), np.int64)
    water[:, 100] = 1
    head = flat.with_values(200 - 0.004 * x - 0.002 * y + 1.5 * mounds)
    return Place(systems, wells, head, water, rng.uniform(200, 1500, n))


@pytest.fixture(scope="module")
def prepared(place: Place) -> Rerun:
    return place.prepare()


class TestAgainstTheWholeAssessment:
    def test_own_numbers_and_records_give_the_assessment(
        self, place: Place, prepared: Rerun
    ) -> None:
        found = again(prepared, place.systems)
        whole = place.assess(place.systems, GroundwaterParameters())
        assert list(found) == list(RERUN_COLUMNS)
        for name in RERUN_COLUMNS:
            np.testing.assert_allclose(found[name], whole[name], rtol=1e-9, err_msg=name)
        assert np.isnan(found["reaching"][3])
        assert (found["wells_soon"] > 0).sum() > 200

    @pytest.mark.parametrize(
        "changed",
        [
            {"conductivity_factor": 3.0},
            {"conductivity_factor": 1 / 3},
            {"porosity_factor": 1.4},
            {"denitrified_shift_frac": 0.2, "background_factor": 2.0, "per_person_factor": 1.25},
            {"dispersivity_factor": 3.0, "transverse_factor": 0.5},
            {"dispersivity_factor": 0.4, "transverse_factor": 1.5},
            {"thickness_factor": 0.5, "recharge_factor": 1.7},
            {"decay_added_1_d": 2e-4},
            {
                "conductivity_factor": 2.0, "porosity_factor": 0.7, "dispersivity_factor": 2.0,
                "thickness_factor": 1.6, "recharge_factor": 0.7, "decay_added_1_d": 1e-4,
                "denitrified_shift_frac": 0.1,
            },
        ],
        ids=lambda changed: "-".join(changed),
    )  # fmt: skip
    def test_other_numbers_and_records(
        self, place: Place, prepared: Rerun, changed: dict[str, float]
    ) -> None:
        rng = np.random.default_rng(8)
        n = len(place.systems)
        other = place.systems.assign(
            persons=place.systems["persons"] * np.exp(0.3 * rng.normal(size=n)),
            age_yr=np.maximum(place.systems["age_yr"] + rng.normal(0, 5, n), 0),
            chance_failing_frac=rng.uniform(0, 1, n),
            vulnerability_frac=rng.uniform(0, 1, n),
        )
        parameters = GroundwaterParameters(**changed)
        found, whole = again(prepared, other, parameters), place.assess(other, parameters)
        for name in ("nitrogen_kg_yr", "lot_nitrate_mg_l"):
            np.testing.assert_allclose(found[name], whole[name], rtol=1e-9, err_msg=name)
        for name in ("reaching", "wells_soon", "nitrate_given_mg_l"):
            np.testing.assert_array_equal(np.isnan(found[name]), np.isnan(whole[name]))
            known = np.isfinite(whole[name])
            apart = np.abs(found[name] - whole[name])[known]
            apart = apart / np.maximum(np.abs(whole[name][known]), 1e-9)
            # where paths do not bend back on themselves (see docs/methods/plume.md)
            assert (apart > 1e-6).mean() < 0.02, name
            assert (apart > 0.01).mean() < 0.003, name

    def test_drawn_scenarios_together(self, place: Place, prepared: Rerun) -> None:
        """What doubt needs: the spread over scenarios is that of whole assessments."""
        rng = np.random.default_rng(9)
        normals = norm.ppf(rng.uniform(0.05, 0.95, (len(GROUNDWATER_PARAMETERS), 6)))
        sets = draw_parameters(GROUNDWATER_PARAMETERS, normals)
        drawn = [GroundwaterParameters.of(one) for one in sets]
        found = [again(prepared, place.systems, p) for p in drawn]
        whole = [place.assess(place.systems, p) for p in drawn]
        for name in RERUN_COLUMNS:
            ours, theirs = (np.std([r[name] for r in runs], axis=0) for runs in (found, whole))
            known = np.isfinite(theirs) & (theirs > 0)
            assert known.sum() > 500
            apart = np.abs(ours[known] / theirs[known] - 1)
            assert np.quantile(apart, 0.98) < 0.02, name


class TestAnalyticLimits:
    def test_nitrogen_is_linear_in_persons(self, place: Place, prepared: Rerun) -> None:
        many = place.systems.assign(persons=place.systems["persons"].fillna(2.5) * 2)
        one, two = again(prepared, place.systems), again(prepared, many)
        np.testing.assert_allclose(two["nitrogen_kg_yr"], 2 * one["nitrogen_kg_yr"], rtol=1e-12)
        # 2.5 persons stand in for unknown ones; 4.2 kg a person, 15 % lost
        trench = (place.systems["kind"] == "trench") & place.systems["persons"].isna()
        np.testing.assert_allclose(one["nitrogen_kg_yr"][trench], 2.5 * 4.2 * 0.85)

    def test_balance_without_systems_is_the_background(self, place: Place, prepared: Rerun) -> None:
        nobody = place.systems.assign(persons=0.0)
        found = rerun(
            prepared, parameters=GroundwaterParameters(background_factor=2.0),
            daily_flow_l_d=np.zeros(len(nobody)), **{name: nobody[name] for name in RECORDS},
        )  # fmt: skip
        known = place.systems["x_m"].notna()
        np.testing.assert_allclose(found["lot_nitrate_mg_l"][known], 1.0)
        assert (found["nitrate_given_mg_l"] == 0).all()
        assert (found["wells_soon"] == 0).all()
        assert (found["nitrogen_kg_yr"] == 0).all()

    def test_a_system_of_today_has_reached_nobody(self, place: Place, prepared: Rerun) -> None:
        slow = GroundwaterParameters(conductivity_factor=0.2, dispersivity_factor=0.3)
        found = again(prepared, place.systems.assign(age_yr=0.0), slow)
        assert (found["nitrate_given_mg_l"] == 0).all()

    def test_twice_the_pores_are_half_the_speed(self, place: Place, prepared: Rerun) -> None:
        """Without age, decay or recharge, time enters through porosity over conductivity alone."""
        old = place.systems.assign(age_yr=NAN)
        one = again(prepared, old, GroundwaterParameters(porosity_factor=2.0))
        two = again(prepared, old, GroundwaterParameters(porosity_factor=1.0))
        assert (one["wells_soon"] <= two["wells_soon"]).all()
        assert one["wells_soon"].sum() < two["wells_soon"].sum()

    def test_nobody_there(self, place: Place) -> None:
        for empty in (
            Place(
                place.systems.iloc[:0], place.wells, place.head, place.water, place.flow_l_d[:0]
            ),
            Place(
                place.systems.iloc[:50], place.wells.iloc[:0], place.head, place.water,
                place.flow_l_d[:50],
            ),
        ):  # fmt: skip
            found = again(empty.prepare(), empty.systems)
            whole = empty.assess(empty.systems, GroundwaterParameters())
            for name in RERUN_COLUMNS:
                np.testing.assert_allclose(found[name], whole[name], rtol=1e-9)


class TestProperties:
    @given(st.floats(1.0, 4.0), st.floats(0.3, 3.0), st.floats(0.0, 2e-4))
    @settings(max_examples=25, deadline=None)
    def test_more_persons_never_lower_nitrate(
        self, place: Place, prepared: Rerun, more: float, speed: float, decay: float
    ) -> None:
        parameters = GroundwaterParameters(conductivity_factor=speed, decay_added_1_d=decay)
        few = place.systems.assign(persons=place.systems["persons"].fillna(2.5))
        one = again(prepared, few, parameters)
        two = again(prepared, few.assign(persons=few["persons"] * more), parameters)
        for name in ("nitrogen_kg_yr", "lot_nitrate_mg_l", "wells_soon"):
            assert (np.nan_to_num(two[name] - one[name]) >= -1e-9).all(), name
        # A larger source is wider and deeper at its start: the center gains less than its load
        held = 1e-6 + 0.002 * one["nitrate_given_mg_l"]
        assert (two["nitrate_given_mg_l"] - one["nitrate_given_mg_l"] >= -held).all()

    @given(st.floats(0.0, 0.4))
    @settings(max_examples=20, deadline=None)
    def test_more_lost_in_the_soil_never_raises_the_load(
        self, place: Place, prepared: Rerun, lost: float
    ) -> None:
        parameters = GroundwaterParameters(denitrified_shift_frac=lost)
        less, base = again(prepared, place.systems, parameters), again(prepared, place.systems)
        for name in ("nitrogen_kg_yr", "lot_nitrate_mg_l", "reaching"):
            assert (np.nan_to_num(less[name] - base[name]) <= 1e-9).all(), name

    def test_threads_and_repeats_give_the_same_bytes(self, place: Place, prepared: Rerun) -> None:
        drawn = [GroundwaterParameters(conductivity_factor=f) for f in np.geomspace(0.2, 5, 8)]
        with ThreadPoolExecutor(2) as pool:
            found = list(pool.map(lambda p: again(prepared, place.systems, p), drawn))
        for parameters, threaded in zip(drawn, found, strict=True):
            alone = again(prepared, place.systems, parameters)
            for name in RERUN_COLUMNS:
                assert alone[name].tobytes() == threaded[name].tobytes()

    def test_memory_stays_small(self, prepared: Rerun) -> None:
        pairs, near = len(prepared.pairs.well), len(prepared.near.other)
        assert prepared.nbytes < 90 * pairs + 4 * near + 200 * 2000 + 64 * 400
