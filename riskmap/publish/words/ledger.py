"""The ledger of a system as lines of text, and the chance that its last total stands for."""

from __future__ import annotations

from math import exp

import pandas as pd


def ledger_rows(ledgers: pd.DataFrame) -> dict[str, list[list[str]]]:
    """Rows of each ledger as people read them: words, term and sum so far, by parcel.

    Parameters
    ----------
    ledgers
        Of :func:`riskmap.condition.ledger.ledger`.
    """
    rows: dict[str, list[list[str]]] = {}
    for lot, words, term, total in zip(
        ledgers["parcel_id"],
        ledgers["words"],
        ledgers["log_odds"],
        ledgers["total"],
        strict=True,
    ):
        rows.setdefault(str(lot), []).append([str(words), f"{term:+.2f}", f"{total:+.2f}"])
    return rows


def ledger_lines(ledger: pd.DataFrame) -> list[str]:
    """Write a ledger: each term, the sum so far, and the chance at the end.

    Parameters
    ----------
    ledger
        One lot's rows of :func:`riskmap.condition.ledger.ledger`.
    """
    width = max(len(words) for words in ledger["words"])
    lines = [
        f"   {row['words'].ljust(width)}  {row['log_odds']:+6.2f}  = {row['total']:+6.2f}"
        for row in ledger.to_dict("records")
    ]
    total = float(ledger["total"].iloc[-1])
    return [
        "   log odds that it has failed: each line adds to the sum so far",
        *lines,
        f"   chance = 1 / (1 + exp({-total:.2f})) = {1 / (1 + exp(-total)):.3f}",
    ]
