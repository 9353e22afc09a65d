"""Numbers that name a thing, spelled in two ways: found again without signs, zeros or a ".0".

An assessor writes ``13-25-0316``, a permit office ``13250316``, a spreadsheet ``13250316.0``. A key
that is found as it stands is left alone. Of the others, one is taken for another's only if no
second one could be meant.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Final, NamedTuple

import pandas as pd


def _plain(key: str) -> str:
    return re.sub(r"\.0+$", "", key.strip()).casefold()


def _without_signs(key: str) -> str:
    return re.sub(r"[\W_]+", "", _plain(key))


def _without_zeros(key: str) -> str:
    parts = re.split(r"[\W_]+", _plain(key))
    return "-".join(part.lstrip("0") or "0" for part in parts if part)


def _bare(key: str) -> str:
    return _without_signs(key).lstrip("0")


SPELLINGS: Final[Mapping[str, Callable[[str], str]]] = {
    "without case, blanks and a decimal .0": _plain,
    "without signs": _without_signs,
    "without leading zeros of each part": _without_zeros,
    "without signs and leading zeros": _bare,
}
"""How keys are compared, the mildest first."""

LEAST_LETTERS: Final = 3
"""Shorter keys say too little once their signs are gone."""


class Found(NamedTuple):
    """Keys found again: ``keys`` in the other table's spelling, ``spelling`` how each was found.

    Both have the index of the keys asked for; what was not found keeps its own spelling, and where
    nothing was changed ``spelling`` is missing.
    """

    keys: pd.Series
    spelling: pd.Series


def find_keys(keys: pd.Series, known: pd.Series) -> Found:
    """Find keys among known ones, spelled as they stand or otherwise.

    Parameters
    ----------
    keys, known
        Keys as text; missing ones are left missing.

    Examples
    --------
    >>> known = pd.Series(["13-25-0316", "13-25-0317"])
    >>> found = find_keys(pd.Series(["13250316.0", "13-25-0317", "99"]), known)
    >>> found.keys.tolist()
    ['13-25-0316', '13-25-0317', '99']
    >>> found.spelling.fillna("").tolist()
    ['without signs', '', '']
    """
    distinct = pd.Series(known.dropna().astype("string").unique(), dtype="string")
    wanted = pd.Series(keys.dropna().astype("string").unique(), dtype="string")
    lost = wanted[~wanted.isin(distinct)]
    taken: dict[str, tuple[str, str]] = {}
    for spelling, fold in SPELLINGS.items():
        if not len(lost):
            break
        folded = distinct.map(fold)
        once = ~folded.duplicated(keep=False) & (folded.str.len() >= LEAST_LETTERS)
        by_fold = dict(zip(folded[once], distinct[once], strict=True))
        hits = {key: by_fold[fold(key)] for key in lost if fold(key) in by_fold}
        taken |= {key: (other, spelling) for key, other in hits.items()}
        lost = lost[~lost.isin(list(hits))]
    text = keys.astype("string")
    respelled = text.map({key: other for key, (other, _) in taken.items()}).astype("string")
    how = text.map({key: spelling for key, (_, spelling) in taken.items()}).astype("string")
    return Found(respelled.fillna(text), how)


class Matched(NamedTuple):
    """How a table's keys were found in another: numbers of distinct keys."""

    keys: int
    as_they_stand: int
    respelled: int


def count_matches(keys: pd.Series, known: pd.Series) -> Matched:
    """Count the distinct keys that are found as they stand, and those found in another spelling.

    >>> count_matches(pd.Series(["1-02", "103", "9"]), pd.Series(["1-02", "1-03"]))
    Matched(keys=3, as_they_stand=1, respelled=1)
    """
    distinct = pd.Series(keys.dropna().astype("string").unique(), dtype="string")
    found = find_keys(distinct, known)
    return Matched(
        len(distinct),
        int(distinct.isin(known.dropna().astype("string")).sum()),
        int(found.spelling.notna().sum()),
    )
