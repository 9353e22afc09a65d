"""The model of a county: slopes, what it may never do, and what it says without records."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from riskmap.condition.chances import (
    IF_FAILED,
    IF_STRESSED,
    by_condition,
    chance_of,
    chances,
    expit,
    logit,
    look_ahead,
    odds_of,
)
from riskmap.condition.fit import Fit, fit
from riskmap.condition.lots import Lots, take
from riskmap.condition.model import Model, log_posterior, model_of, run
from riskmap.condition.parameters import NAMES
from riskmap.condition.years import COMPLAINT
from tests.condition.simulate import EFFECTS, FILES_SINCE, YEAR, County, prior_theta, simulate


def failed_now(model: Model, theta: np.ndarray) -> np.ndarray:
    return by_condition(run(model, theta, now=True)[0])[:, 2]


@pytest.mark.parametrize("seed", [0, 1])
def test_slopes_are_those_of_finite_differences(county: County, seed: int) -> None:
    lots = take(county.read(), np.arange(0, 900, 6))
    lots = replace(lots, fitted_on=np.arange(len(lots.ids)) % 5 > 0)
    model = model_of(lots, EFFECTS)
    rng = np.random.default_rng(seed)
    theta = model.mean + 0.4 * model.sd * rng.standard_normal(len(model.mean))
    _, gradient = log_posterior(model, theta)
    step = 1e-5
    for place, row in enumerate(np.eye(len(theta)) * step):
        up, down = log_posterior(model, theta + row)[0], log_posterior(model, theta - row)[0]
        assert gradient[place] == pytest.approx((up - down) / (2 * step), rel=2e-4, abs=2e-4)


def test_odds_and_their_slopes(fitted: Fit) -> None:
    failed = odds_of(fitted, IF_FAILED)
    np.testing.assert_allclose(failed.chance, failed_now(fitted.model, fitted.theta), atol=1e-9)
    stressed = odds_of(fitted, IF_STRESSED).chance
    middle = by_condition(run(fitted.model, fitted.theta, now=True)[0])[:, 1]
    np.testing.assert_allclose(stressed, middle, atol=1e-9)
    rng = np.random.default_rng(2)
    off = 1e-4 * rng.standard_normal(len(fitted.theta))
    moved = logit(failed_now(fitted.model, fitted.theta + off))
    back = logit(failed_now(fitted.model, fitted.theta - off))
    np.testing.assert_allclose(failed.by_parameter @ off, (moved - back) / 2, atol=1e-6)


def test_a_chance_without_a_range_is_that_of_the_odds(fitted: Fit) -> None:
    for states in (IF_FAILED, IF_STRESSED):
        chance = odds_of(fitted, states).chance
        np.testing.assert_allclose(chance_of(fitted, states), chance, rtol=1e-9)


def test_a_fit_to_some_lots_serves_all(county: County) -> None:
    lots = county.read()
    found = fit(lots, EFFECTS, most=450)
    assert found.model.lots is lots
    alone = fit(take(lots, np.unique(np.linspace(0, 899, 450).round().astype(int))), EFFECTS)
    np.testing.assert_array_equal(found.theta, alone.theta)
    np.testing.assert_array_equal(found.model.sd, alone.model.sd)
    assert fit(lots, EFFECTS, most=900).evaluations == fit(lots, EFFECTS).evaluations


def test_chance_within_years_is_the_chance_of_a_system_followed_on(fitted: Fit) -> None:
    followed, point = run(fitted.model, fitted.theta, now=True)
    lots = fitted.model.lots
    ahead = look_ahead(point.terms, followed.now, lots.now_system, lots.age_now, 5)
    within = odds_of(fitted, IF_FAILED, within_yr=5).chance
    np.testing.assert_allclose(within, ahead[:, -1], atol=1e-9)


def test_the_range_is_near_that_of_drawn_parameters(fitted: Fit) -> None:
    failed = odds_of(fitted, IF_FAILED)
    drawn = fitted.draws(64, np.random.default_rng(3))
    odds = np.stack([logit(failed_now(fitted.model, theta)) for theta in drawn])
    ratio = failed.sd(fitted.factor) / odds.std(axis=0, ddof=1)
    assert 0.85 < np.median(ratio) < 1.15
    assert 0.6 < np.quantile(ratio, 0.02) < np.quantile(ratio, 0.98) < 1.6


def test_a_table_of_chances_holds_together(fitted: Fit) -> None:
    failed, within = odds_of(fitted, IF_FAILED), odds_of(fitted, IF_FAILED, within_yr=5)
    table = chances(fitted, failed=failed, within=within)
    assert (table["failed_low"] < table["failed"]).all()
    assert (table["failed"] < table["failed_high"]).all()
    assert (table["failing"] >= table["failed"]).all()
    visits = table[["visit_sound", "visit_stressed", "visit_failed"]].sum(axis=1)
    np.testing.assert_allclose(visits, 1.0, atol=1e-12)
    assert table["again_in"].between(1, 30).all()


def test_without_records_it_is_the_prior(county: County) -> None:
    lots = county.read(visits=False, permits=False)
    assert lots.records.empty
    found = fit(lots, EFFECTS)
    np.testing.assert_allclose(found.theta, model_of(lots, EFFECTS).mean, atol=1e-3)
    np.testing.assert_allclose(found.sd, model_of(lots, EFFECTS).sd, rtol=1e-3)
    chance = odds_of(found, IF_FAILED).chance
    old = lots.age_now > 35
    young = lots.age_now < 10
    assert chance[old].mean() > 2 * chance[young].mean()
    worse = replace(found.model, lots=replace(lots, limits=lots.limits + 0.2))
    assert (failed_now(worse, found.theta) > chance).all()


@pytest.mark.parametrize("factor", range(len(EFFECTS)))
def test_a_worse_factor_raises_the_chance_of_a_system_without_records(
    fitted: Fit, factor: int
) -> None:
    lots = fitted.model.lots
    plain = replace(fitted.model, lots=without_records(lots))
    limits = lots.limits.copy()
    limits[:, factor] += 0.3
    worse = replace(plain, lots=replace(plain.lots, limits=limits))
    assert (failed_now(worse, fitted.theta) > failed_now(plain, fitted.theta)).all()


def without_records(lots: Lots) -> Lots:
    """Return the same lots with their present systems alone and nothing on file."""
    histories = lots.histories
    n = len(lots.ids)
    present = lots.now_system
    begin = lots.year - len(lots.office.share) + 1
    first = np.maximum(lots.put_in[present], begin)
    office = lots.office._replace(calls=0 * lots.office.calls, share=0 * lots.office.share)
    return replace(
        lots,
        histories=histories._replace(
            first=(first - begin).astype(np.int64),
            age=np.zeros(n, np.int64),
            system=np.arange(n),
            start=np.zeros(n + 1, np.int64),
            year=np.zeros(0, np.int64),
            kind=np.zeros(0, np.int64),
        ),
        office=office,
        lot=np.arange(n),
        put_in=lots.put_in[present],
        renewed=lots.renewed[present],
        present=np.ones(n, bool),
    )


def test_with_records_a_worse_factor_hardly_ever_lowers_the_chance(fitted: Fit) -> None:
    """Where it does, the records are told otherwise: a system mended twice off the record, say."""
    before = failed_now(fitted.model, fitted.theta)
    limits = fitted.model.lots.limits + 0.3 * np.eye(len(EFFECTS))[0]
    worse = replace(fitted.model, lots=replace(fitted.model.lots, limits=limits))
    change = failed_now(worse, fitted.theta) - before
    assert (change < 0).mean() < 0.05
    assert change.min() > -0.02


@pytest.mark.parametrize("years_ago", [0, 1, 2, 5, 12])
def test_one_more_complaint_never_lowers_the_chance(fitted: Fit, years_ago: int) -> None:
    """An old complaint may tell of a failure that was mended since: then hardly at all."""
    lots = fitted.model.lots
    year = len(lots.office.share) - 1 - years_ago
    more = with_complaint(lots, year)
    change = failed_now(replace(fitted.model, lots=more), fitted.theta) - failed_now(
        fitted.model, fitted.theta
    )
    assert change.min() >= (-1e-12 if years_ago <= 2 else -0.002)
    assert (change > 0).sum() > 0.95 * (more.histories.first <= year).sum()


def with_complaint(lots: Lots, year: int) -> Lots:
    """Return the lots with one more complaint each in a year, where there was none."""
    h = lots.histories
    years, kinds, start = [], [], [0]
    for i, first in enumerate(h.first):
        span = slice(h.start[i], h.start[i + 1])
        of_year, of_kind = list(h.year[span]), list(h.kind[span])
        if first <= year and (year, COMPLAINT) not in zip(of_year, of_kind, strict=True):
            at = int(np.searchsorted(of_year, year))
            of_year.insert(at, year)
            of_kind.insert(at, COMPLAINT)
        years += of_year
        kinds += of_kind
        start.append(len(years))
    moved = h._replace(year=np.array(years), kind=np.array(kinds), start=np.array(start))
    return replace(lots, histories=moved)


def test_some_lots_alone_are_followed_as_among_all(fitted: Fit) -> None:
    rows = np.array([2, 3, 50, 51, 700])
    part = replace(fitted.model, lots=take(fitted.model.lots, rows))
    np.testing.assert_allclose(
        failed_now(part, fitted.theta), failed_now(fitted.model, fitted.theta)[rows], atol=1e-12
    )


def test_known_parameters_come_back() -> None:
    """Two thousand invented systems: the truth lies within three standard deviations."""
    truth = prior_theta(wear=np.log(0.035), fail=np.log(0.2), miss=-1.4, modern=-1.0)
    county = simulate(2000, 11, truth)
    found = fit(county.read(), EFFECTS)
    names = (
        "wear", "aging", "early", "fail", "rest", "ease", "set_in", "steepness", "spread",
        "mend_hidden", "mend_found", "mend_early", "call_sound", "call_stressed", "call_failed",
        "call_lot", "miss", "blind", "alarm", "weights", "modern", "designed",
    )  # fmt: skip
    places = [NAMES.index(name) for name in names]
    apart = (found.theta - np.pad(truth, (0, len(found.theta) - len(truth))))[places]
    assert np.abs(apart / found.sd[places]).max() < 3.0
    tight = [NAMES.index(name) for name in ("wear", "fail", "mend_hidden", "miss", "call_failed")]
    assert (found.sd[tight] < 0.5 * found.model.sd[tight]).all()
    chance = odds_of(found, IF_FAILED).chance
    failed = county.truth == 2
    assert chance.mean() == pytest.approx(failed.mean(), rel=0.2)
    order = np.argsort(-chance)
    top = failed[order[:200]].mean()
    assert top > 4 * failed.mean()
    assert chance[order[:200]].mean() == pytest.approx(top, abs=0.1)


def test_the_office_keeps_what_its_files_show(county: County) -> None:
    lots = county.read()
    kept = lots.office.calls > 0
    assert not kept[: FILES_SINCE - YEAR - 1].any()
    assert kept[-10:].all()
    assert lots.window == YEAR - FILES_SINCE + 1


def test_the_logit_and_back() -> None:
    odds = np.array([-3.0, 0.0, 2.0])
    np.testing.assert_allclose(logit(expit(odds)), odds)
