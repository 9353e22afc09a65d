"""The worlds differ where they are meant to, and nowhere else."""

from __future__ import annotations

import hashlib
import inspect
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from sklearn.metrics import roc_auc_score

from sample_region.make import make_county
from sample_region.permit_office import inspections, permits
from sample_region.plan import YEAR, Plan, make_plan
from sample_region.settlement import make_settlement
from sample_region.soil_map import SoilMap, make_soil_map
from sample_region.terrain import Terrain, make_terrain
from sample_region.truth import LIVED_AHEAD_YEARS, Truth, make_truth
from sample_region.visits import DATED_YEARS
from sample_region.worlds import USUAL, WORLDS, parameters, table

NAMES = list(WORLDS)
FEATURES = {"age": "true_age", "water": "separation_cm", "soil": "ksat_um_s", "load": "load"}


@cache
def _land() -> tuple[Plan, Terrain, SoilMap, pd.DataFrame]:
    plan = make_plan(2000, seed=11)
    terrain = make_terrain(plan)
    return plan, terrain, make_soil_map(plan, terrain), make_settlement(plan, terrain).table


@cache
def _lived(name: str) -> Truth:
    return make_truth(*_land(), WORLDS[name])


def _visits(name: str) -> pd.DataFrame:
    return inspections(_land()[0], _lived(name), WORLDS[name])


def _permits(name: str) -> pd.DataFrame:
    return permits(_land()[0], _lived(name), _land()[3], WORLDS[name])


def _tells(name: str) -> dict[str, float]:
    """How well each hidden fact alone tells the failed from the others (area under the curve)."""
    truth = _lived(name).table
    truth = truth.assign(load=truth.flow_l_d / truth.field_area_m2)
    areas = {key: roc_auc_score(truth.failed, truth[column]) for key, column in FEATURES.items()}
    return {key: max(area, 1 - area) for key, area in areas.items()}


class TestDeclaration:
    def test_every_parameter_differs_in_some_world(self) -> None:
        for one in parameters():
            values = {getattr(world, one.name) for world in WORLDS.values()}
            assert len(values) > 1, one.name

    def test_there_are_six_besides_the_usual_and_no_two_alike(self) -> None:
        assert NAMES[0] == "usual"
        settings = {tuple(getattr(w, p.name) for p in parameters()) for w in WORLDS.values()}
        assert len(settings) == len(NAMES) == 7

    def test_the_readme_shows_the_table(self, repo: Path) -> None:
        assert table() in (repo / "sample_region" / "README.md").read_text("utf-8")

    def test_the_readme_tells_of_every_world(self, repo: Path) -> None:
        readme = (repo / "sample_region" / "README.md").read_text("utf-8")
        for name, world in WORLDS.items():
            assert f"`{name}`: {world.about}" in readme


class TestSameLand:
    def test_two_worlds_share_all_but_the_life_of_the_systems(self, tmp_path: Path) -> None:
        hashes = []
        for name in ("usual", "chance-decides"):
            make_county(tmp_path / name, parcels=150, seed=5, world=WORLDS[name])
            files = sorted(p for p in (tmp_path / name).rglob("*") if p.is_file())
            hashes.append(
                {
                    p.relative_to(tmp_path / name).as_posix(): hashlib.sha256(
                        p.read_bytes()
                    ).hexdigest()
                    for p in files
                }
            )
        differing = {path for path in hashes[0] if hashes[0][path] != hashes[1][path]}
        assert hashes[0].keys() == hashes[1].keys()
        assert differing == {
            "truth.csv", "permits/permits.csv", "inspections/inspections.csv",
        }  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
class TestEveryWorld:
    def test_shares_are_believable(self, name: str) -> None:
        truth = _lived(name).table
        assert 0.04 < truth.failed.mean() < 0.16
        assert 0.05 < truth.stressed.mean() < 0.20

    def test_life_goes_on_for_five_years(self, name: str) -> None:
        truth = _lived(name).table
        failed = truth.failed == 1
        assert (truth.fails_in_yr.eq(0).fillna(False) == failed).all()
        later = truth.fails_in_yr[~failed].dropna()
        assert set(later) <= set(range(1, LIVED_AHEAD_YEARS + 1))
        assert 0.01 < len(later) / len(truth) < 0.20
        stressed = truth[~failed].groupby("stressed").fails_in_yr.count()
        count = truth[~failed].groupby("stressed").size()
        assert stressed[1] / count[1] > 2 * stressed[0] / count[0]

    def test_a_failure_began_after_the_field_was_put_in(self, name: str) -> None:
        truth = _lived(name).table
        began = truth.failed_in_year
        assert (began.notna() == (truth.failed == 1)).all()
        assert (began.dropna() <= YEAR).all()
        assert (began.dropna() >= truth.true_installed[began.notna()]).all()

    def test_nobody_is_visited_before_the_house_stood(self, name: str) -> None:
        lived = _lived(name)
        built = _land()[3].built.to_numpy()[lived.row]
        assert (lived.visits.year >= built[lived.visits.row]).all()


class TestWhatIsFoundIsMended:
    def _waiting(self, name: str) -> float:
        """Share not rebuilt two years later of the failures found while they lasted."""
        lived = _lived(name)
        found = lived.visits.query("seen == 2 and stage == 2 and 2005 <= year <= @YEAR - 3")
        repaired = lived.events[~lived.events["first"]]
        joint = found.merge(repaired, on="row", suffixes=("", "_repaired"), how="left")
        soon = joint.year_repaired.between(joint.year, joint.year + 2)
        return float(1 - soon.groupby([joint.row, joint.year]).any().mean())

    def test_within_two_years(self) -> None:
        assert self._waiting("found-repaired") < 0.15
        assert self._waiting("usual") > 0.5

    def test_what_nobody_finds_waits_longer(self) -> None:
        since = {n: YEAR - _lived(n).table.failed_in_year.dropna() for n in NAMES[:2]}
        assert since["found-repaired"].mean() > 1.1 * since["usual"].mean()


class TestFewRecords:
    def test_only_the_paper_differs(self) -> None:
        pd.testing.assert_frame_equal(_lived("few-records").table, _lived("usual").table)
        usual = _visits("usual")
        late = usual.VISITED.str[-4:].astype(int) >= WORLDS["few-records"].visits_since
        assert late.mean() < 0.6
        pd.testing.assert_frame_equal(_visits("few-records"), usual[late].reset_index(drop=True))

    def test_half_of_the_permits(self) -> None:
        assert 0.46 < len(_permits("few-records")) / len(_permits("usual")) < 0.54


class TestWhatDecides:
    def test_the_ground(self) -> None:
        ground, usual = _tells("ground-decides"), _tells("usual")
        assert ground["water"] > 0.72 > usual["water"]
        assert ground["water"] > ground["load"]
        assert usual["load"] > 0.72

    def test_chance(self) -> None:
        assert max(_tells("chance-decides").values()) < 0.67
        assert max(_tells("usual").values()) > 0.72

    def test_many_broke_at_any_age(self) -> None:
        truth = _lived("chance-decides").table
        sound_field = truth.stress[truth.failed == 1] < 1
        assert sound_field.mean() > 0.4
        assert (_lived("usual").table.query("failed == 1").stress < 1).mean() < 0.15


class TestSomeComplain:
    def test_from_three_neighborhoods_in_ten(self) -> None:
        lived = _lived("some-complain")
        homes = _land()[3].iloc[lived.row].reset_index(drop=True)
        complaints = lived.visits[lived.visits.reason == "COMPLAINT"]
        share = homes.neighborhood[complaints.row].nunique() / homes.neighborhood.nunique()
        assert 0.15 < share <= 0.31
        usual = _lived("usual").visits
        usual = usual[usual.reason == "COMPLAINT"]
        assert homes.neighborhood[usual.row].nunique() > 0.8 * homes.neighborhood.nunique()

    def test_other_visits_go_everywhere(self) -> None:
        def sales(name: str) -> pd.DataFrame:
            visits = _lived(name).visits
            return visits[(visits.reason == "SALE") & (visits.year > YEAR - DATED_YEARS)]

        assert len(sales("some-complain")) == len(sales("usual"))


class TestVisitsMiss:
    @pytest.mark.parametrize(("reason", "missed"), [("SALE", 0.6), ("ROUTINE", 0.3)])
    def test_as_often_as_declared(self, reason: str, missed: float) -> None:
        visits = _lived("visits-miss").visits
        trouble = visits[(visits.reason == reason) & (visits.stage > 0)]
        share = (trouble.seen < trouble.stage).mean()
        assert share == pytest.approx(missed, abs=4 * np.sqrt(missed / len(trouble)))


def test_the_usual_world_is_the_default() -> None:
    assert inspect.signature(make_county).parameters["world"].default is USUAL is WORLDS["usual"]
