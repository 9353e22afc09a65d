"""Whom a mailing means, whom the log and the budget leave out, and what it is expected to reach."""

from __future__ import annotations

import datetime

import pandas as pd
import pytest

from riskmap.action.mailing_settings import MailingSettings
from riskmap.action.outreach import (
    LEFT_OUT,
    expected_effect,
    keep_to_log_and_budget,
    letters_for,
    meant_by_rule,
    part_by_record,
)
from riskmap.contract.vocabulary import ON_FILE

ON = datetime.date(2026, 6, 1)


def county() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "rank": [3.0, 1.0, 2.0, None, 4.0],
            "priority_class": [ON_FILE, "highest", "lower", "high", ON_FILE],
            "pump_overdue_yr": [None, 2.0, 0.0, 5.0, 1.0],
            "neighborhood": ["N", "N", "S", "S", None],
            "worklist": [ON_FILE, "to find", "to find", None, ON_FILE],
            "chance_failed_frac": [0.5, 0.25, 0.1, None, 0.15],
        },
        index=list("abcde"),
    )


def meant(settings: MailingSettings) -> list[str]:
    zones = pd.Series({"a": "C01", "b": "N01"})
    found = meant_by_rule(county(), settings, zone_of=zones, with_wells={"b", "d"})
    return found.index[found].tolist()


def people(*ids: str, audience: str = "household") -> pd.DataFrame:
    return pd.DataFrame({"order": range(1, len(ids) + 1), "parcel_ids": ids, "audience": audience})


def log(*rows: tuple[str, str, str | None, str | None]) -> pd.DataFrame:
    table = pd.DataFrame(list(rows), columns=["parcel_ids", "audience", "sent_on", "answer"])
    return table.assign(sent_on=pd.to_datetime(table["sent_on"]))


class TestRule:
    @pytest.mark.parametrize(
        ("given", "whom"),
        [
            ({}, ["a", "b", "e"]),
            ({"to": "pump-out overdue"}, ["b", "e"]),
            ({"to": "well owners"}, ["b", "d"]),
            ({"zones": ("C01", "V09")}, ["a"]),
            ({"to": "well owners", "neighborhoods": ("S",)}, ["d"]),
            ({"zones": ("C01",), "neighborhoods": ("S",)}, []),
        ],
    )
    def test_who_is_meant(self, given: dict[str, object], whom: list[str]) -> None:
        assert meant(MailingSettings(**given)) == whom  # type: ignore[arg-type]

    def test_on_file_as_failed_are_put_apart(self) -> None:
        plain, failed = part_by_record(county(), "first on the list")
        assert plain.index.tolist() == ["b", "c", "d"]
        assert failed.index.tolist() == ["a", "e"]

    def test_a_wells_owner_gets_the_letter_about_the_well(self) -> None:
        plain, failed = part_by_record(county(), "well owners")
        assert len(plain) == 5
        assert failed.empty


class TestLog:
    def test_no_more_letters_holds_for_good_and_for_each_parcel(self) -> None:
        told = log(("b; c", "household", "2020-01-01", "no more letters"))
        found = keep_to_log_and_budget(people("a", "c; d"), told, MailingSettings(), on=ON)
        assert found.people["parcel_ids"].tolist() == ["a"]
        assert found.left_out["why"].tolist() == [LEFT_OUT[0]]

    def test_an_owners_wish_is_not_the_tenants(self) -> None:
        told = log(("a", "owner", "2020-01-01", "no more letters"))
        found = keep_to_log_and_budget(people("a"), told, MailingSettings(), on=ON)
        assert len(found.people) == 1

    @pytest.mark.parametrize(("sent", "kept"), [("2025-06-01", 1), ("2025-06-02", 0), (None, 1)])
    def test_nobody_is_written_to_again_within_a_year(self, sent: str | None, kept: int) -> None:
        told = log(("a", "household", sent, None))
        found = keep_to_log_and_budget(people("a"), told, MailingSettings(), on=ON)
        assert len(found.people) == kept
        assert found.left_out["why"].tolist() == [LEFT_OUT[1]] * (1 - kept)

    def test_the_budget_goes_to_the_first_that_are_left(self) -> None:
        told = log(("b", "household", "2026-05-01", None))
        settings = MailingSettings(budget=1.7, cost=0.8)
        found = keep_to_log_and_budget(people("a", "b", "c", "d"), told, settings, on=ON)
        assert found.people["parcel_ids"].tolist() == ["a", "c"]
        assert found.people["order"].tolist() == [1, 2]
        assert found.left_out["why"].tolist() == [LEFT_OUT[1], LEFT_OUT[2]]

    @pytest.mark.parametrize(
        ("budget", "cost", "letters"),
        [(None, 0.8, None), (0.0, 0.8, 0), (0.79, 0.8, 0), (24, 0.8, 30)],
    )
    def test_letters_that_a_budget_pays_for(
        self, budget: float | None, cost: float, letters: int | None
    ) -> None:
        assert letters_for(MailingSettings(budget=budget, cost=cost)) == letters

    def test_every_addressee_is_written_to_or_left_out_with_a_reason(self) -> None:
        told = log(("a", "household", "2026-05-01", None))
        found = keep_to_log_and_budget(
            people("a", "b", "c"), told, MailingSettings(budget=1, cost=1), on=ON
        )
        assert len(found.people) + len(found.left_out) == 3
        assert set(found.left_out["why"]) <= set(LEFT_OUT)


def test_a_budget_without_a_cost_is_refused() -> None:
    with pytest.raises(ValueError, match="give cost too"):
        MailingSettings(budget=100.0)


def test_expected_effect_is_the_sum_of_chances() -> None:
    """At random: of b and c, since a and e are on file and get another letter."""
    settings = MailingSettings(acting_frac=0.5, cost=2.0)
    found = expected_effect(people("b; c", "a"), county(), settings)
    assert found == pytest.approx(
        {"letters": 2, "systems": 3, "failing": 0.85, "failing_at_random": 0.525, "acting": 0.425,
         "cost": 4.0}
    )  # fmt: skip
    assert "acting" not in expected_effect(people("a"), county(), MailingSettings())
