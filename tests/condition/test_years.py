"""The way through the years, held against all paths one by one and a general library."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from hmmlearn.hmm import CategoricalHMM

from riskmap.condition.follow import follow
from riskmap.condition.years import (
    CALLS,
    COMPLAINT,
    EASE,
    FAIL,
    KEEPS,
    MEND_EARLY,
    MEND_FOUND,
    MEND_HIDDEN,
    RATES,
    REPAIR,
    REPLACED,
    REST,
    SET_IN,
    SHARE_SHIFT,
    SHELTER,
    SPREAD,
    STEEPNESS,
    WEAR_RENEWED,
    Histories,
    Office,
    Terms,
)
from tests.condition.chain import forward_backward

CONDITION = [0, 0, 1, 2, 2]
YEARS = 4
SOUND, STRESSED, FAILED = 0, 1, 2
"""Kinds of finding; the fourth tells of trouble, and nobody of a failure."""


def made_up(rng: np.random.Generator, systems: int, *, nodes: int = 2) -> Terms:
    rates = np.empty(len(RATES))
    for name, place in {
        "fail": FAIL, "rest": REST, "ease": EASE, "set_in": SET_IN, "renewed": WEAR_RENEWED,
        "sound": CALLS, "stressed": CALLS + 1, "failed": CALLS + 2,
    }.items():  # fmt: skip
        rates[place] = np.log(rng.uniform(0.1, 0.5)) if name else 0.0
    rates[STEEPNESS], rates[SHELTER], rates[SPREAD] = 0.6, 0.4, 0.9
    rates[KEEPS], rates[MEND_HIDDEN], rates[MEND_FOUND] = 0.7, 0.15, 0.35
    rates[MEND_EARLY], rates[SHARE_SHIFT] = 0.05, 0.3
    signs = rng.dirichlet(np.ones(3), size=3).T
    signs = np.vstack([signs, rng.uniform(0.1, 0.9, 3)])
    return Terms(
        log_hazard=rng.normal(0, 0.5, systems),
        log_calls=rng.normal(0, 0.3, 1),
        wear=rng.uniform(0.1, 0.4, 20),
        wear_by=np.zeros((20, 1)),
        year_wear=rng.normal(0, 0.3, YEARS),
        year_calls=rng.normal(0, 0.3, YEARS),
        rates=rates,
        signs=signs,
        tells=np.array([False, False, True, False]),
        nodes=np.linspace(-1.0, 1.0, nodes) if nodes > 1 else np.zeros(1),
        weight=np.full(nodes, 1.0 / nodes),
    )


def one_lot(records: list[tuple[int, int]], *, first: int = 0) -> Histories:
    return Histories(
        first=np.array([first]),
        age=np.array([0]),
        system=np.array([0]),
        start=np.array([0, len(records)]),
        year=np.array([year for year, _ in records], dtype=np.int64),
        kind=np.array([kind for _, kind in records], dtype=np.int64),
    )


class ByHand:
    """Every path of one lot with its chance: frailty, then state after state."""

    def __init__(self, records: list[tuple[int, int]], office: Office, terms: Terms) -> None:
        self.records, self.office, self.terms = records, office, terms

    def ends(self) -> np.ndarray:
        """Chance of the records and of each last state, summed path by path."""
        total = np.zeros(5)
        for node, weight in enumerate(self.terms.weight):
            for state, chance in self._year(0, 0, node, 0, 0, False, float(weight)):
                total[state] += chance
        return total

    def _year(
        self, t: int, state: int, node: int, system: int, age: int, found: bool, chance: float
    ) -> Iterator[tuple[int, float]]:
        if t == YEARS:
            yield state, chance
            return
        today = [kind for year, kind in self.records if year == t]
        new = next((n for n, kind in enumerate(today) if kind <= REPAIR), len(today))
        before, after = today[:new], today[new + 1 :]
        for worn, a in self._wear(state, node, system, age, t, newly=t == 0):
            b = a * self._seen(before, worn) * self._heard(COMPLAINT in today, worn, t)
            knows = found or FAILED in before
            if new < len(today):
                for fresh, c in self._renew(today[new], worn, node, knows, t):
                    for last, d in self._wear(0, fresh, system + 1, 0, t, newly=True):
                        e = d * self._seen(after, last)
                        yield from self._year(
                            t + 1, last, fresh, system + 1, 1, FAILED in after, chance * b * c * e
                        )
            else:
                for last, c in self._unmended(worn, knows, t):
                    yield from self._year(t + 1, last, node, system, age + 1, knows, chance * b * c)

    def _wear(
        self, state: int, node: int, system: int, age: int, t: int, *, newly: bool
    ) -> Iterator[tuple[int, float]]:
        r, factor = self.terms.rates, np.exp(self.terms.year_wear[t])
        u = self.terms.log_hazard[system] + r[SPREAD] * self.terms.nodes[node]
        better = np.exp(-r[SHELTER] * u) / factor
        first = {state: 1.0}
        if state == 2 and not newly:
            rests = 1 - np.exp(-np.exp(r[REST]) * better)
            first = {0: rests, 2: 1 - rests}
        if state == 3 and not newly:
            stays = np.exp(-np.exp(r[SET_IN]))
            eases = 1 - np.exp(-np.exp(r[EASE]) * better)
            first = {4: 1 - stays, 2: stays * eases, 3: stays * (1 - eases)}
        wears = {
            0: 1 - np.exp(-self.terms.wear[age] * factor * np.exp(u)),
            1: 1 - np.exp(-np.exp(r[WEAR_RENEWED] + u) * factor),
        }
        fails = 1 - np.exp(-np.exp(r[FAIL] + r[STEEPNESS] * u) * factor)
        for middle, a in first.items():
            steps = {middle: 1.0}
            if middle in wears:
                steps = {middle: 1 - wears[middle], 2: wears[middle]}
            for then, b in steps.items():
                if then == 2:
                    yield 2, a * b * (1 - fails)
                    yield 3, a * b * fails
                else:
                    yield then, a * b

    def _seen(self, kinds: list[int], state: int) -> float:
        return float(
            np.prod([self.terms.signs[kind, CONDITION[state]] for kind in kinds if kind >= 0])
        )

    def _heard(self, heard: bool, state: int, t: int) -> float:
        if self.office.calls[t] == 0:
            return 1.0
        rate = self.office.calls[t] * np.exp(
            self.terms.rates[CALLS + CONDITION[state]]
            + self.terms.log_calls[0]
            + self.terms.year_calls[t]
        )
        return float(1 - np.exp(-rate) if heard else np.exp(-rate))

    def _share(self, t: int) -> float:
        s = self.office.share[t]
        shift = np.exp(self.terms.rates[SHARE_SHIFT])
        return float(s * shift / (s * shift + 1 - s))

    def _renew(
        self, kind: int, state: int, node: int, knows: bool, t: int
    ) -> Iterator[tuple[int, float]]:
        r = self.terms.rates
        mend = r[MEND_FOUND if knows else MEND_HIDDEN]
        told = 1.0
        if kind == REPAIR:
            told = self._share(t) * (mend if state >= 3 else r[MEND_EARLY])
        for other, weight in enumerate(self.terms.weight):
            yield other, told * (r[KEEPS] * (other == node) + (1 - r[KEEPS]) * weight)

    def _unmended(self, state: int, knows: bool, t: int) -> Iterator[tuple[int, float]]:
        r = self.terms.rates
        mend = r[MEND_FOUND if knows else MEND_HIDDEN]
        filed = self._share(t) * self.office.permits[t]
        if state < 3:
            yield state, 1 - r[MEND_EARLY] * filed
        elif t == YEARS - 1:
            yield state, 1 - mend * filed
        else:
            yield state, 1 - mend
            yield 1, mend * (1 - self._share(t))


CASES = {
    "nothing": [],
    "a complaint": [(2, COMPLAINT)],
    "found failed, then sound": [(0, FAILED), (2, SOUND)],
    "complaint with a finding, repaired, sound": [
        (1, COMPLAINT), (1, FAILED), (1, REPAIR), (1, SOUND), (3, STRESSED),
    ],
    "repaired twice": [(0, REPAIR), (2, REPAIR)],
    "replaced by permit": [(1, STRESSED), (2, REPLACED), (3, 3)],
    "all in the last year": [(3, COMPLAINT), (3, STRESSED), (3, FAILED)],
}  # fmt: skip


@pytest.mark.parametrize("records", CASES.values(), ids=CASES.keys())
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_filter_gives_the_sum_over_all_paths(records: list[tuple[int, int]], seed: int) -> None:
    rng = np.random.default_rng(seed)
    terms = made_up(rng, 3)
    office = Office(
        share=np.array([0.0, 0.5, 0.7, 0.9]) if seed == 1 else rng.uniform(0.2, 0.9, YEARS),
        calls=np.array([0.0, 1.0, 1.0, 0.4]),
        permits=np.array([1.0, 1.0, 1.0, 0.0]),
    )
    if seed == 1 and (0, REPAIR) in records:
        office = office._replace(share=np.full(YEARS, 0.5))
    ends = ByHand(records, office, terms).ends()
    followed = follow(one_lot(records), office, terms, now=True)
    assert followed.log_like[0] == pytest.approx(np.log(ends.sum()), abs=1e-12)
    np.testing.assert_allclose(followed.now[0].sum(axis=0), ends / ends.sum(), atol=1e-12)


def steady(rng: np.random.Generator) -> tuple[Terms, Office]:
    """A system whose hazards do not change, in an office without permits and complaints."""
    terms = made_up(rng, 1, nodes=1)
    rates = terms.rates.copy()
    rates[MEND_FOUND] = rates[MEND_HIDDEN]
    terms = terms._replace(
        wear=np.full(40, 0.15), year_wear=np.zeros(30), year_calls=np.zeros(30), rates=rates
    )
    return terms, Office(np.zeros(30), np.zeros(30), np.ones(30))


def steady_step(terms: Terms, office: Office) -> tuple[np.ndarray, np.ndarray]:
    """Chances from state to state in a year without records, before and after the visits."""
    hand = ByHand([], office, terms)
    wear, mend = np.zeros((5, 5)), np.zeros((5, 5))
    for state in range(5):
        for then, chance in hand._wear(state, 0, 0, 0, 0, newly=False):
            wear[state, then] += chance
        for then, chance in hand._unmended(state, False, 0):
            mend[state, then] += chance
    return wear, mend


def test_a_steady_system_is_a_hidden_markov_model_of_a_general_library() -> None:
    rng = np.random.default_rng(5)
    terms, office = steady(rng)
    wear, mend = steady_step(terms, office)
    library = CategoricalHMM(n_components=5, init_params="", params="")
    library.startprob_ = wear[0]
    library.transmat_ = mend @ wear
    seen = terms.signs[:3][:, CONDITION].T
    library.emissionprob_ = np.column_stack([np.full(5, 0.5), 0.5 * seen])
    for visited in (0.0, 0.3, 1.0):
        found = np.where(rng.uniform(size=30) < visited, rng.integers(1, 4, 30), 0)
        records = [(t, int(kind) - 1) for t, kind in enumerate(found) if kind]
        followed = follow(one_lot(records), office, terms, now=True)
        told = library.score(found[:, None]) - 30 * np.log(0.5)
        assert followed.log_like[0] == pytest.approx(told, abs=1e-9)
        chances = library.predict_proba(found[:, None])[-1]
        np.testing.assert_allclose(followed.now[0].sum(axis=0), chances, atol=1e-9)


def test_written_out_with_matrices_it_is_the_same() -> None:
    rng = np.random.default_rng(6)
    terms, office = steady(rng)
    wear, mend = steady_step(terms, office)
    records = [(3, 2), (9, 0), (17, 1), (29, 2)]
    likelihood = np.ones((30, 5))
    for t, kind in records:
        likelihood[t] = terms.signs[kind, CONDITION]
    start = wear[0]
    log_like, smoothed = forward_backward(start, [mend @ wear] * 29, likelihood)
    followed = follow(one_lot(records), office, terms, now=True)
    assert followed.log_like[0] == pytest.approx(log_like, abs=1e-10)
    np.testing.assert_allclose(followed.now[0].sum(axis=0), smoothed[-1], atol=1e-10)


def test_two_states_by_hand() -> None:
    """Published check value 16: seen sound twice, hazard .1 a year, a visit misses one in five."""
    rng = np.random.default_rng(0)
    terms, office = steady(rng)
    rates = np.full(len(RATES), -60.0)
    rates[FAIL] = 20.0
    rates[[STEEPNESS, SHELTER, SPREAD, KEEPS, MEND_HIDDEN, MEND_FOUND, MEND_EARLY]] = 0.0
    signs = np.array([[1.0, 1.0, 0.2], [0.0, 0.0, 0.0], [0.0, 0.0, 0.8], [1.0, 1.0, 1.0]])
    terms = terms._replace(
        rates=rates, signs=signs, wear=np.full(40, -np.log(0.9)), log_hazard=np.zeros(1)
    )
    for years, chance in ((1, 0.021739), (2, 0.026442)):
        part = Office(*(values[:years] for values in office))
        cut = terms._replace(year_wear=np.zeros(years), year_calls=np.zeros(years))
        records = [(t, 0) for t in range(years)]
        now = follow(one_lot(records), part, cut, now=True).now[0]
        assert now[:, 3:].sum() == pytest.approx(chance, abs=5e-7)
