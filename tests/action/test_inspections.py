from __future__ import annotations

import numpy as np
import pandas as pd

from riskmap.action.inspections import ALWAYS, MOST_PROMPTS, inspection_stops, look_for
from riskmap.contract.features import COLUMNS


def ranked(count: int) -> pd.DataFrame:
    rng = np.random.default_rng(2)
    table = pd.DataFrame(
        {
            "worklist": "to find",
            "list_rank": pd.array(rng.permutation(count) + 1, "Int64"),
            "x_m": rng.random(count) * 1e4,
            "y_m": rng.random(count) * 1e4,
            "age_yr": rng.random(count) * 60,
        },
        index=pd.Index([f"P{n}" for n in range(count)], name="parcel_id"),
    )
    table.loc["P3", "list_rank"] = pd.NA
    table.loc["P4", "x_m"] = np.nan
    return table


def test_the_first_ranked_are_visited() -> None:
    table = ranked(50)
    plan = inspection_stops(table, stops=20, followup_frac=0.1, per_day=6)
    able = table[table["list_rank"].notna() & table["x_m"].notna()].sort_values("list_rank")
    assert set(plan.index) == set(able.index[:20])
    assert plan["day"].is_monotonic_increasing
    assert plan["day"].max() == 4
    assert len(inspection_stops(table, stops=0, followup_frac=0.1)) == 48


def test_order_of_rows_does_not_matter() -> None:
    table = ranked(50)
    plan = inspection_stops(table, stops=20, followup_frac=0.1)
    other = inspection_stops(table.sample(frac=1, random_state=1), stops=20, followup_frac=0.1)
    pd.testing.assert_frame_equal(plan, other)


def test_follow_ups_get_their_share_of_the_stops() -> None:
    table = ranked(50)
    owed = table.index[10:25]
    table.loc[owed, "worklist"] = "on file"
    table["list_rank"] = table.groupby("worklist")["list_rank"].rank().astype("Int64")
    plan = inspection_stops(table, stops=20, followup_frac=0.25)
    assert plan["worklist"].value_counts().to_dict() == {"to find": 15, "on file": 5}
    assert set(plan.loc[plan["worklist"] == "on file", "list_rank"]) == {1, 2, 3, 4, 5}
    assert plan.loc[plan["day"] == 1, "list_rank"].min() == 1


def test_nothing_ranked_gives_no_stop() -> None:
    assert inspection_stops(ranked(5).assign(list_rank=pd.NA), stops=5, followup_frac=0.1).empty


def test_prompts_follow_the_features() -> None:
    table = pd.DataFrame(
        {
            "age_yr": [40.0, 5.0, np.nan],
            "kind": ["cesspool", "trench", None],
            "complaints": pd.array([2, 0, pd.NA], "Int64"),
            "well_distance_m": [20.0, 31.0, np.nan],
        }
    )
    first, second, third = look_for(table)
    assert first[:2] == second == third == ALWAYS
    assert len(first) == 6
    assert any("well" in words for words in first)


def test_the_most_urgent_prompts_come_first_and_stay_few() -> None:
    worst = {"last_stage": "failed", "kind": "cesspool", "flood_zone": "floodway"}
    least = {column.name: prompt.least for column in COLUMNS.values() for prompt in column.prompts}
    row = {name: worst.get(name, 0.0 if limit is None else limit) for name, limit in least.items()}
    (words,) = look_for(pd.DataFrame([row]))
    assert len(words) == MOST_PROMPTS
    assert words[len(ALWAYS)].startswith("What became of the trouble")


def test_words_of_prompts_are_those_of_the_contract() -> None:
    for column in COLUMNS.values():
        for prompt in column.prompts:
            assert set(prompt.among) <= set(column.domain)
            assert prompt.among or (prompt.least is None) != (prompt.most is None)
