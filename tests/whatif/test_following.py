"""Scenarios held against what must be so: nothing done, everything connected, parts and whole."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.contract.errors import RegionError
from riskmap.groundwater.assess import assess_groundwater
from riskmap.groundwater.rerun import added_at_wells, nitrogen_of
from riskmap.stages.result import Result
from riskmap.whatif import following
from riskmap.whatif.changes import Changes, changes_of
from riskmap.whatif.following import MEASURES, TODAY, Followed, follow
from riskmap.whatif.steps import Plan, Step
from riskmap.whatif.tables import compared, single_steps, waters_compared, worth_of_steps
from riskmap.whatif.water import Water, new_systems

DRAWS = 8


def plan(name: str, *steps: dict[str, Any], folder: Path = Path()) -> Plan:
    return Plan(name, tuple(Step(**step) for step in steps), folder)


def followed(county: Result, *plans: Plan) -> Followed:
    return follow(county, plans, scenarios=DRAWS)


def total(found: Followed, name: str, measure: str = "failing") -> float:
    return float(found.draws[name][measure].mean())


@pytest.fixture(scope="session")
def halves(county: Result) -> list[str]:
    """Neighborhoods with systems."""
    ranked = county.parcels[county.parcels["rank"].notna()]
    return sorted(ranked["neighborhood"].dropna().astype(str).unique())


class TestOracles:
    def test_an_empty_scenario_changes_nothing_to_the_last_digit(self, county: Result) -> None:
        neutral = (
            {"do": "less water", "times": 1.0}, {"do": "higher water", "rise_m": 0.0},
            {"do": "replace oldest", "number": 0},
        )  # fmt: skip
        found = followed(county, plan("Nothing"), plan("Neutral", *neutral))
        for name in ("Nothing", "Neutral"):
            for measure in MEASURES:
                assert np.array_equal(found.draws[name][measure], found.draws[TODAY.name][measure])
            assert np.array_equal(found.failing[name], found.failing[TODAY.name])

    def test_today_is_what_the_run_says(self, county: Result) -> None:
        found = followed(county)
        told = county.parcels.loc[found.systems, "chance_failing_frac"].to_numpy(float)
        assert np.corrcoef(found.failing[TODAY.name], told)[0, 1] > 0.95
        assert total(found, TODAY.name) == pytest.approx(told.sum(), rel=0.2)

    def test_a_sewer_everywhere_leaves_nothing(self, county: Result) -> None:
        found = followed(county, plan("Sewer", {"do": "sewer"}))
        for measure in ("failing", "people", "nitrogen_kg_yr", "surface_nitrogen_kg_yr"):
            assert (found.draws["Sewer"][measure] == 0).all()
            assert (found.draws[TODAY.name][measure] > 0).all()
        assert (found.draws["Sewer"]["wells_above"] <= found.draws[TODAY.name]["wells_above"]).all()

    def test_steps_in_separate_places_add_up(self, county: Result, halves: list[str]) -> None:
        first, second = (
            {"do": "sewer", "neighborhoods": (halves[0],)},
            {"do": "less water", "times": 0.5, "neighborhoods": tuple(halves[1:])},
        )
        found = followed(county, plan("A", first), plan("B", second), plan("Both", first, second))
        today = found.draws[TODAY.name]
        for measure in ("failing", "people", "nitrogen_kg_yr"):
            parts = sum(found.draws[name][measure] - today[measure] for name in ("A", "B"))
            whole = found.draws["Both"][measure] - today[measure]
            assert whole == pytest.approx(parts, rel=1e-9, abs=1e-9)
        assert (found.draws["A"]["failing"] < today["failing"]).all()

    @pytest.mark.parametrize(
        ("do", "key", "amounts", "falls"),
        [
            ("less water", "times", (0.9, 0.6, 0.3), True),
            ("less water", "times", (1.1, 1.5, 2.0), False),
            ("pump-out program", "interval_yr", (10.0, 5.0, 2.0), True),
            ("replace oldest", "number", (5, 20, 60), True),
            ("replace most harmful", "number", (5, 20, 60), True),
            ("save stressed", "number", (5, 20, 60), True),
            ("wet year", "rise_m", (0.1, 0.3, 1.0), False),
            ("higher water", "rise_m", (0.1, 0.3, 1.0), False),
        ],
    )
    def test_more_of_it_does_more_of_the_same(
        self, county: Result, do: str, key: str, amounts: tuple[float, ...], falls: bool
    ) -> None:
        plans = [plan(f"{amount}", {"do": do, key: amount}) for amount in amounts]
        found = followed(county, *plans)
        line = [total(found, name) for name in (TODAY.name, *(p.name for p in plans))]
        for before, after in pairwise(line):
            assert after <= before + 1e-9 if falls else after >= before - 1e-9
        assert line[-1] < line[0] if falls else line[-1] > line[0]

    def test_treatment_takes_out_its_share_where_nothing_was_taken_out(
        self, county: Result
    ) -> None:
        found = followed(
            county, *(plan(f"{part}", {"do": "advanced treatment", "removed_frac": part})
                      for part in (0.5, 0.75, 1.0))
        )  # fmt: skip
        today = total(found, TODAY.name, "nitrogen_kg_yr")
        half, more, all_ = (total(found, name, "nitrogen_kg_yr") for name in ("0.5", "0.75", "1.0"))
        assert 0.5 * today <= half < today  # some have treatment already
        assert more == pytest.approx(half / 2)
        assert all_ == 0
        assert total(found, "0.5") == total(found, TODAY.name)

    def test_new_houses_add_their_load_and_their_failures(self, county: Result) -> None:
        free = county.parcels.index[county.parcels["rank"].isna()][:3].tolist()
        found = followed(
            county,
            plan("One", {"do": "new houses", "parcels": tuple(free[:1])}),
            plan("Three", {"do": "new houses", "parcels": tuple(free), "persons": 5.0}),
        )
        today = found.draws[TODAY.name]
        one, three = (found.draws[name] for name in ("One", "Three"))
        apart = (three["failing"] - today["failing"]) / (one["failing"] - today["failing"])
        assert apart == pytest.approx(3.0)
        load = (three["nitrogen_kg_yr"] - today["nitrogen_kg_yr"]) / (
            one["nitrogen_kg_yr"] - today["nitrogen_kg_yr"]
        )
        assert load == pytest.approx(6.0)
        assert (three["failing"] - today["failing"] < 3 * 0.5).all()

    def test_a_sewer_takes_away_what_other_steps_leave(self, county: Result) -> None:
        steps = ({"do": "wet year", "rise_m": 1.0}, {"do": "sewer"})
        found = followed(county, plan("Both", *steps))
        assert (found.draws["Both"]["failing"] == 0).all()

    def test_additions_at_wells_are_those_of_the_assessment(self, county: Result) -> None:
        """With the assessment's own numbers; its sum at each well is made another way."""
        water = county.groundwater
        assert water is not None
        assert water.rerun is not None
        settings = water.rerun.settings
        load = nitrogen_of(water.rerun, settings, water.systems["persons"])
        age = water.systems["age_yr"].to_numpy(float)
        found = added_at_wells(water.rerun, settings, nitrogen_kg_yr=load, age_yr=age)
        told = water.wells["nitrate_added_mg_l"].to_numpy(float)
        # What the assessment adds is of the long run; an old system's plume has arrived.
        old = added_at_wells(
            water.rerun, settings, nitrogen_kg_yr=load, age_yr=np.full(len(load), np.nan)
        )
        assert (found <= old + 1e-9).all()
        assert old == pytest.approx(told, rel=0.02, abs=1e-3)

    def test_what_new_houses_add_is_the_difference_of_two_whole_assessments(
        self, county: Result
    ) -> None:
        """The oracle assesses all systems at once, with and without the new ones."""
        water = county.groundwater
        assert water is not None
        change = changes_of(plan("A"), county)
        change.lots = np.flatnonzero(county.parcels["x_m"].notna())[:60].tolist()
        change.persons = [3.0] * len(change.lots)
        held = Water.of(county, np.array([0]))
        assert held is not None
        plumes = held.plumes_of(change, county)
        assert plumes is not None
        settings = plumes.prepared.settings
        load = nitrogen_of(plumes.prepared, settings, change.persons)
        years = np.full(len(load), np.nan)
        added = added_at_wells(plumes.prepared, settings, nitrogen_kg_yr=load, age_yr=years)
        both = pd.concat([water.systems, new_systems(change, county)])
        wells = water.wells[[name for name in water.wells if not name.endswith("_found")]]
        before, after = (
            assess_groundwater(
                systems, wells, water.surface.head, county.region.groundwater, county.region.wells,
                water_id=water.water_id,
            )
            for systems in (water.systems, both)
        )  # fmt: skip
        apart = after.wells["nitrate_added_mg_l"] - before.wells["nitrate_added_mg_l"]
        assert added == pytest.approx(apart.to_numpy(), rel=0.02, abs=1e-3)
        assert added.max() > 0.01
        arriving = np.bincount(
            plumes.water + 1, plumes.arriving(settings, load), minlength=len(held.names) + 1
        )[1:]
        told = after.waters["load_kg_yr"].sum() - before.waters["load_kg_yr"].sum()
        assert arriving.sum() == pytest.approx(told, rel=1e-6)

    def test_what_arrives_at_lakes_is_the_assessments_own_sum(self, county: Result) -> None:
        water = county.groundwater
        assert water is not None
        held = Water.of(county, np.array([0]))
        assert held is not None
        settings = held.plumes.prepared.settings
        load = nitrogen_of(held.plumes.prepared, settings, water.systems["persons"])
        arriving = held.plumes.arriving(settings, load)
        told = assess_groundwater(
            water.systems, water.wells, water.surface.head, county.region.groundwater,
            county.region.wells, water_id=water.water_id,
        ).waters  # fmt: skip
        assert len(told) > 1
        for number, row in told.set_index("water_id").iterrows():
            own = water.systems["water_id"].to_numpy() == number
            assert np.nansum(arriving[own]) == pytest.approx(row["load_kg_yr"], rel=1e-9)

    def test_lakes_are_told_one_by_one(self, county: Result) -> None:
        found = followed(county, plan("Sewer", {"do": "sewer"}), plan("Nothing"))
        for name in ("Sewer", "Nothing", TODAY.name):
            told = found.draws[name]["surface_nitrogen_kg_yr"]
            assert found.arriving[name].sum(axis=1) == pytest.approx(told, abs=1e-9)
        table = waters_compared(found).set_index("scenario")
        assert (table.loc["Nothing", "change"] == 0).all()
        assert (table.loc["Sewer", "systems_then"] == 0).all()
        assert table.loc["Sewer", "change"].to_numpy() == pytest.approx(
            -table.loc["Sewer", "today"].to_numpy()
        )
        assert set(table["water"]) <= set(found.waters)
        assert len(table.loc[["Sewer"]]) > 1

    def test_steps_meet_on_new_houses(self, county: Result) -> None:
        """A sewer there leaves nothing of them; half the nitrogen is half of what they add."""
        free = tuple(county.parcels.index[county.parcels["rank"].isna()][:3])
        build = {"do": "new houses", "parcels": free}
        half = {"do": "advanced treatment", "removed_frac": 0.5}
        found = followed(
            county, plan("Built", build), plan("Both", build, {"do": "sewer"}),
            plan("Half", half), plan("Treated", build, half),
        )  # fmt: skip
        for measure in MEASURES:
            if measure != "wells_above":
                assert (found.draws["Both"][measure] == 0).all()

        def more(first: str, second: str) -> np.ndarray:
            name = "nitrogen_kg_yr"
            return np.asarray(found.draws[first][name] - found.draws[second][name])

        assert more("Treated", "Half") == pytest.approx(0.5 * more("Built", TODAY.name))

    def test_hazards_are_proportional_from_today_on(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """By hand: a third fails of what stands; a limitation from 0.2 to 0.7 that counts 0.8."""

        def limits(records: Any, *_: Any) -> dict[str, Any]:
            return {"load": np.array([200 if records["flow_l_d"][0] < 500 else 700], np.uint16)}

        monkeypatch.setattr(following, "failure_limits", limits)
        n = np.zeros(1)
        change = Changes(
            connected=n > 0, renewed=n > 0, saved=n > 0, removed_frac=n, interval_yr=n + np.inf,
            times=n + 2.0, rise_m=n, wet_rise_m=n,
        )  # fmt: skip
        held = SimpleNamespace(ponding_found_m=n)
        county: Any = SimpleNamespace(chances=lambda *_: (n + 0.1, n, n + 0.4), records=held)
        monkeypatch.setattr(following, "replace", lambda one, **_: one)
        life = following._Life(
            county=county,
            reach=pd.DataFrame({"load": [0.8]}),
            middle=n + 0.4,
            if_new=n + 0.02,
            if_saved=n + 0.2,
        )
        records = {"flow_l_d": n + 400.0, "years_since_pumped_yr": n, "age_yr": n + 30.0}
        today = life.begin(records, {}, 0)
        failing, new = life.failing(today, records, {}, change, np.array([0]))
        later = 1 - (1 - 1 / 3) ** math.exp(0.8 * 0.5)
        assert failing[0] == pytest.approx(0.1 + 0.9 * later, abs=1e-12)
        assert new == pytest.approx(0.02)
        change.renewed = n == 0
        failing, _ = life.failing(today, records, {}, change, np.array([0]))
        assert failing[0] == pytest.approx(1 - 0.98 ** math.exp(0.4), abs=1e-12)


class TestTables:
    def test_ranges_hold_the_change_and_costs_are_counted(self, county: Result) -> None:
        steps = (
            {"do": "sewer", "cost_each": 10.0, "cost": 5.0},
            {"do": "save stressed", "number": 7, "cost_each": 2.0},
        )
        made = plan("Both", *steps)
        single = list(single_steps([made]))
        found = followed(county, made, *single)
        table = compared(found).set_index(["scenario", "measure"])
        assert (table["change_low"] <= table["change"] + 1e-9).all()
        assert (table["change"] <= table["change_high"] + 1e-9).all()
        ranked = int(county.parcels["rank"].notna().sum())
        assert found.cost["Both"] == 10.0 * ranked + 5.0 + 14.0
        worth = worth_of_steps(found, single)
        assert worth["per_million_failing"].is_monotonic_decreasing
        row = worth[worth["step"].str.contains("sewer")].iloc[0]
        assert row["less_failing"] == pytest.approx(total(found, TODAY.name))
        assert row["per_million_failing"] == pytest.approx(row["less_failing"] / row["cost"] * 1e6)

    def test_a_step_in_two_scenarios_is_told_once(self) -> None:
        step = {"do": "sewer", "zones": ("C01",)}
        assert len(list(single_steps([plan("A", step), plan("B", step, {"do": "sewer"})]))) == 2


class TestPlaces:
    def test_polygons_in_another_reference_system(self, county: Result, tmp_path: Path) -> None:
        parcels = county.parcels
        part = parcels[parcels["x_m"] < parcels["x_m"].median()]
        area = gpd.GeoSeries([part.union_all().convex_hull], crs=parcels.crs).to_crs(4326)
        area.to_file(tmp_path / "area.geojson")
        change = changes_of(
            plan("A", {"do": "sewer", "area": "area.geojson"}, folder=tmp_path), county
        )
        inside = pd.Series(change.connected, parcels.index)
        assert inside[part.index].mean() > 0.98
        assert 0 < inside.mean() < 1

    @pytest.mark.parametrize(
        ("step", "words"),
        [
            ({"do": "sewer", "zones": ("Z99",)}, "no zone 'Z99'"),
            ({"do": "sewer", "neighborhoods": ("Nowhere Else",)}, "no neighborhood 'Nowhere Else'"),
            ({"do": "sewer", "area": "none.geojson"}, "none.geojson cannot be read"),
            ({"do": "sewer", "area": "points.geojson"}, "holds no polygons"),
            ({"do": "sewer", "area": "far.geojson"}, "no system lies inside"),
            ({"do": "new houses", "parcels": ("no-such",)}, "no parcel 'no-such'"),
            ({"do": "new houses", "parcels": ("{ranked}",)}, "has a system already"),
            ({"do": "new houses", "parcels": ("{free}", "{free}")}, "a lot is named twice"),
        ],
    )
    def test_a_place_that_there_is_not(
        self, county: Result, tmp_path: Path, step: dict[str, Any], words: str
    ) -> None:
        middle = gpd.GeoSeries.from_xy([0.0], [0.0], crs=4326)
        middle.to_file(tmp_path / "points.geojson")
        far = gpd.GeoSeries([shapely.box(0, 0, 0.01, 0.01)], crs=4326)
        far.to_file(tmp_path / "far.geojson")
        has = county.parcels["rank"].notna()
        names = {"ranked": county.parcels.index[has][0], "free": county.parcels.index[~has][0]}
        if "parcels" in step:
            step = step | {"parcels": tuple(one.format(**names) for one in step["parcels"])}
        with pytest.raises(RegionError, match=words):
            changes_of(plan("A", step, folder=tmp_path), county)

    def test_two_scenarios_of_one_name(self, county: Result) -> None:
        with pytest.raises(RegionError, match="Two scenarios are called 'A'"):
            follow(county, [plan("A"), plan("A")])
