"""Which column of a table feeds which column of a layer: by its name, then by its values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from functools import lru_cache
from typing import Final

import pandas as pd

from data_pipelines.keys import count_matches
from data_pipelines.values import as_text, plain_number
from riskmap.contract.columns import Column, Layer
from riskmap.starting.addresses import address_parts
from riskmap.starting.aliases import ALIASES, AVOIDED, NEUTRAL
from riskmap.starting.codes import Codes, look_at_codes
from riskmap.starting.dates import Dates, look_at_dates
from riskmap.starting.names import words_of
from riskmap.starting.units import Unit, look_at_unit, of_usual_size

SURE: Final = 0.8
"""Confidence from which a match stands without a mark."""
LIKELY: Final = 0.45
"""Confidence from which a match is written, marked to be looked at; below it is only offered."""
OFFERED: Final = 0.25
MARGIN: Final = 0.1
"""A match that another column of the table comes this near is marked."""
WORDS_FIT: Final = 0.97
"""Fit from which the words of a column say what it is, whatever its name."""
LEAST_FIT: Final = 0.6
LEAST_LIKENESS: Final = 0.55
MOST_COUNTED: Final = 100.0
"""Bedrooms, persons or dwellings of a parcel are hardly more."""
MOST_OFFERED: Final = 6
"""Columns offered to choose from."""
SHAPED: Final = {
    "address": r"^\d+\S*\s+\S+",
    "mail_address": r"^(\d+\S*\s+\S+|(?i:p\.? ?o\.? box).*)",
    "mail_zip": r"^\d{5}(-?\d{4})?$",
    "mail_state": r"^[A-Za-z]{2}$",
    "owner": r".*[A-Za-z]{2}",
    "mail_name": r".*[A-Za-z]{2}",
}
"""Columns whose cells have a shape that tells."""
PER_WORD: Final = 0.12
WEAK: Final = 0.6


@dataclass(frozen=True)
class Guess:
    """A source column for a canonical one.

    ``others`` are source columns that fit nearly as well; ``marks`` says what to look at before
    the line is relied on, empty where it is sure.
    """

    column: Column
    source: str
    confidence: float
    unit: Unit | None = None
    codes: Codes | None = None
    dates: Dates | None = None
    others: tuple[str, ...] = ()
    marks: tuple[str, ...] = ()
    and_columns: tuple[str, ...] = ()


def name_score(name: str, layer: str, column: str) -> float:
    """How well a source name says what a canonical column is, 0 to 1.

    >>> name_score("YR_BLT", "parcels", "year_built")
    1.0
    >>> name_score("SALE_PRICE", "parcels", "bedrooms")
    0.0
    """
    words = words_of(name)
    have = set(words)
    if not have or have & avoided(column):
        return 0.0
    if words == words_of(column) or name.lower() == column:
        return 1.0
    best = 0.0
    for place, phrase in enumerate(ALIASES.get(layer, {}).get(column, ())):
        wanted = set(words_of(phrase))
        if not wanted <= have:
            continue
        extra = have - wanted
        heavy = len(extra - NEUTRAL)
        score = 1.0 - PER_WORD * heavy - PER_WORD / 4 * (len(extra) - heavy) - 0.002 * place
        best = max(best, score * (WEAK if phrase.endswith("?") else 1.0))
    return best


@lru_cache
def avoided(column: str) -> frozenset[str]:
    """Plain words that say a name is not this column's."""
    return frozenset(word for said in AVOIDED.get(column, "").split() for word in words_of(said))


def value_score(raw: pd.Series, column: Column, known: pd.Series | None = None) -> float:
    """How well the values fit a canonical column, 0 to 1; 0.5 where they say nothing.

    Parameters
    ----------
    raw
        The source column.
    column
        The canonical column.
    known
        Keys of the layer that this column points to, where it points to one.
    """
    text = as_text(raw).dropna()
    if not len(text):
        return 0.3
    if known is not None:
        found = count_matches(text, known)
        return (found.as_they_stand + found.respelled) / max(found.keys, 1)
    if column.dtype == "text":
        return _text_score(text, column)
    number = plain_number(text)
    if column.unit == "calendar year":
        dated = look_at_dates(raw)
        years = number.between(1600, 2100) | number.eq(0)
        return float(years.mean()) if number.notna().mean() > 0.5 else dated.share
    if column.dtype == "date":
        return look_at_dates(raw).share
    if column.dtype == "flag":
        return look_at_codes(raw, column).share
    with_unit = text.str.match(r"^[-+]?[\d,]*\.?\d+\s*[A-Za-z'\"]+\.?$")
    numeric = float((number.notna() | with_unit).mean())
    return numeric if of_usual_size(number, column) else numeric / 2


def _text_score(text: pd.Series, column: Column) -> float:
    if column.domain:
        codes = look_at_codes(text, column)
        few = text.nunique() <= max(12, len(text) / 3)
        return (0.75 if few else 0.2) + 0.25 * codes.share
    if column.name in SHAPED:
        return 0.4 + 0.6 * float(text.str.match(SHAPED[column.name]).mean())
    if not column.nullable:
        return 0.3 + 0.7 * text.nunique() / len(text)
    return 1.0


def match_columns(
    frame: pd.DataFrame,
    layer: Layer,
    *,
    pointers: Mapping[str, pd.Series] | None = None,
    key_repeats: bool = False,
    lot_m2: float | None = None,
    taken: Sequence[str] = (),
    ask: bool = False,
) -> list[Guess]:
    """Match a table's columns to those of a layer, each at most once.

    Parameters
    ----------
    frame
        The table, columns as they stand.
    layer
        The layer it may be.
    pointers
        Canonical column -> keys of the layer it points to.
    key_repeats
        Whether several rows of one key are usual, as in an assessor's table.
    lot_m2
        Median size of the lots as drawn.
    taken
        Source columns that serve as coordinates.
    ask
        Whether to offer columns for those that no name fits.
    """
    pointers = pointers or {}
    scores: dict[tuple[str, str], float] = {}
    for column in layer.columns:
        for name in map(str, frame.columns):
            if name in taken:
                continue
            said = name_score(name, layer.name, column.name)
            known = pointers.get(column.name)
            if known is not None and (said or could_be_key(frame[name])):
                fits = value_score(frame[name], column, known)
                score = max(said * (0.7 + 0.3 * min(1.0, 2 * fits)), 0.85 * fits)
            elif said > 0:
                fits = value_score(frame[name], column)
                if key_repeats and not column.nullable:
                    fits = max(fits, 0.9)
                score = said * (0.4 + 0.6 * fits) if fits >= 0.3 else 0.2 * said
                if column.domain and fits > WORDS_FIT:
                    score = max(score, SURE + 0.05)
            else:
                continue
            if score >= OFFERED:
                scores[column.name, name] = score
    found = _like_neighbors(_assigned(frame, layer, scores, lot_m2=lot_m2))
    found = _in_order(_with_parted_address(found, frame, layer, taken), layer)
    if not ask:
        return found
    have, used = {guess.column.name for guess in found}, {guess.source for guess in found}
    return _in_order(found + _asked(frame, layer, have, used | set(taken), lot_m2), layer)


def _with_parted_address(
    guesses: list[Guess], frame: pd.DataFrame, layer: Layer, taken: Sequence[str]
) -> list[Guess]:
    """Where no whole address was found: the one that stands in two columns."""
    if "address" not in layer.column_names:
        return guesses
    column = layer.column("address")
    own = next((guess for guess in guesses if guess.column is column), None)
    if own is not None and value_score(frame[own.source], column) >= SURE:
        return guesses
    rest = [guess for guess in guesses if guess is not own]
    parts = address_parts(frame, [*taken, *(guess.source for guess in rest)])
    if parts is None:
        return guesses
    mark = ("an address in two columns, joined with a blank",)
    return [*rest, Guess(column, parts[0], LIKELY, marks=mark, and_columns=parts[1:])]


def _within(raw: pd.Series, column: Column) -> float:
    """Share of the numbers that a column of counts can hold; 1 for any other."""
    if column.unit != "count":
        return 1.0
    number = plain_number(as_text(raw)).dropna()
    low, high = column.low or 0.0, min(column.high or MOST_COUNTED, MOST_COUNTED)
    return float(number.between(low, high).mean()) if len(number) else 0.0


def could_be_key(raw: pd.Series) -> bool:
    """Whether most cells are filled and hold a digit, as the numbers of things do."""
    text = as_text(raw.head(200)).dropna()
    return len(text) > 0.3 * min(len(raw), 200) and bool(text.str.contains(r"\d").mean() > 0.9)


def _assigned(
    frame: pd.DataFrame,
    layer: Layer,
    scores: Mapping[tuple[str, str], float],
    *,
    lot_m2: float | None,
) -> list[Guess]:
    """Take the best pairs first; every column of either side once."""
    chosen: dict[str, str] = {}
    for wanted, name in sorted(scores, key=lambda pair: -scores[pair]):
        if wanted not in chosen and name not in chosen.values():
            chosen[wanted] = name
    found = []
    for column in layer.columns:
        if column.name not in chosen:
            continue
        name = chosen[column.name]
        confidence = scores[column.name, name]
        others = [
            other
            for (to, other), score in scores.items()
            if to == column.name and other != name and score > confidence - MARGIN
            if other not in chosen.values()
        ]
        guess = _described(frame[name], name, column, confidence, tuple(others), lot_m2)
        found.append(guess)
    return found


def _in_order(guesses: list[Guess], layer: Layer) -> list[Guess]:
    order = layer.column_names
    return sorted(guesses, key=lambda guess: order.index(guess.column.name))


def _asked(
    frame: pd.DataFrame,
    layer: Layer,
    have: set[str],
    used: set[str],
    lot_m2: float | None,
) -> list[Guess]:
    """For columns that no name fits: which of the columns left could it be, by values and letters.

    The same column may be offered for several; nothing of it is used before somebody says so.
    """
    left = [str(name) for name in frame.columns if str(name) not in used]
    found = []
    for column in layer.columns:
        if column.name in have:
            continue
        near = {name: _nearness(name, frame[name], layer.name, column) for name in left}
        best = sorted((name for name in near if near[name] > 0), key=lambda name: -near[name])
        if best:
            offered = _described(
                frame[best[0]], best[0], column, OFFERED, tuple(best[1:MOST_OFFERED]), lot_m2
            )
            found.append(replace(offered, marks=("which column is it?",)))
    return found


def _nearness(name: str, raw: pd.Series, layer: str, column: Column) -> float:
    """How likely a column that is named otherwise is the one wanted, 0 to 1."""
    words = set(words_of(name))
    if words & avoided(column.name):
        return 0.0
    letters = "".join(c for c in name.lower() if c.isalpha())
    phrases = [phrase.rstrip("?") for phrase in ALIASES.get(layer, {}).get(column.name, ())]
    alike = max(
        (SequenceMatcher(None, letters, p.replace(" ", "")).ratio() for p in phrases), default=0.0
    )
    told = [set(words_of(phrase)) for phrase in phrases]
    shared = max((len(words & wanted) / len(wanted) for wanted in told), default=0.0)
    if column.private and not shared:
        return 0.0
    fits = value_score(raw, column) * _within(raw, column)
    if fits < LEAST_FIT:
        return 0.0
    telling = column.dtype == "date" or column.name in SHAPED or column.unit == "calendar year"
    telling = telling or (bool(column.domain) and look_at_codes(raw, column).share > LEAST_FIT)
    telling = telling or (not column.nullable and could_be_key(raw) and fits > SURE)
    likeness = max(alike if alike > LEAST_LIKENESS else 0.0, 0.9 * shared)
    return fits * max(likeness, 0.3 * telling)


def _like_neighbors(guesses: list[Guess]) -> list[Guess]:
    """Units that a name does not tell, taken from the other columns of the table that tell one."""
    told: dict[str, set[str]] = {}
    for guess in guesses:
        if guess.unit is not None and guess.unit.sure:
            told.setdefault(guess.column.unit, set()).add(guess.unit.word)
    result = []
    for guess in guesses:
        words = told.get(guess.column.unit, set())
        if guess.unit is not None and not guess.unit.sure and words == {guess.unit.word}:
            unit = Unit(guess.unit.word, sure=True, evidence="as the columns beside it")
            marks = tuple(mark for mark in guess.marks if not mark.startswith("unit:"))
            guess = replace(guess, unit=unit, marks=marks)
        result.append(guess)
    return result


def _described(
    raw: pd.Series,
    name: str,
    column: Column,
    confidence: float,
    others: tuple[str, ...],
    lot_m2: float | None,
) -> Guess:
    """Add unit, codes and dates to a match, and what there is to look at."""
    unit = look_at_unit(name, raw, column, lot_m2=lot_m2)
    coded = column.dtype == "flag" or bool(column.domain)
    codes = look_at_codes(raw, column) if coded else None
    dates = look_at_dates(raw) if column.dtype == "date" else None
    marks = []
    if confidence < SURE:
        marks.append("is this the right column?")
    if others:
        marks.append(f"or {', '.join(others[:3])}?")
    if unit is not None and not unit.sure:
        marks.append(f"unit: {unit.evidence}")
    if dates is not None and not dates.sure:
        marks.append(f"dates: {dates.evidence}")
    if codes is not None and codes.unknown:
        marks.append(f"{len(codes.unknown)} codes are not known")
    return Guess(column, name, confidence, unit, codes, dates, others, tuple(marks))
