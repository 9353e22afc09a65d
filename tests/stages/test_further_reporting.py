"""What reaches the reader: sections, lists, the order of the list."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from riskmap.publish.lists.further_lists import (
    changes_list,
    learned_reasons_list,
    learned_reasons_table,
)
from riskmap.publish.lists.list_columns import list_table
from riskmap.publish.report.fairness import fairness_section
from riskmap.publish.report.further import further_sections
from riskmap.publish.report.learning import learning_section, service_section
from riskmap.publish.report.section import Figure, Table
from riskmap.ranking.explanations import Explanation
from riskmap.ranking.fairness import compare_with_need
from riskmap.ranking.service_classifier import Service, ServiceAccuracy
from riskmap.ranking.validation import Comparison
from riskmap.stages.listing import as_listed, in_list_order, list_length
from riskmap.stages.result import Result


def test_order_by_chance(assessed: Result) -> None:
    listed = in_list_order(assessed.parcels, "chance")
    rows = listed[listed["rank"].notna()].sort_values("rank")
    assert rows["rank"].tolist() == list(range(1, len(rows) + 1))
    assert rows["top_chance"].is_monotonic_decreasing
    same = rows.groupby("top_chance")["priority_rank"]
    assert same.apply(lambda ranks: ranks.is_monotonic_increasing).all()
    assert not rows["priority_rank"].equals(rows["rank"])
    assert in_list_order(assessed.parcels, "priority") is assessed.parcels
    bare = assessed.parcels.drop(columns="top_chance")
    assert in_list_order(bare, "chance") is bare


def test_list_shows_range_and_chance_and_only_speaks_of_learning_where_it_spoke(
    assessed: Result,
) -> None:
    listed = as_listed(assessed.parcels, "chance")
    table = list_table(listed, units="us")
    assert {"priority_low", "priority_high", "top_chance", "priority_rank"} <= set(table)
    assert table["top_chance"].dropna().between(0, 100).all()
    assert table["top_chance"].max() > 1
    assert "decided_by" not in table
    ranges = table[["priority_low", "priority_high"]].dropna()
    assert (ranges["priority_low"] <= ranges["priority_high"]).all()
    listed = list_table(
        as_listed(assessed.parcels.assign(decided_by="classifier"), "priority"), units="us"
    )
    assert listed["decided_by"].eq("classifier").all()


def test_a_list_is_as_long_as_asked_and_no_longer_than_the_ranked(assessed: Result) -> None:
    ranked = int(assessed.parcels["rank"].notna().sum())
    for rows, want in ((10, 10), (0, ranked), (10**6, ranked)):
        lists = replace(assessed.region.lists, inspections=rows)
        assert list_length(assessed.parcels, lists) == want


def test_a_run_without_learning_has_fairness_and_says_how_to_backtest(
    assessed: Result, tmp_path: Path
) -> None:
    titles = [section.title for section in further_sections(assessed)]
    assert titles == [
        "What an earlier list would have found", "How picks fall across neighborhoods",
    ]  # fmt: skip
    changes_list(tmp_path, assessed)
    learned_reasons_list(tmp_path, assessed)
    assert list(tmp_path.iterdir()) == []


def test_learned_reasons_add_up_as_written(assessed: Result) -> None:
    ids = assessed.parcels.index[assessed.parcels["rank"].notna()][:9]
    rng = np.random.default_rng(0)
    shares = pd.DataFrame(rng.normal(size=(9, 3)), index=ids, columns=["a", "b", "c"])
    parcels = assessed.parcels.assign(learned_chance_frac=0.1)
    table = learned_reasons_table(parcels, Explanation(shares, -2.123456789))
    by_hand = table[["base", "a", "b", "c"]].sum(axis=1)
    assert np.allclose(by_hand, table["log_odds"], atol=5e-7)
    assert table["rank"].is_monotonic_increasing


def test_fairness_picture_has_every_judged_place() -> None:
    place = pd.Series(["north <i>"] * 50 + ["south"] * 50 + ["tiny"] * 2)
    picked = np.r_[np.arange(50) < 10, np.arange(50) < 30, [False, False]]
    found = compare_with_need(place, np.repeat([0.3, 0.1, 0.1], [50, 50, 2]), picked)
    section = fairness_section({"inspections": found})
    text, figure, table = section.blocks
    assert isinstance(text, str)
    assert "fall short of need: north" in text
    assert isinstance(figure, Figure)
    assert "north" in figure.svg
    assert "south" in figure.svg
    assert "tiny" not in figure.svg
    assert "<i>" not in figure.svg
    assert isinstance(table, Table)
    assert len(table.rows) == 3
    box = re.search(r'viewBox="0 0 ([\d.]+) ', figure.svg)
    words = re.search(r'x="([\d.]+)"[^>]*>more than its need<', figure.svg)
    assert box
    assert words
    width = 0.62 * 8.5 * len("more than its need")  # the face used is about 0.6 em wide
    assert float(words[1]) + width < float(box[1])


@pytest.fixture
def comparison() -> Comparison:
    names = ("oldest_first", "soil_rule", "score", "logistic", "boosting", "score_and_learning")
    figures = ("average_precision", "lift_5%", "lift_10%", "lift_20%", "found_per_100_visits",
               "brier")  # fmt: skip
    rows = [(n, f, 0.2, 0.1, 0.3) for n in names for f in figures]
    table = pd.DataFrame({"said": [0.1, 0.4], "found": [0.12, 0.31], "visits": [50, 50]})
    learned = names[3:]
    return Comparison(
        figures=pd.DataFrame(rows, columns=["contender", "figure", "value", "low", "high"]),
        differences=pd.DataFrame({"contender": learned, "difference": 0.0, "low": -0.1}),
        optimism=pd.DataFrame(
            {"contender": learned, "random_split": 0.3, "held_out_blocks": 0.2}
        ),
        reliability=dict.fromkeys(names, table),
        failures=20, visits=100, blocks=16,
    )  # fmt: skip


def test_learning_section_shows_all_six_rankings(comparison: Comparison) -> None:
    section = learning_section(("The score is kept.",), comparison)
    assert section.blocks[0] == "The score is kept."
    tables = [block for block in section.blocks if isinstance(block, Table)]
    assert [len(table.rows) for table in tables] == [6, 6, 3]
    assert tables[0].rows[0][1] == "0.2 (0.1 to 0.3)"
    figure = section.blocks[-1]
    assert isinstance(figure, Figure)
    assert "predicted 10%, found 12%" in figure.words
    assert len(learning_section(("Declined.",), None).blocks) == 1


def test_service_section_has_the_published_accuracies() -> None:
    accuracy = ServiceAccuracy(500, 0.9, 0.8, 0.95, 0.97, 0.02, 0.03)
    section = service_section(
        Service(pd.DataFrame(), accuracy, accuracy.words), filled=40, open_before=50
    )
    table = section.blocks[1]
    assert isinstance(table, Table)
    assert [row[1] for row in table.rows] == ["90.0%", "97.0%", "91.8%", "81.9%"]
    assert "50 built parcels" in str(section.blocks[0])
