"""The ledger of a system adds up to its chance."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from riskmap.condition.chances import IF_FAILED, odds_of
from riskmap.condition.fit import Fit
from riskmap.condition.ledger import COLUMNS, ledger
from riskmap.publish.words.ledger import ledger_lines
from tests.condition.simulate import FACTORS


@pytest.fixture(scope="module")
def book(fitted: Fit) -> pd.DataFrame:
    return ledger(fitted, fitted.model.lots.ids[::3], [name.title() for name in FACTORS])


def test_terms_add_up_to_the_last_digit(book: pd.DataFrame) -> None:
    assert tuple(book.columns) == COLUMNS
    for _, rows in book.groupby("parcel_id"):
        cents = (100 * rows["log_odds"]).round().astype(int)
        np.testing.assert_allclose(100 * rows["log_odds"], cents, atol=1e-6)
        assert cents.cumsum().tolist() == (100 * rows["total"]).round().astype(int).tolist()


def test_the_last_total_is_the_log_odds_of_the_chance(fitted: Fit, book: pd.DataFrame) -> None:
    odds = pd.Series(odds_of(fitted, IF_FAILED).middle, index=fitted.model.lots.ids)
    last = book.groupby("parcel_id")["total"].last()
    np.testing.assert_allclose(last, odds[last.index], atol=0.005001)


def test_every_record_of_the_present_system_has_its_line(fitted: Fit, book: pd.DataFrame) -> None:
    records = fitted.model.lots.records
    used = records[records["unused"].isna() & records["parcel_id"].isin(book["parcel_id"])]
    plain = used[~used["parcel_id"].isin(used.loc[used["kind"].eq("repair"), "parcel_id"])]
    told = book[book["what"] == "record"].groupby("parcel_id").size()
    assert told.reindex(plain["parcel_id"].unique()).eq(plain.groupby("parcel_id").size()).all()


def test_words_are_plain(fitted: Fit, book: pd.DataFrame) -> None:
    words = set(book["words"])
    assert any(text.startswith("complaint in May ") for text in words)
    assert any(text.startswith("found sound at a visit in May ") for text in words)
    complaints = book[book["words"].str.startswith("complaint in")]
    assert (complaints["log_odds"] > 0).mean() > 0.95
    sound = book[book["words"].str.startswith("found sound")]
    assert (sound["log_odds"] < 0).all()


def test_lines_end_in_the_chance(fitted: Fit, book: pd.DataFrame) -> None:
    one = book[book["parcel_id"] == book["parcel_id"].iloc[0]]
    lines = ledger_lines(one)
    chance = 1 / (1 + np.exp(-one["total"].iloc[-1]))
    assert lines[-1].endswith(f"= {chance:.3f}")
    assert len(lines) == len(one) + 2


def test_a_parcel_that_was_not_followed_is_an_error(fitted: Fit) -> None:
    with pytest.raises(KeyError):
        ledger(fitted, ["nobody"], list(FACTORS))
