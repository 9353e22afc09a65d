"""How picks fall across neighborhoods, against need, and what may never be a feature.

Need is the number of failures to be expected. A neighborhood that gets fewer picks than its share
of the need is named; so is a slant along income or tenure where a county gives such a column.
The column is used for this check only, never to rank.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.stats import spearmanr

from riskmap.contract.arrays import Floats
from riskmap.contract.errors import ModelError

PROTECTED: Final = frozenset(
    {
        "race", "racial", "ethnic", "ethnicity", "hispanic", "latino", "black", "white", "asian",
        "tribe", "tribal", "color", "religion", "religious", "faith", "national",
        "nationality", "immigrant", "immigration", "citizen", "citizenship", "birthplace",
        "language", "languages", "sex", "gender", "sexual", "disability", "disabled", "marital",
        "married", "familial", "pregnant", "veteran", "income", "poverty", "welfare", "tenure",
        "renter", "renters", "tenant", "owner", "surname", "senior", "elderly",
    }
)  # fmt: skip
"""Words that no feature's name may contain: protected classes of United States fair-housing law
(Fair Housing Act, from memory) and close substitutes for them."""

FEW_PICKS: Final = 5.0
"""Expected picks below which a neighborhood is not named: chance alone could do it."""

UNEVEN: Final = 0.05


def protected_features(names: Iterable[str]) -> list[str]:
    """Names that contain a protected word.

    >>> protected_features(["age_yr", "median_income_usd", "trace_frac", "OwnerName"])
    ['median_income_usd', 'OwnerName']
    """
    return [name for name in names if _words(name) & PROTECTED]


def refuse_protected(names: Iterable[str]) -> None:
    """Raise ModelError if a protected attribute, or a substitute for one, is a feature."""
    found = sorted(set(protected_features(names)))
    if found:
        raise ModelError(
            f"{', '.join(found)}: a protected attribute may not be used to rank or to learn. "
            "Take it out of the model; the fairness page shows how picks fall across it."
        )


def _words(name: str) -> set[str]:
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])", "_", name)
    return set(re.split(r"[^a-z]+", apart.lower()))


@dataclass(frozen=True)
class Fairness:
    """Result of :func:`compare_with_need`.

    ``table``, by neighborhood: ``systems, need_frac, picks, expected_picks, ratio, ratio_low,
    ratio_high, verdict``. ``slant`` is the rank correlation of the ratio with the given column
    (NaN without one) and ``slant_p`` its p-value. ``words`` are plain sentences.
    """

    table: pd.DataFrame
    slant: float
    slant_p: float
    words: tuple[str, ...]


def compare_with_need(
    neighborhood: pd.Series,
    need: Floats,
    picked: npt.NDArray[np.bool_],
    *,
    standing: pd.Series | None = None,
    what: str = "inspections",
) -> Fairness:
    """Compare where picks fall with where failures are to be expected.

    Parameters
    ----------
    neighborhood
        (n,) name of the neighborhood; missing counts as "unknown".
    need
        (n,) chance of failing, or another number that adds up to need; NaN counts as 0.
    picked
        (n,) whether the system is on the list.
    standing
        Optional, by neighborhood: income, share of tenants or the like.
    what
        Word for the picks.
    """
    frame = pd.DataFrame(
        {
            "place": neighborhood.astype("string").fillna("unknown").to_numpy(),
            "need": np.nan_to_num(need),
            "picked": np.asarray(picked, dtype=float),
        }
    )
    groups = frame.groupby("place", sort=True)
    table = pd.DataFrame(
        {"systems": groups.size(), "need": groups["need"].sum(), "picks": groups["picked"].sum()}
    )
    table["need_frac"] = table["need"] / max(float(table["need"].sum()), 1e-300)
    table["expected_picks"] = table["need_frac"] * table["picks"].sum()
    table = _with_verdict(table)
    slant, p = _slant(table, standing)
    words = (_places_sentence(table, what), *_slant_sentence(slant, p, standing, what))
    columns = [
        "systems", "need_frac", "picks", "expected_picks", "ratio", "ratio_low", "ratio_high",
        "verdict",
    ]  # fmt: skip
    return Fairness(table[columns], slant, p, words)


def _with_verdict(table: pd.DataFrame) -> pd.DataFrame:
    """Add the ratio of picks to expected picks with a 95% interval (Byar; Breslow, Day 1987)."""
    picks, expected = table["picks"], table["expected_picks"].clip(lower=1e-12)
    low = (
        picks * (1 - 1 / (9 * picks.clip(lower=1)) - 1.96 / (3 * np.sqrt(picks.clip(lower=1)))) ** 3
    )
    more = picks + 1
    high = more * (1 - 1 / (9 * more) + 1.96 / (3 * np.sqrt(more))) ** 3
    found = table.assign(
        ratio=picks / expected, ratio_low=low / expected, ratio_high=high / expected
    )
    verdict = np.select(
        [
            found["expected_picks"] < FEW_PICKS,
            found["ratio_high"] < 1,
            found["ratio_low"] > 1,
        ],
        ["too few to say", "fewer than its need", "more than its need"],
        "in line with its need",
    )
    return found.assign(verdict=verdict)


def _slant(table: pd.DataFrame, standing: pd.Series | None) -> tuple[float, float]:
    if standing is None:
        return float("nan"), float("nan")
    both = table.join(standing.rename("standing"), how="inner").dropna(subset=["standing", "ratio"])
    both = both[both["verdict"] != "too few to say"]
    if len(both) < 5 or both["standing"].nunique() < 2 or both["ratio"].nunique() < 2:
        return float("nan"), float("nan")
    found = spearmanr(both["standing"], both["ratio"])
    return float(found.statistic), float(found.pvalue)


def _places_sentence(table: pd.DataFrame, what: str) -> str:
    short = table.index[table["verdict"] == "fewer than its need"].tolist()
    judged = int((table["verdict"] != "too few to say").sum())
    if not judged:
        return f"There are too few {what} to compare neighborhoods."
    if not short:
        return f"In none of the {judged} neighborhoods compared do {what} fall short of need."
    return (
        f"In {len(short)} of {judged} neighborhoods {what} fall short of need: "
        f"{', '.join(map(str, short))}."
    )


def _slant_sentence(
    slant: float, p: float, standing: pd.Series | None, what: str
) -> tuple[str, ...]:
    if standing is None:
        return ()
    name = str(standing.name or "the given column").replace("_", " ")
    if np.isnan(slant):
        return (f"Too few neighborhoods to compare {what} with {name}.",)
    if p >= UNEVEN:
        return (f"No clear slant of {what} along {name} (rank correlation {slant:+.2f}).",)
    way = "more" if slant > 0 else "fewer"
    return (
        f"For equal need, neighborhoods with higher {name} get {way} {what} "
        f"(rank correlation {slant:+.2f}); look into why.",
    )
