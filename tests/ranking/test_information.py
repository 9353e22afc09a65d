from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest

from riskmap.ranking.information import (
    LOOK_UPS,
    LookUp,
    collection_list,
    describe_collection,
    record_values,
    weight_sensitivity,
)
from riskmap.ranking.inputs import Input, Mixture
from riskmap.ranking.model import Model, parse_model
from riskmap.ranking.uncertainty import propagate_inputs
from riskmap.region.model_file import read_model
from riskmap.stages.scenarios import KEPT

LINE = np.array([0.0, 1.0])


def make_model(weights: dict[str, float], **changes: float) -> Model:
    factor = {
        "score": "failure", "label": "", "unknown": 0.5, "source": "", "reason": "",
        "curve": [[0, 0], [1, 1]],
    }  # fmt: skip
    factors = [
        {**factor, "name": name, "feature": f"{name}_frac", "weight": w, "low": 0.0, "high": 9.0}
        for name, w in weights.items()
    ]
    factors.append(
        {**factor, "name": "well", "feature": "well_frac", "score": "groundwater", "weight": 1,
         "low": 1, "high": 1}
    )  # fmt: skip
    return parse_model(
        {
            "name": "m",
            "failure_share": 0.75,
            "min_known_frac": 0.0,
            "log_hazard_per_point": 0.0,
            "factor": factors,
        }
        | changes
    )


MODEL = make_model({"soil": 3, "age": 2})
TINY = {
    "soil": [[(0.11, 0.6), (0.91, 0.4)], [(0.33, 0.5), (0.71, 0.5)], [(0.02, 0.2), (0.57, 0.8)]],
    "age": [[(0.21, 0.5), (0.63, 0.5)], [(0.27, 0.9), (0.98, 0.1)], [(0.5, 1.0)]],
    "well": [[(0.52, 1.0)], [(0.13, 0.5), (0.93, 0.5)], [(0.22, 0.4), (0.9, 0.6)]],
}
POINTS = {"soil": 45.0, "age": 30.0, "well": 25.0}
RECORD = (
    LookUp("soil_check", "soil", ("soil_frac",), 60),
    LookUp("permit", "permit", ("age_frac",), 10),
    LookUp("both", "both", ("soil_frac", "age_frac"), 70),
    LookUp("none", "nothing the model reads", ("bedrooms",), 1),
)


def tiny_inputs() -> list[Input]:
    found = []
    for factor in MODEL.factors:
        rows = [(i, x, p) for i, part in enumerate(TINY[factor.name]) for x, p in part]
        row, limit, share = map(np.array, zip(*rows, strict=True))
        zero = np.zeros(3)
        found.append(
            Input(
                factor.name, factor.score, factor.weight, 0.0, 9.0, LINE, LINE,
                value=zero, spread=zero, redraw=zero, mixture=Mixture(row, limit, share),
            )
        )  # fmt: skip
    return found


def outcomes(parcel: int, fixed: dict[str, float]) -> list[tuple[float, float]]:
    """Scores and probabilities of a parcel with some factors known."""
    parts = [[(fixed[name], 1.0)] if name in fixed else TINY[name][parcel] for name in TINY]
    return [
        (sum(POINTS[n] * x for n, (x, _) in zip(TINY, joint, strict=True)),
         float(np.prod([p for _, p in joint])))
        for joint in product(*parts)
    ]  # fmt: skip


def top_chance(parcel: int, fixed: dict[str, float]) -> float:
    """Exact chance that a parcel is the highest of the three, some of its factors known."""
    others = [outcomes(other, {}) for other in range(3) if other != parcel]
    total = 0.0
    for own, p in outcomes(parcel, fixed):
        for joint in product(*others):
            chance = p * float(np.prod([q for _, q in joint]))
            total += chance * (own > max(score for score, _ in joint))
    return total


def exact_gain(parcel: int, told: tuple[str, ...]) -> float:
    chances = [top_chance(other, {}) for other in range(3)]
    best = int(np.argmax(chances))
    rival = max(c for i, c in enumerate(chances) if i != best) if parcel == best else chances[best]
    expected = 0.0
    for joint in product(*(TINY[name][parcel] for name in told)):
        chance = float(np.prod([p for _, p in joint]))
        known = {name: x for name, (x, _) in zip(told, joint, strict=True)}
        expected += chance * max(top_chance(parcel, known), rival)
    return expected - max(chances[parcel], rival)


class TestAgainstEnumeration:
    def test_value_of_each_record_for_each_parcel(self) -> None:
        doubt = propagate_inputs(
            tiny_inputs(), pd.Index(list("abc")), failure_share=0.75, top=1, draws=4096, seed=2
        )
        found = record_values(doubt, MODEL, RECORD)
        assert list(found) == ["soil_check", "permit", "both"]
        told = {"soil_check": ("soil",), "permit": ("age",), "both": ("soil", "age")}
        exact = np.array([[exact_gain(i, told[r]) for r in found] for i in range(3)])
        assert exact.max() > 0.1
        assert np.abs(found.to_numpy() - exact).max() < 0.02

    def test_weight_moved_by_hand(self) -> None:
        limits = pd.DataFrame(
            {"soil": [1.0, 0.0, 0.4], "age": [0.0, 1.0, 0.6], "well": [0.0, 0.0, 0.0]}
        )
        found = weight_sensitivity(limits, MODEL, top=1).set_index(["factor", "moved_to"])
        assert len(found) == 4, "a weight whose bounds leave no room has no row"
        assert found.loc[("soil", 0.0), "kept"] == 0.0
        assert found.loc[("soil", 9.0), "kept"] == 1.0
        assert found.loc[("age", 9.0), "kept"] == 0.0
        assert found.loc[("soil", 9.0), "rank_correlation"] == pytest.approx(1.0)
        assert found.loc[("soil", 0.0), "rank_correlation"] == pytest.approx(-1.0)


def county(n: int = 300) -> list[Input]:
    rng = np.random.default_rng(8)
    made = []
    for factor, spread in zip(MODEL.factors, (0.3, 0.02, 0.0), strict=True):
        made.append(
            Input(
                factor.name, factor.score, factor.weight, 0.0, 9.0, LINE, LINE,
                value=rng.random(n), spread=np.full(n, spread), redraw=np.zeros(n),
            )
        )  # fmt: skip
    return made


class TestProperties:
    def test_what_is_most_in_doubt_is_worth_most(self) -> None:
        names = pd.Index([f"p{i}" for i in range(300)])
        doubt = propagate_inputs(county(), names, failure_share=0.75, top=30, draws=512)
        values = record_values(doubt, MODEL, RECORD)
        assert (values >= 0).all().all()
        assert values["soil_check"].sum() > 20 * values["permit"].sum()
        assert (values["both"] >= values["soil_check"] - 0.02).all()
        table = collection_list(values, RECORD, look_ups=50)
        assert table["record"].iloc[0] in {"soil_check", "both"}
        words = describe_collection(table, top=30)
        assert words.startswith("Collect first: ")
        cheap = [replace(record, minutes=0.1) if record.name == "permit" else record
                 for record in RECORD]  # fmt: skip
        assert collection_list(values, cheap, look_ups=50)["record"].iloc[0] == "permit"

    def test_nothing_is_won_where_nothing_is_in_doubt(self) -> None:
        names = pd.Index([f"p{i}" for i in range(300)])
        sure = [replace(entry, spread=np.zeros(300)) for entry in county()]
        doubt = propagate_inputs(sure, names, failure_share=0.75, top=30, draws=64)
        values = record_values(doubt, MODEL, RECORD)
        assert (values == 0).all().all()
        table = collection_list(values, RECORD)
        assert describe_collection(table, top=30) == "No record would change the list."

    def test_records_have_names_and_costs(self) -> None:
        assert len({record.name for record in LOOK_UPS}) == len(LOOK_UPS)
        assert all(record.minutes > 0 and record.features for record in LOOK_UPS)

    def test_every_record_tells_something_that_the_model_reads(self) -> None:
        read = {factor.feature for factor in read_model().factors}
        for record in LOOK_UPS:
            assert set(record.features) <= read | set(KEPT), record.name
        assert set(KEPT) <= {name for record in LOOK_UPS for name in record.features}
