"""What visits found since, held against an earlier list."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest

from riskmap.action.hindsight import (
    ALL_REASONS,
    EVERYBODY,
    NO_TROUBLE,
    UNPROMPTED,
    first_visits,
    hindsight,
    not_known_then,
    words_of,
)

THEN, NOW = pd.Timestamp("2020-06-01"), pd.Timestamp("2025-06-01")


def visits(*rows: tuple[str, str, str | None, str | None]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=["parcel_id", "date", "reason", "stage"])
    return table.assign(date=pd.to_datetime(table["date"]))


def a_county(count: int = 600, seed: int = 4) -> tuple[pd.DataFrame, pd.DataFrame]:
    draw = np.random.default_rng(seed)
    names = [f"P{n:03d}" for n in range(count)]
    worklist = np.where(np.arange(count) % 30 == 0, "on file", "to find").astype(object)
    worklist[-40:] = None
    then = pd.DataFrame(
        {"worklist": worklist, "chance_failed_frac": draw.beta(0.5, 3, count)},
        index=pd.Index(names, name="parcel_id"),
    )
    rank = then["chance_failed_frac"].groupby(then["worklist"]).rank(ascending=False)
    then["list_rank"] = rank.astype("Int64")
    rows = [
        (str(name), str(THEN + pd.Timedelta(days=int(day)))[:10], str(reason), str(stage))
        for name, day, reason, stage in zip(
            draw.choice(names, 300),
            draw.integers(-500, 2300, 300),
            draw.choice(["complaint", "sale", "routine", "audit", "repair"], 300),
            draw.choice(["failed", "sound", "stressed"], 300, p=[0.3, 0.5, 0.2]),
            strict=True,
        )
    ]
    return then, visits(*rows)


class TestFirstVisits:
    def test_the_first_one_after_the_day_counts(self) -> None:
        found = first_visits(
            visits(
                ("a", "2020-06-01", "audit", "failed"),  # the day itself is known then
                ("a", "2021-01-01", "sale", "sound"),
                ("a", "2022-01-01", "complaint", "failed"),
                ("b", "2025-06-01", None, "failed"),
                ("c", "2025-06-02", "audit", "failed"),  # after the run
                ("d", "2023-01-01", "audit", None),  # says nothing
                ("e", "2023-01-01", "repair", "failed"),  # sees the work
            ),
            THEN,
            NOW,
        )
        assert found["failed"].to_dict() == {"a": False, "b": True}
        assert found["reason"].to_dict() == {"a": "sale", "b": "unknown"}

    def test_of_one_day_the_worst_counts(self) -> None:
        same = [("a", "2021-01-01", "sale", word) for word in ("sound", "failed")]
        assert first_visits(visits(*same), THEN, NOW)["failed"].tolist() == [True]


class TestHindsight:
    def test_by_enumeration(self) -> None:
        then, told = a_county()
        found = first_visits(told, THEN, NOW)
        table = hindsight(then, found).set_index(["systems", "reason"])
        order = then[then["worklist"] == "to find"].sort_values("list_rank").index
        parts = {f"first {n} to find": set(order[:n]) for n in (50, 100, 200)}
        parts["on file then"] = set(then.index[then["worklist"] == "on file"])
        parts[EVERYBODY] = set(then.index[then["worklist"].notna()])
        for (part, reason), row in table.iterrows():
            own = [
                (failed, then.loc[name, "chance_failed_frac"])
                for name, why, failed in found.itertuples()
                if name in parts[part]
                and (reason == ALL_REASONS or why == reason
                     or (reason == NO_TROUBLE and why in UNPROMPTED))
            ]  # fmt: skip
            assert row["listed"] == len(parts[part])
            assert row["visited"] == len(own)
            assert row["failed"] == sum(failed for failed, _ in own)
            assert row["expected"] == pytest.approx(sum(chance for _, chance in own))
            if own:
                low, high = binomtest(int(row["failed"]), len(own)).proportion_ci(0.95, "exact")
                assert (row["low"], row["high"]) == pytest.approx((low, high), abs=1e-9)

    def test_words_say_how_few_visits_they_rest_on(self) -> None:
        then, told = a_county()
        table = hindsight(then, first_visits(told, THEN, NOW))
        row = table[(table["systems"] == "first 200 to find") & (table["reason"] == ALL_REASONS)]
        said = words_of(table, head=200)[1]
        assert f"It rests on {row['visited'].iloc[0]} visits." in said
        assert "surely more" not in said  # findings were drawn without regard to the list

    def test_no_visit_to_the_list(self) -> None:
        then, _ = a_county()
        found = first_visits(visits(("P599", "2021-01-01", "audit", "failed")), THEN, NOW)
        table = hindsight(then, found)
        assert table["visited"].sum() == 0
        assert "No visit" in words_of(table, head=50)[0]
        assert not_known_then(then, found) == 1
