"""Re-runs against the whole assessment under the same numbers and records."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import norm

from riskmap.contract.grid import Grid, grid_from_bounds
from riskmap.contract.settings import beliefs_of, draw_beliefs, drawn
from riskmap.groundwater.assess import assess_groundwater
from riskmap.groundwater.nitrogen import neighborhood_nitrate_mg_l
from riskmap.groundwater.rerun import RERUN_COLUMNS, Rerun, prepare_rerun, rerun
from riskmap.groundwater.settings import GroundwaterSettings, WellSettings

Floats = NDArray[np.float64]
NAN = float("nan")
USUAL, BUILD = GroundwaterSettings(), WellSettings()
RECORDS = ("persons", "age_yr", "chance_failing_frac", "vulnerability_frac")


@dataclass(frozen=True)
class Place:
    systems: pd.DataFrame
    wells: pd.DataFrame
    head: Grid
    water: NDArray[np.int64]
    flow_l_d: Floats

    def assess(self, systems: pd.DataFrame, chosen: GroundwaterSettings) -> dict[str, Floats]:
        """Columns of a whole assessment anew."""
        each = assess_groundwater(
            systems, self.wells, self.head, chosen, BUILD, water_id=self.water
        ).systems
        balance = neighborhood_nitrate_mg_l(
            systems["x_m"], systems["y_m"], load_kg_yr=each["nitrogen_load_kg_yr"],
            flow_l_d=self.flow_l_d, target_x_m=systems["x_m"], target_y_m=systems["y_m"],
            settings=chosen,
        )  # fmt: skip
        names = (
            "nitrogen_load_kg_yr", "groundwater_score_frac", "wells_soon", "largest_added_mg_l",
        )  # fmt: skip
        columns = [each[name].to_numpy(float) for name in names]
        return dict(zip(RERUN_COLUMNS, [*columns, balance], strict=True))

    def prepare(self) -> Rerun:
        given = (self.systems, self.wells)
        found = assess_groundwater(*given, self.head, USUAL, BUILD, water_id=self.water)
        return prepare_rerun(
            found, *given, USUAL, BUILD, daily_flow_l_d=self.flow_l_d, water_id=self.water
        )


def again(
    prepared: Rerun, systems: pd.DataFrame, settings_: GroundwaterSettings = USUAL
) -> dict[str, Floats]:
    return rerun(prepared, settings_, **{name: systems[name] for name in RECORDS})


def times(**factors: float) -> GroundwaterSettings:
    """Settings multiplied by factors; ``dispersivity`` and ``sideways`` as their beliefs do."""
    spread, sideways = factors.pop("dispersivity", 1.0), factors.pop("sideways", 1.0)
    factors |= {
        "dispersivity_along_m": spread, "dispersivity_across_m": spread * sideways,
        "dispersivity_down_m": spread * sideways,
    }  # fmt: skip
    return replace(USUAL, **{name: getattr(USUAL, name) * f for name, f in factors.items()})


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
            "persons": np.where(rng.random(n) < 0.1, 2.5, rng.integers(0, 7, n)),
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
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("riskmap.groundwater.rerun.CHUNK", 700)
        return place.prepare()


class TestAgainstTheWholeAssessment:
    def test_own_numbers_and_records_give_the_assessment(
        self, place: Place, prepared: Rerun
    ) -> None:
        found = again(prepared, place.systems)
        whole = place.assess(place.systems, USUAL)
        assert list(found) == list(RERUN_COLUMNS)
        for name in RERUN_COLUMNS:
            np.testing.assert_allclose(found[name], whole[name], rtol=1e-9, err_msg=name)
        assert np.isnan(found["reaching"][3])
        assert (found["wells_soon"] > 0).sum() > 200

    @pytest.mark.parametrize(
        "changed",
        [
            times(conductivity_m_d=3.0),
            times(conductivity_m_d=1 / 3),
            times(porosity_frac=1.4),
            replace(times(background_mg_l=2.0, per_person_kg_yr=1.25), denitrified_frac=0.35),
            times(dispersivity=3.0, sideways=0.5),
            times(dispersivity=0.4, sideways=1.5),
            times(thickness_m=0.5, recharge_m_yr=1.7),
            replace(USUAL, decay_1_d=2e-4),
            replace(
                times(conductivity_m_d=2.0, porosity_frac=0.7, dispersivity=2.0, thickness_m=1.6,
                      recharge_m_yr=0.7),
                decay_1_d=1e-4, denitrified_frac=0.25,
            ),
        ],
        ids=["faster", "slower", "pores", "nitrogen", "wide", "narrow", "thin", "decay", "all"],
    )  # fmt: skip
    def test_other_numbers_and_records(
        self, place: Place, prepared: Rerun, changed: GroundwaterSettings
    ) -> None:
        rng = np.random.default_rng(8)
        n = len(place.systems)
        other = place.systems.assign(
            persons=place.systems["persons"] * np.exp(0.3 * rng.normal(size=n)),
            age_yr=np.maximum(place.systems["age_yr"] + rng.normal(0, 5, n), 0),
            chance_failing_frac=rng.uniform(0, 1, n),
            vulnerability_frac=rng.uniform(0, 1, n),
        )
        found, whole = again(prepared, other, changed), place.assess(other, changed)
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
        beliefs = beliefs_of(USUAL)
        normals = norm.ppf(rng.uniform(0.05, 0.95, (len(beliefs), 6)))
        scenarios = [drawn(USUAL, values) for values in draw_beliefs(beliefs, normals)]
        found = [again(prepared, place.systems, p) for p in scenarios]
        whole = [place.assess(place.systems, p) for p in scenarios]
        for name in RERUN_COLUMNS:
            ours, theirs = (np.std([r[name] for r in runs], axis=0) for runs in (found, whole))
            known = np.isfinite(theirs) & (theirs > 0)
            assert known.sum() > 500
            apart = np.abs(ours[known] / theirs[known] - 1)
            assert np.quantile(apart, 0.98) < 0.02, name


class TestAnalyticLimits:
    def test_nitrogen_is_linear_in_persons(self, place: Place, prepared: Rerun) -> None:
        many = place.systems.assign(persons=place.systems["persons"] * 2)
        one, two = again(prepared, place.systems), again(prepared, many)
        np.testing.assert_allclose(two["nitrogen_kg_yr"], 2 * one["nitrogen_kg_yr"], rtol=1e-12)
        # 4.2 kg a person, 15 % lost
        trench = (place.systems["kind"] == "trench") & (place.systems["persons"] == 2.5)
        np.testing.assert_allclose(one["nitrogen_kg_yr"][trench], 2.5 * 4.2 * 0.85)

    def test_balance_without_systems_is_the_background(self, place: Place, prepared: Rerun) -> None:
        nobody = place.systems.assign(persons=0.0)
        found = rerun(
            prepared, replace(USUAL, background_mg_l=1.0),
            daily_flow_l_d=np.zeros(len(nobody)), **{name: nobody[name] for name in RECORDS},
        )  # fmt: skip
        known = place.systems["x_m"].notna()
        np.testing.assert_allclose(found["lot_nitrate_mg_l"][known], 1.0)
        assert (found["nitrate_given_mg_l"] == 0).all()
        assert (found["wells_soon"] == 0).all()
        assert (found["nitrogen_kg_yr"] == 0).all()

    def test_a_system_of_today_has_reached_nobody(self, place: Place, prepared: Rerun) -> None:
        slow = times(conductivity_m_d=0.2, dispersivity=0.3)
        found = again(prepared, place.systems.assign(age_yr=0.0), slow)
        assert (found["nitrate_given_mg_l"] == 0).all()

    def test_twice_the_pores_are_half_the_speed(self, place: Place, prepared: Rerun) -> None:
        """Without age, decay or recharge, time enters through porosity over conductivity alone."""
        old = place.systems.assign(age_yr=NAN)
        one = again(prepared, old, times(porosity_frac=2.0))
        two = again(prepared, old, USUAL)
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
            whole = empty.assess(empty.systems, USUAL)
            for name in RERUN_COLUMNS:
                np.testing.assert_allclose(found[name], whole[name], rtol=1e-9)


class TestProperties:
    @given(st.floats(1.0, 4.0), st.floats(0.3, 3.0), st.floats(0.0, 2e-4))
    @settings(max_examples=25, deadline=None)
    def test_more_persons_never_lower_nitrate(
        self, place: Place, prepared: Rerun, more: float, speed: float, decay: float
    ) -> None:
        chosen, few = replace(times(conductivity_m_d=speed), decay_1_d=decay), place.systems
        one = again(prepared, few, chosen)
        two = again(prepared, few.assign(persons=few["persons"] * more), chosen)
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
        chosen = replace(USUAL, denitrified_frac=USUAL.denitrified_frac + lost)
        less, base = again(prepared, place.systems, chosen), again(prepared, place.systems)
        for name in ("nitrogen_kg_yr", "lot_nitrate_mg_l", "reaching"):
            assert (np.nan_to_num(less[name] - base[name]) <= 1e-9).all(), name

    def test_threads_and_repeats_give_the_same_bytes(self, place: Place, prepared: Rerun) -> None:
        speeds = [times(conductivity_m_d=f) for f in np.geomspace(0.2, 5, 8)]
        with ThreadPoolExecutor(2) as pool:
            found = list(pool.map(lambda p: again(prepared, place.systems, p), speeds))
        for chosen, threaded in zip(speeds, found, strict=True):
            alone = again(prepared, place.systems, chosen)
            for name in RERUN_COLUMNS:
                assert alone[name].tobytes() == threaded[name].tobytes()

    def test_memory_stays_small(self, prepared: Rerun) -> None:
        pairs, near = len(prepared.pairs.well), len(prepared.near.other)
        assert prepared.nbytes < 90 * pairs + 4 * near + 200 * 2000 + 64 * 400
