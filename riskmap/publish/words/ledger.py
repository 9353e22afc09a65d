"""The ledger of a system as lines of text, and the chance that its last total stands for."""

from __future__ import annotations

from math import exp
from typing import Final

import pandas as pd

MOST_TERMS: Final = 9
"""Terms of a ledger that stand by themselves on paper; the card and `explain` have them all."""


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


def ledger_sums(ledgers: pd.DataFrame) -> dict[str, str]:
    """Write each ledger as one sum: its terms, what they add up to, and the chance, by parcel.

    Only the :data:`MOST_TERMS` largest stand by themselves. All others are one term, which makes
    the printed terms add up to the printed sum.

    Parameters
    ----------
    ledgers
        Of :func:`riskmap.condition.ledger.ledger`.
    """
    sums = {}
    for lot, rows in ledger_rows(ledgers).items():
        total = rows[-1][2]
        largest = sorted(range(len(rows)), key=lambda n: -abs(float(rows[n][1])))[:MOST_TERMS]
        shown = [(rows[n][0], rows[n][1]) for n in sorted(largest)]
        if len(rows) > MOST_TERMS:
            rest = float(total) - sum(float(term) for _, term in shown)
            shown.append(("all others together", f"{rest:+.2f}"))
        terms = "; ".join(f"{words} {term}" for words, term in shown)
        sums[lot] = f"{terms}; sum {total}, which is a chance of {chance_of(float(total)):.3f}."
    return sums


def chance_of(log_odds: float) -> float:
    """Chance that log odds stand for.

    >>> round(chance_of(-1.10), 3)
    0.25
    """
    return 1 / (1 + exp(-log_odds))


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
        f"   chance = 1 / (1 + exp({-total:.2f})) = {chance_of(total):.3f}",
    ]
