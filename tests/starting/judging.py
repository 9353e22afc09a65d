"""Judges what was recognized against the right answers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path

from riskmap.starting.columns import LIKELY, Guess
from riskmap.starting.layers import Findings, recognize
from riskmap.starting.opening import open_all


def judge(files: Sequence[Path], truth: Mapping[str, Mapping[str, str]]) -> dict[str, list[str]]:
    """Sort every column into right, asked, missed and wrong (a wrong line without a mark)."""
    found = recognize(open_all(files))
    told: dict[str, list[str]] = {"right": [], "asked": [], "missed": [], "wrong": []}
    for layer, columns in truth.items():
        guesses = guesses_of(found, layer)
        for column, answer in columns.items():
            told[verdict(guesses.get(column), answer)].append(
                f"{layer}.{column} <- {answer}; got {shown(guesses.get(column))}"
            )
        for column, guess in guesses.items():
            if column not in columns and not guess.marks and guess.confidence >= LIKELY:
                told["wrong"].append(f"{layer}.{column} <- nothing; got {shown(guess)}")
    return told


def guesses_of(found: Findings, layer: str) -> dict[str, Guess]:
    one = next((one for one in found.layers if one.layer == layer), None)
    return {} if one is None else {guess.column.name: guess for guess in one.guesses}


def verdict(guess: Guess | None, answer: str) -> str:
    source, _, more = answer.partition("|")
    if guess is None:
        return "missed"
    doubts = [mark for mark in guess.marks if not mark.endswith("codes are not known")]
    got = " ".join(guess.dates.formats) if guess.dates is not None else None
    got = guess.unit.word if guess.unit is not None else got
    if guess.source == source and (not more or got == more):
        return "right"
    if doubts or guess.confidence < LIKELY:
        return "asked" if source in (guess.source, *guess.others) else "missed"
    return "wrong"


def shown(guess: Guess | None) -> str:
    if guess is None:
        return "nothing"
    unit = guess.unit.word if guess.unit else ""
    return f"{guess.source} {guess.confidence:.2f} {unit} {'; '.join(guess.marks)}"


def shares(told: Mapping[str, list[str]]) -> Counter[str]:
    return Counter({name: len(lines) for name, lines in told.items()})
