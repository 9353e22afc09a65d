"""A small entropy coder for the map's data: adaptive binary range coding into harmless letters.

Every choice is a binary decision coded by a probability that follows what was seen before in the
same place (range coding: Martin 1979; adaptive binary models: Langdon and Rissanen 1981; both from
memory). The coder's digits are 121 letters of ASCII that are allowed in a script's string, so that
no second step (base64) is needed and no character set can spoil them. The page decodes the same
whole-number steps (``page/decode.js``); nothing rests on floating point.

Three kinds of stream: whole numbers, text, and columns, whose values are guessed from other columns
before they are spelled out.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from riskmap.contract.compiled import compiled

LEFT_OUT: Final = b'\x00\n\r\x1a"\\<'
DIGITS: Final = np.array([c for c in range(127) if c not in LEFT_OUT], dtype=np.uint8)[:120]
"""Letters of the stream: ASCII without what ends a string, a line or a tag."""

BASE: Final = 120
TOP: Final = BASE**3
WHOLE: Final = BASE**4
LIMIT: Final = 255
"""A probability follows the mean of about so many decisions."""

RATES: Final = np.array([round(1024 / (n + 1.6)) for n in range(LIMIT + 1)], dtype=np.int64)
FRESH: Final = 524_288 << 8
"""A place in a model: probability of 1 in 2**-20, shifted left by 8 bits, and decisions seen."""

SLOTS: Final = 65_536
"""Values remembered for each key by which a column is guessed."""
SURE: Final = 16
TREE_BITS: Final = 10
"""Leading bits of a value that are coded by all bits before them; lower ones by their place."""
CLASSES: Final = 32
"""Lengths in bits of a whole number plus one, less one: numbers below 2**31."""
LENGTH_PLACES: Final = 48
NUMBER_PLACES: Final = LENGTH_PLACES + 4 * CLASSES
"""Places in a model for the length (below 4, below 8, below 16, others), then for two more bits."""
TEXT_CONTEXTS: Final = 4093
NO_END: Final = 1 << 62
"""More letters than any stream has."""

_LOW, _RANGE, _CACHE, _RUN, _SIZE = range(5)

Numbers = NDArray[np.int64]
Letters = NDArray[np.uint8]


@compiled
def _shift(state: Numbers, out: Letters) -> None:
    """Move the leading digit out; a run of highest digits waits for a carry."""
    low = state[_LOW]
    if low < (BASE - 1) * TOP or low >= WHOLE:
        carry = 1 if low >= WHOLE else 0
        if state[_CACHE] >= 0:
            out[state[_SIZE]] = state[_CACHE] + carry
            state[_SIZE] += 1
        for _ in range(state[_RUN]):
            out[state[_SIZE]] = (BASE - 1 + carry) % BASE
            state[_SIZE] += 1
        state[_RUN] = 0
        state[_CACHE] = (low // TOP) % BASE
    else:
        state[_RUN] += 1
    state[_LOW] = (low % TOP) * BASE


@compiled
def code_bit(state: Numbers, out: Letters, model: Numbers, place: int, bit: int) -> None:
    """Code one decision by the probability at `place` and let it learn.

    Parameters
    ----------
    state, out
        State of the coder, from :func:`begin`, and the letters written so far; both change.
    model
        Probabilities, changed at `place`.
    place
        Position in the model.
    bit
        0 or 1.
    """
    now = model[place]
    bound = (state[_RANGE] >> 12) * ((now >> 16) | 1)
    seen, chance = now & 255, now >> 8
    if bit:
        state[_RANGE] = bound
        chance += ((1_048_575 - chance) * RATES[seen]) >> 10
    else:
        state[_LOW] += bound
        state[_RANGE] -= bound
        chance += (-chance * RATES[seen]) >> 10
    model[place] = (chance << 8) | min(seen + 1, LIMIT)
    while state[_RANGE] < TOP:
        state[_RANGE] *= BASE
        _shift(state, out)


@compiled
def code_even(state: Numbers, out: Letters, value: int, bits: int) -> None:
    """Code `bits` bits that are as likely 0 as 1, at most eight at a time.

    Parameters
    ----------
    state, out
        As in :func:`code_bit`.
    value
        Whole number below 2**bits.
    bits
        Number of bits, 0 or more.
    """
    while bits > 0:
        part = min(bits, 8)
        bits -= part
        step = state[_RANGE] >> part
        state[_LOW] += step * ((value >> bits) & ((1 << part) - 1))
        state[_RANGE] = step
        while state[_RANGE] < TOP:
            state[_RANGE] *= BASE
            _shift(state, out)


@compiled
def finish(state: Numbers, out: Letters) -> int:
    """End with as few digits as determine the value; digits past the end read as 0."""
    last = state[_LOW] + state[_RANGE] - 1
    unit = TOP
    while unit > 1 and last // unit * unit < state[_LOW]:
        unit //= BASE
    state[_LOW] = last // unit * unit
    for _ in range(5):
        _shift(state, out)
    size = state[_SIZE]
    while size > 0 and out[size - 1] == 0:
        size -= 1
    return int(size)


@compiled
def code_tree(
    state: Numbers, out: Letters, model: Numbers, base: int, value: int, bits: int
) -> None:
    """Code the bits of a value, high ones first, each by those before it.

    Parameters
    ----------
    state, out, model
        As in :func:`code_bit`.
    base
        First of the 2**bits places that the tree takes in the model.
    value, bits
        As in :func:`code_even`.
    """
    node = 1
    for shift in range(bits - 1, -1, -1):
        bit = (value >> shift) & 1
        code_bit(state, out, model, base + node, bit)
        node = 2 * node + bit


@compiled
def code_number(state: Numbers, out: Letters, model: Numbers, base: int, value: int) -> int:
    """Code a whole number: its length in bits, two more bits by the length, the rest evenly.

    Parameters
    ----------
    state, out, model
        As in :func:`code_bit`.
    base
        First of the :data:`NUMBER_PLACES` places in the model.
    value
        Whole number from 0 to 2**31 - 2.

    Returns
    -------
    int
        Length in bits of the value plus one, less one.
    """
    length = 0
    while (value + 1) >> (length + 1):
        length += 1
    group, first, bits = 0, 0, 2
    while group < 3:
        longer = 1 if length >= first + (1 << bits) else 0
        code_bit(state, out, model, base + group, longer)
        if not longer:
            break
        group, first, bits = group + 1, first + (1 << bits), max(2, group + 2)
    code_tree(state, out, model, base + (4 << group), length - first, bits)
    rest = min(length, 2)
    leading = ((value + 1) >> (length - rest)) & ((1 << rest) - 1)
    code_tree(state, out, model, base + LENGTH_PLACES + 4 * length, leading, rest)
    code_even(state, out, (value + 1) & ((1 << (length - rest)) - 1), length - rest)
    return length


@compiled
def begin(places: int) -> tuple[Numbers, Numbers]:
    """Start a stream: the coder's state, and a model of so many fresh places."""
    state = np.array([0, WHOLE, -1, 0, 0], dtype=np.int64)
    return state, np.full(places, FRESH, dtype=np.int64)


@compiled
def _numbers(values: Numbers, context: Numbers, contexts: int, out: Letters) -> int:
    state, model = begin(contexts * NUMBER_PLACES)
    for row in range(len(values)):
        code_number(state, out, model, context[row] * NUMBER_PLACES, values[row])
    return finish(state, out)


@compiled
def _text(letters: Letters, out: Letters) -> int:
    state, model = begin(TEXT_CONTEXTS * 256)
    first, second, third = 0, 0, 0
    for letter in letters:
        base = (third * 65_536 + second * 256 + first) % TEXT_CONTEXTS * 256
        code_tree(state, out, model, base, letter, 8)
        third, second, first = second, first, letter
    return finish(state, out)


@compiled
def _column(  # noqa: C901
    values: Numbers, keys: Numbers, context: Numbers, contexts: int, bits: int, steps: int,
    most: int, out: Letters,
) -> int:  # fmt: skip
    """Guess from the keys in turn (the value last seen with the same key), else spell out.

    Stops once there are surely more than `most` digits.
    """
    guesses = len(keys)
    leading = min(bits, TREE_BITS)
    flags_at = contexts * (NUMBER_PLACES if steps else 1 << leading)
    low_at = flags_at + guesses * SURE * 4
    state, model = begin(low_at + 32)
    slots = keys.max() + 1 if keys.size else 1  # to clear all takes longer than a short column
    seen = np.full((guesses, slots), -1, dtype=np.int64)
    sure = np.zeros((guesses, slots), dtype=np.int64)
    lately = 0
    for row in range(len(values)):
        size = state[_SIZE]
        if size > most and out[size - 1] > 0:  # what is written stays; only zeros are dropped
            return int(size)
        value = values[row]
        hit = 0
        for k in range(guesses):
            guess = seen[k, keys[k, row]]
            known = guess < 0
            for j in range(k):
                known = known or seen[j, keys[j, row]] == guess
            if known:
                continue
            hit = 1 if guess == value else 0
            code_bit(
                state, out, model, flags_at + (k * SURE + sure[k, keys[k, row]]) * 4 + lately, hit
            )
            if hit:
                break
        start = max(seen[0, keys[0, row]], 0) if guesses else 0
        for k in range(guesses):
            key = keys[k, row]
            sure[k, key] = min(sure[k, key] + 1, SURE - 1) if seen[k, key] == value \
                else sure[k, key] // 4  # fmt: skip
            seen[k, key] = value
        lately = ((lately << 1) | hit) & 3
        if hit:
            continue
        if steps:
            step = value - start
            code_number(state, out, model, context[row] * NUMBER_PLACES, (step << 1) ^ (step >> 63))
            continue
        base, low = context[row] * (1 << leading), bits - leading
        code_tree(state, out, model, base, value >> low, leading)
        for shift in range(low - 1, -1, -1):
            code_bit(state, out, model, low_at + shift, (value >> shift) & 1)
    return finish(state, out)


def numbers_stream(
    values: NDArray[np.integer], context: NDArray[np.integer] | None = None, contexts: int = 1
) -> bytes:
    """Code whole numbers, each by what was seen before in its context.

    Parameters
    ----------
    values
        Whole numbers from 0 to 2**31 - 2 (n,).
    context
        Context of each (n,), from 0 to `contexts` - 1; None: one for all.
    contexts
        Number of contexts.

    Raises
    ------
    ValueError
        If a number is out of range.
    """
    whole = np.ascontiguousarray(values, dtype=np.int64)
    if len(whole) and (whole.min() < 0 or whole.max() >= 2**31 - 1):
        raise ValueError("a packed number spans more than 31 bits")
    by = np.zeros(len(whole), dtype=np.int64)
    if context is not None:
        by = np.ascontiguousarray(context, dtype=np.int64)
    out = room_for(len(whole), 16)
    return letters_of(out, _numbers(whole, by, contexts, out))


def text_stream(text: bytes) -> bytes:
    """Code bytes, each by the three before it."""
    letters = np.frombuffer(text, dtype=np.uint8)
    out = room_for(len(letters), 16)
    return letters_of(out, _text(letters, out))


def column_stream(
    values: Numbers,
    *,
    size: int,
    keys: Numbers,
    context: Numbers,
    contexts: int,
    steps: bool,
    most: int = NO_END,
) -> bytes:
    """Code values from 0 to `size` - 1.

    Parameters
    ----------
    values
        Whole numbers, shape (rows,).
    keys
        Shape (guesses, rows), below :data:`SLOTS`: a value is guessed to be the one last seen with
        the same key.
    context
        Shape (rows,), below `contexts`: values that no guess met are spelled out by what was seen
        in the same context.
    steps
        Spell out the difference from the first guess rather than the value.
    most
        Letters from which it does not matter how many more there are: the rest is left out.
    """
    bits = max(1, (max(size, 1) - 1).bit_length())
    out = room_for(len(values), max(bits, 14) + len(keys) + 2)
    return letters_of(out, _column(values, keys, context, contexts, bits, int(steps), most, out))


def room_for(rows: int, decisions: int) -> Letters:
    """Room for the worst case: a decision takes at most 12 bits, a digit holds six."""
    return np.empty(2 * rows * decisions + 16, dtype=np.uint8)


def letters_of(out: Letters, size: int) -> bytes:
    """Write the first digits as letters."""
    return DIGITS[out[:size]].tobytes()
