from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.ranking.drift import CAUSES, SHARES, age_records, compare_priorities, compare_runs
from riskmap.ranking.model import Factor, Model


def factor(name: str, feature: str, weight: float, **changes: object) -> Factor:
    made = Factor(
        name, "failure", feature, name, weight, 0.0, 100.0, 0.5, "", "",
        curve=((0.0, 0.0), (40.0, 1.0)),
    )  # fmt: skip
    return replace(made, **changes)  # type: ignore[arg-type]


AGE = factor("age", "age_yr", 3.0)
WET = factor("wet", "wet_depth_cm", 1.0, curve=((0.0, 1.0), (150.0, 0.0)))
PUMP = factor("pump", "years_since_pumped_yr", 2.0, curve=((0.0, 0.0), (10.0, 1.0)))
OLD = Model("old", (AGE, WET, PUMP), 0.6, 0.0)


def inventory(n: int = 30, seed: int = 0) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    return pd.DataFrame(
        {
            "age_yr": rng.uniform(0, 50, n),
            "wet_depth_cm": rng.uniform(0, 200, n),
            "years_since_pumped_yr": np.where(rng.random(n) < 0.3, np.nan, rng.uniform(0, 9, n)),
        },
        index=pd.Index([f"p{i:02d}" for i in range(n)], name="parcel_id"),
    )


def run(before: pd.DataFrame, after: pd.DataFrame, model: Model = OLD, **more: object):  # type: ignore[no-untyped-def]
    settings = {"years": 1.0, "top": 5} | more
    return compare_runs(before, after, model_before=OLD, model_after=model, **settings)


class TestAgainstEnumeration:
    def test_one_parcel_by_hand(self) -> None:
        before = pd.DataFrame(
            {"age_yr": [10.0], "wet_depth_cm": [75.0], "years_since_pumped_yr": [np.nan]},
            index=["p"],
        )
        after = pd.DataFrame(
            {"age_yr": [31.0], "wet_depth_cm": [75.0], "years_since_pumped_yr": [2.0]},
            index=["p"],
        )
        found = run(before, after)
        row = found.moves.loc["p"]
        assert row["score_before"] == pytest.approx(100 * (3 * 0.25 + 0.5 + 2 * 0.5) / 6)
        assert row["score_after"] == pytest.approx(100 * (3 * 0.775 + 0.5 + 2 * 0.2) / 6)
        assert row["time"] == pytest.approx(100 * 3 * 0.025 / 6)
        assert row["data"] == pytest.approx(100 * (3 * 0.5 - 2 * 0.3) / 6)
        assert row["main_factor"] == "age"
        assert row["main_cause"] == "data"
        assert found.parts.loc[("p", "pump"), "data"] == pytest.approx(-100 * 2 * 0.3 / 6)


class TestProperties:
    @settings(max_examples=30, deadline=None)
    @given(st.integers(0, 1000), st.floats(0, 10), st.floats(0.1, 9), st.booleans(), st.booleans())
    def test_nothing_is_left_over(
        self, seed: int, years: float, weight: float, dropped: bool, added: bool
    ) -> None:
        factors = [replace(AGE, weight=weight, curve=((5.0, 0.0), (30.0, 1.0))), WET]
        factors += [] if dropped else [PUMP]
        factors += [factor("more", "wet_depth_cm", 2.0)] if added else []
        model = Model("new", tuple(factors), 0.6, 0.0)
        found = run(inventory(), inventory(seed=seed), model, years=years)
        total = found.parts.groupby(level=0).sum().sum(axis=1)
        total = total.reindex(found.moves.index, fill_value=0.0)
        assert total.to_numpy() == pytest.approx(found.moves["change"].to_numpy(), abs=1e-9)
        causes = found.moves[list(CAUSES)].sum(axis=1)
        assert causes.to_numpy() == pytest.approx(found.moves["change"].to_numpy(), abs=1e-9)

    def test_only_time_passed(self) -> None:
        before = inventory()
        found = run(before, age_records(before, 3.0), years=3.0)
        assert found.moves[["data", "curves", "weights"]].abs().max().max() < 1e-12
        assert (found.moves["time"] >= 0).all()
        assert "time passed" in found.words[-1]

    def test_only_weights_changed(self) -> None:
        before = inventory()
        model = Model("new", (replace(AGE, weight=9.0), WET, PUMP), 0.6, 0.0)
        found = run(before, before, model, years=0.0)
        assert found.moves[["data", "curves", "time"]].abs().max().max() < 1e-12
        assert "weights changed" in found.words[-1]
        assert set(found.moves["main_cause"]) <= {"weights"}

    def test_nothing_changed(self) -> None:
        before = inventory()
        found = run(before, before, years=0.0)
        assert len(found.parts) == 0
        assert (found.moves["change"] == 0).all()
        assert (found.moves["main_cause"] == "").all()
        assert len(found.joined) == len(found.left) == 0

    def test_who_came_and_went(self) -> None:
        before = inventory()
        after = before.drop(index="p03").rename(index={"p04": "new"})
        after.loc["new", ["age_yr", "wet_depth_cm"]] = [80.0, 0.0]
        found = run(before, after, years=0.0)
        assert found.came.tolist() == ["new"]
        assert found.went.tolist() == ["p03", "p04"]
        assert "new" in found.joined
        assert len(found.moves) == 28


class TestPriorities:
    """Priority = share x failure + (1 - share) x groundwater, with everything changing at once."""

    WELL = factor("well", "well_m", 2.0, curve=((0.0, 1.0), (50.0, 0.0)), score="groundwater")
    DEEP = factor("deep", "wet_depth_cm", 1.0, curve=((0.0, 1.0), (90.0, 0.0)), score="groundwater")

    def both(self) -> tuple[Model, Model]:
        old = Model("old", (AGE, WET, PUMP, self.WELL, self.DEEP), 0.6, 0.0)
        return old, replace(old.with_weights({"age": 1.0, "well": 9.0}), failure_share=0.35)

    def run(self, old: Model, new: Model, seed: int = 1, years: float = 2.0):  # type: ignore[no-untyped-def]
        before, after = (
            inventory(seed=s).assign(well_m=np.random.default_rng(s + 9).uniform(0, 60, 30))
            for s in (0, seed)
        )
        return compare_priorities(
            before, after.iloc[2:], model_before=old, model_after=new, years=years, top=6
        )

    def test_nothing_is_left_over(self) -> None:
        found = self.run(*self.both())
        assert len(found.moves) == 28
        by_cause = found.moves[list(CAUSES)].sum(axis=1)
        assert np.allclose(by_cause, found.moves["change"], atol=1e-9)
        parts = found.parts.groupby(level="parcel_id").sum().sum(axis=1)
        assert np.allclose(parts.reindex(found.moves.index), found.moves["change"], atol=1e-9)
        assert list(found.went) == ["p00", "p01"]

    def test_only_the_share_changed(self) -> None:
        old, _ = self.both()
        found = self.run(old, replace(old, failure_share=0.5), seed=0, years=0.0)
        causes = found.moves[["data", "curves"]]
        assert np.allclose(causes, 0)
        weights = found.parts.xs(SHARES, level="factor")["weights"]
        assert np.allclose(weights.reindex(found.moves.index), found.moves["weights"])
        assert weights.abs().max() > 1

    def test_the_score_before_by_hand(self) -> None:
        old, new = self.both()
        found = self.run(old, new)
        row = inventory().assign(well_m=np.random.default_rng(9).uniform(0, 60, 30)).iloc[5]
        pumped = row["years_since_pumped_yr"]
        failure = (
            3 * min(row["age_yr"] / 40, 1) + max(1 - row["wet_depth_cm"] / 150, 0)
            + 2 * (0.5 if np.isnan(pumped) else pumped / 10)
        ) * 100 / 6  # fmt: skip
        water = 2 * max(1 - row["well_m"] / 50, 0) + max(1 - row["wet_depth_cm"] / 90, 0)
        want = 0.6 * failure + 0.4 * water * 100 / 3
        assert found.moves.loc["p05", "score_before"] == pytest.approx(want)
