"""A plain reader of the map's packed files, decision by decision, as the format's words say.

It shares no code with the packer or the page: what both write and read is held against it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

LETTERS = [c for c in range(127) if c not in (0, 10, 13, 26, 34, 60, 92)][:120]
DIGIT = {letter: digit for digit, letter in enumerate(LETTERS)}
GROUPS = ((4, 0, 2), (8, 4, 2), (16, 8, 3), (32, 16, 4))
"""Places of a number's length: where the group's tree lies, its first length, its bits."""


class Decoder:
    """Digits of base 120; a place holds how likely a 1 is (of 2**20) and how often it was asked."""

    def __init__(self, text: str) -> None:
        self.digits = iter([DIGIT[ord(letter)] for letter in text])
        self.range = 120**4
        self.code = 0
        for _ in range(4):
            self.code = self.code * 120 + next(self.digits, 0)
        self.places: dict[Any, tuple[int, int]] = {}

    def refill(self) -> None:
        while self.range < 120**3:
            self.range *= 120
            self.code = self.code * 120 + next(self.digits, 0)

    def bit(self, place: Any) -> int:
        chance, asked = self.places.get(place, (2**19, 0))
        bound = self.range // 4096 * (chance // 256 | 1)
        rate = round(1024 / (asked + 1.6))
        bit = int(self.code < bound)
        if bit:
            self.range = bound
            chance += (2**20 - 1 - chance) * rate // 1024
        else:
            self.code -= bound
            self.range -= bound
            chance += -chance * rate // 1024
        self.places[place] = (chance, min(asked + 1, 255))
        self.refill()
        return bit

    def tree(self, place: Any, bits: int) -> int:
        node = 1
        for _ in range(bits):
            node = 2 * node + self.bit((place, node))
        return node - 2**bits

    def even(self, bits: int) -> int:
        value = 0
        while bits:
            part = min(bits, 8)
            step = self.range // 2**part
            found = self.code // step
            self.code -= found * step
            self.range = step
            self.refill()
            value, bits = value * 2**part + found, bits - part
        return value

    def number(self, place: Any) -> int:
        group = 0
        while group < 3 and self.bit((place, "group", group)):
            group += 1
        _, first, bits = GROUPS[group]
        length = first + self.tree((place, "length", group), bits)
        lead = min(length, 2)
        value = 2**lead + self.tree((place, "lead", length), lead)
        return value * 2 ** (length - lead) + self.even(length - lead) - 1

    def signed(self, place: Any) -> int:
        coded = self.number(place)
        return -(coded // 2) - 1 if coded % 2 else coded // 2


def length_of(value: int) -> int:
    return (value + 1).bit_length() - 1


class PackedFile:
    """Header and streams of one script."""

    def __init__(self, script: str) -> None:
        start = script.index("]=[") + 3
        self.header, end = json.JSONDecoder().raw_decode(script[start:])
        self.text = script[start + end + 2 : -4]
        assert script[start + end : start + end + 2] == ',"'
        assert script.endswith('"];\n')

    def stream(self, place: Sequence[int]) -> Decoder:
        return Decoder(self.text[place[0] : place[0] + place[1]])

    def numbers(self, place: Sequence[int]) -> list[int]:
        decoder, before, out = self.stream(place), 0, []
        for _ in range(place[2]):
            before = decoder.number(min(31, length_of(before)))
            out.append(before)
        return out

    def words(self, held: list[Any]) -> list[str]:
        """A list of words as it stands, or from its stream."""
        if not held or isinstance(held[0], str):
            return held
        decoder, out = self.stream(held), bytearray(3)
        for _ in range(held[2]):
            context = (out[-3] * 65536 + out[-2] * 256 + out[-1]) % 4093
            out.append(decoder.tree(context, 8))
        return out[3:].decode("utf-8").split("\n")

    def all_words(self) -> Iterator[str]:
        """Every word of every column, wherever it lies."""

        def within(part: Any) -> Iterator[str]:
            if isinstance(part, dict):
                if "words" in part:
                    yield from self.words(part["words"])
                for value in part.values():
                    yield from within(value)
            elif isinstance(part, list):
                for value in part:
                    yield from within(value)

        yield from within(self.header)


def column_values(
    decoder: Decoder, about: dict[str, Any], count: int, others: dict[int, tuple[list[int], int]]
) -> list[int]:
    """Values of a column; `others` are the columns it is told from, with their sizes."""
    size, out = about["size"], []
    bits = max(1, (max(size, 1) - 1).bit_length())
    most = 24 if len(about["context"]) == 1 else 12
    seen: list[dict[Any, int]] = [{} for _ in about["guesses"]]
    sure: list[dict[Any, int]] = [{} for _ in about["guesses"]]
    lately = 0
    for row in range(count):
        keys = [key_of([others[number] for number in parents], row) for parents in about["guesses"]]
        guesses = [known.get(key) for known, key in zip(seen, keys, strict=True)]
        value = None
        for k, guess in enumerate(guesses):
            if guess is None or guess in guesses[:k]:
                continue
            if decoder.bit(("flag", k, sure[k].get(keys[k], 0), lately)):
                value = guess
                break
        lately = (2 * lately + (value is not None)) % 4
        if value is None:
            told = [(out[-1] if out else 0, size) if number == -1 else
                    (others[number][0][row], others[number][1])
                    for number in about["context"]]  # fmt: skip
            place = tuple(other * min(steps, most) // steps for other, steps in told)
            start = guesses[0] or 0 if guesses else 0
            value = (
                start + decoder.signed(place) if about["steps"] else spelled(decoder, place, bits)
            )
        for known, trust, key in zip(seen, sure, keys, strict=True):
            same = known.get(key) == value
            trust[key] = min(trust.get(key, 0) + 1, 15) if same else trust.get(key, 0) // 4
            known[key] = value
        out.append(value)
    return out


def key_of(parents: Sequence[tuple[list[int], int]], row: int) -> int:
    key = 0
    for values, size in parents:
        key = key * size + values[row]
    return key % 65536


def spelled(decoder: Decoder, place: tuple[int, ...], bits: int) -> int:
    """Ten leading bits by those before them, lower ones by their place."""
    value = decoder.tree(place, min(bits, 10))
    for shift in range(bits - 11, -1, -1):
        value = 2 * value + decoder.bit(("low", shift))
    return value


def rings_of(file: PackedFile, name: str) -> list[list[list[tuple[int, int]]]]:
    """Rings of each shape, by links, turns and steps."""
    about = file.header[name]
    sizes = file.numbers(about["sizes"])
    links, told = file.stream(about["links"]), file.stream(about["corners"])
    corners: list[tuple[int, int]] = []
    rings, corner, before, last, history = [], -1, 0, 0, 0
    newest = (0, 0)
    for size in sizes:
        ring: list[tuple[int, int]] = []
        for at in range(size):
            context = (at == 0, last, before)
            kind = links.bit((context, 0)) and 1 + links.bit((context, 1))
            link = links.number(context) if kind == 2 else 2 * kind
            before, last = last, kind
            side = np.subtract(ring[-1], ring[-2]).tolist() if at >= 2 else [0, 0]
            turns = side != [0, 0] and max(map(abs, side)) < 32768
            if link:
                corner += -(link // 2) if link % 2 == 0 else link // 2
                ring.append(corners[corner])
                if turns:
                    step = np.subtract(ring[-1], ring[-2]).tolist()
                    history = (history * 4 + turn_of(step, side)) % 16
                continue
            start = ring[-1] if at else newest
            if turns:
                turn = told.tree(("turn", history), 2)
                history = (history * 4 + turn) % 16
                step = turned(told, turn, side, ring)
            else:
                coded = told.number(("plain", at > 0))
                east = -(coded // 2) - 1 if coded % 2 else coded // 2
                step = [east, told.signed(("plain", at > 0, length_of(coded)))]
            newest = (start[0] + step[0], start[1] + step[1])
            corner = len(corners)
            corners.append(newest)
            ring.append(newest)
        rings.append(ring)
    out, at = [], 0
    for count in file.numbers(about["parts"]):
        out.append(rings[at : at + count])
        at += count
    return out


def turn_of(step: list[int], side: list[int]) -> int:
    along = step[0] * side[0] + step[1] * side[1]
    across = step[1] * side[0] - step[0] * side[1]
    if abs(along) >= abs(across):
        return 0 if along >= 0 else 3
    return 1 if across >= 0 else 2


def turned(told: Decoder, turn: int, side: list[int], ring: list[tuple[int, int]]) -> list[int]:
    east, south = side
    a, b = [(east, south), (-south, east), (south, -east), (-east, -south)][turn]
    level = abs(a) >= abs(b)
    if not level:
        a, b = b, a
    size = max(abs(east), abs(south))
    if turn and len(ring) >= 3:
        size = max(np.abs(np.subtract(ring[-2], ring[-3])).tolist())
    far = told.number(("far", turn, length_of(size)))
    line = (2 * far * abs(b) + abs(a)) // (2 * abs(a))
    astray = told.signed(("astray", turn, length_of(far)))
    step = [far if a > 0 else -far, astray + (line if b > 0 else -line)]
    return step if level else step[::-1]
