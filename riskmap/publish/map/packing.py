"""Pack columns small, for a page that opens from disk.

A packed file is a script with a readable header and one text of harmless letters, in which streams
of :mod:`riskmap.publish.map.entropy` lie one after the other. Columns are scaled whole numbers,
codes into a list of words, or text taken apart into a pattern and its numbers. Each is predicted
from others that it goes with (:mod:`riskmap.publish.map.column_plan`). A column that is empty
outside a package's common set of rows (the scored parcels, say) is written for these rows only. The
rows of a large package may be divided among several files, one of which a card reads.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from riskmap.contract.arrays import Whole
from riskmap.contract.chunks import map_chunks
from riskmap.publish.map.column_plan import Coded, Telling, choose, stream
from riskmap.publish.map.entropy import numbers_stream, text_stream
from riskmap.publish.words.text_safety import plain_text, script_json

MOST_RUNS: Final = 6
"""Numbers taken out of a text; further ones stay in its pattern."""

_RUN: Final = re.compile(r"[0-9]{1,9}")
MOST_CODE: Final = 2**31 - 2
SHORT_WORDS: Final = 600
"""Bytes up to which a list of words stays in the header."""


@dataclass(frozen=True)
class _Packed:
    """A column, how the header describes it, whether it is written for the common rows only.

    `since` is the first column of its own table.
    """

    column: Coded
    about: dict[str, Any]
    among: bool
    since: int


@dataclass
class Package:
    """A packed file in the making: `header` is JSON, streams follow it in order.

    `among` flags the rows that most columns are empty outside of, if there are such. `given` are
    columns of files that the page reads before, which columns of this one may be predicted from.
    """

    among: NDArray[np.bool_] | None = None
    given: Mapping[str, Coded] = field(default_factory=dict)
    header: dict[str, Any] = field(default_factory=dict)
    streams: list[bytes] = field(default_factory=list)
    size: int = 0
    places: dict[bytes, list[int]] = field(default_factory=dict)
    columns: dict[int, _Packed] = field(default_factory=dict)
    since: int = 0

    def __post_init__(self) -> None:
        if self.given:
            self.header["given"] = list(self.given)
        if self.among is not None:
            self.header["among"] = self.add_column(self.among.astype(np.int64))

    def begin_table(self) -> None:
        """From here on columns are of another table, and not predicted from those before."""
        self.since = len(self.given) + len(self.columns)

    def add(self, text: bytes) -> list[int]:
        """Append a stream if it is new; its place and length go into the header."""
        if text not in self.places:
            self.places[text] = [self.size, len(text)]
            self.streams.append(text)
            self.size += len(text)
        return self.places[text]

    def add_numbers(self, values: NDArray[np.integer]) -> list[int]:
        """Append whole numbers >= 0, each by the length of the one before it."""
        whole = np.asarray(values, dtype=np.int64)
        before = np.concatenate([[0], whole[:-1]]) if len(whole) else whole
        context = np.minimum(np.frexp(before + 1.0)[1] - 1, 31)
        return [*self.add(numbers_stream(whole, context, 32)), len(whole)]

    def add_words(self, words: Sequence[str]) -> list[str] | list[int]:
        """Give a short list as it is; append a long one and give its place."""
        text = "\n".join(words).encode("utf-8")
        if len(text) <= SHORT_WORDS:
            return list(words)
        return [*self.add(text_stream(text)), len(text)]

    def add_column(self, codes: Whole, **about: Any) -> dict[str, Any]:
        """Add a column of codes >= 0, where 0 is missing; it is written when all are known."""
        if len(codes) and int(codes.max()) > MOST_CODE:
            raise ValueError("a packed column spans more than 31 bits")
        distinct = np.unique(np.concatenate([[0], codes]))
        values = codes
        about["size"] = int(distinct[-1]) + 1
        if about["size"] > 1.2 * len(distinct) + 8:
            values = np.searchsorted(distinct, codes)
            about["codes"] = self.add_numbers(np.diff(distinct) - 1)
            about["size"] = len(distinct)
        among = self.among is not None and not codes[~self.among].any() and bool(self.columns)
        about["slot"] = len(self.given) + len(self.columns)
        if among:
            about["among"] = True
        column = Coded(np.ascontiguousarray(values, dtype=np.int64), about["size"])
        self.columns[about["slot"]] = _Packed(column, about, among, self.since)
        return about

    def known(self) -> dict[str, Coded]:
        """Columns by name, for a package that the page reads after this one."""
        named = self.header["columns"].items()
        return {name: self.columns[about["slot"]].column for name, about in named}

    def to_scripts(self, name: str, block_rows: int | None = None) -> dict[str, str]:
        """Return the scripts that hand the package to the page, by name.

        With `block_rows` the columns lie in files `name_0`, `name_1` ... of so many rows each.
        """
        tellings = self._tellings()
        for slot, telling in tellings.items():
            about = self.columns[slot].about
            about["guesses"] = [list(parents) for parents in telling.guesses]
            about["context"] = list(telling.context)
            about["steps"] = int(telling.steps)
        if block_rows is None:
            for slot, telling in tellings.items():
                text = self._stream(slot, telling, slice(None))
                self.columns[slot].about["place"] = self.add(text)
            return {name: _script(name, self.header, self.streams)}
        scripts = {name: _script(name, self.header, self.streams)}
        count = max((len(packed.column.values) for packed in self.columns.values()), default=0)
        for number, first in enumerate(range(0, max(count, 1), block_rows)):
            rows = slice(first, first + block_rows)
            parts = [self._stream(slot, telling, rows) for slot, telling in tellings.items()]
            ends = np.cumsum([0, *map(len, parts)]).tolist()
            block = f"{name}_{number}"
            scripts[block] = _script(block, {"ends": ends}, parts)
        return scripts

    def _tellings(self) -> dict[int, Telling]:
        """How each column is predicted from those before it."""
        slots = list(self.columns)
        chosen = map_chunks(lambda slot: choose(*self._beside(slot, slice(None))), slots)
        return dict(zip(slots, chosen, strict=True))

    def _beside(
        self, slot: int, rows: slice, wanted: frozenset[int] | None = None
    ) -> tuple[Coded, dict[int, Coded]]:
        """Take a column and those before it (or those `wanted`) in the rows it is written for."""
        packed = self.columns[slot]
        known = dict(enumerate(self.given.values()))
        known |= {
            number: self.columns[number].column
            for number in range(max(packed.since, len(known)), slot)
        }
        count = len(packed.column.values)
        held = self.among[rows] if packed.among and self.among is not None else slice(None)
        taken = {
            number: Coded(column.values[rows][held], column.size)
            for number, column in known.items()
            if len(column.values) == count and column.size > 1
            if wanted is None or number in wanted
        }
        return Coded(packed.column.values[rows][held], packed.column.size), taken

    def _stream(self, slot: int, telling: Telling, rows: slice) -> bytes:
        wanted = frozenset([*telling.context, *chain.from_iterable(telling.guesses)])
        column, others = self._beside(slot, rows, wanted)
        return stream(column, others, telling)


def pack_numbers(
    package: Package, values: pd.Series | NDArray[Any], *, decimals: int = 0
) -> dict[str, Any]:
    """Add a numeric column; missing is kept apart from every number.

    Parameters
    ----------
    package
        Gets the column.
    values
        Numbers in the package's order; NaN or NA is missing.
    decimals
        Decimals that are kept.

    Returns
    -------
    dict
        Description of the column for the page.
    """
    column = pd.to_numeric(pd.Series(values), errors="coerce")
    number = column.to_numpy(dtype=float, na_value=np.nan)
    known = np.isfinite(number)
    whole = np.zeros(len(number), dtype=np.int64)
    whole[known] = np.rint(number[known] * 10**decimals).astype(np.int64)
    low = int(whole[known].min()) if known.any() else 0
    codes = np.where(known, whole - low + 1, 0)
    return package.add_column(codes, kind="number", decimals=decimals, low=low)


def pack_codes(package: Package, values: pd.Series, words: Sequence[str] = ()) -> dict[str, Any]:
    """Add a text column as codes into its sorted list of words; 0 is missing.

    Parameters
    ----------
    package, values
        As in :func:`pack_numbers`, of texts.
    words
        Words with the first codes, in this order, whether they occur or not.
    """
    rows, distinct = pd.factorize(values.astype(object))
    plain = [plain_text(word) for word in distinct]
    order = [*words, *sorted(set(plain) - set(words) - {""})]
    number = {word: code + 1 for code, word in enumerate(order)} | {"": 0}
    codes = np.array([number[word] for word in plain] + [0], dtype=np.int64)[rows]
    return package.add_column(codes, kind="code", words=package.add_words(order))


def pack_text(package: Package, values: pd.Series) -> dict[str, Any]:
    """Add a text column whose values rarely repeat: a pattern, and the numbers within it.

    In the pattern a sign from 1 to 9 replaces a number of so many digits.
    """
    rows, distinct = pd.factorize(values.astype(object))
    plain = [*(plain_text(word) for word in distinct), ""]
    found = [_RUN.findall(text)[:MOST_RUNS] for text in plain]
    patterns = [_RUN.sub(lambda run: chr(len(run[0])), text, count=MOST_RUNS) for text in plain]
    order = sorted(set(patterns) - {""})
    number = {pattern: code + 1 for code, pattern in enumerate(order)} | {"": 0}
    codes = np.array([number[pattern] for pattern in patterns], dtype=np.int64)[rows]
    about = package.add_column(codes, kind="text", words=package.add_words(order))
    about["runs"] = []
    for place in range(max(map(len, found))):
        run = [int(runs[place]) + 1 if place < len(runs) else 0 for runs in found]
        about["runs"].append(package.add_column(np.array(run, dtype=np.int64)[rows]))
    return about


def pack_words(package: Package, values: pd.Series) -> dict[str, Any]:
    """Add a text column as codes or patterns, whichever suits how often its values repeat."""
    distinct = values.nunique()
    if distinct <= 255 or (distinct < 65_535 and distinct * 4 < len(values)):
        return pack_codes(package, values)
    return pack_text(package, values)


def _script(name: str, header: Mapping[str, Any], streams: Sequence[bytes]) -> str:
    text = b"".join(streams).decode("ascii")
    return f'county.packed[{script_json(name)}]=[{script_json(header)},"{text}"];\n'
