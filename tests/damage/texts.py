"""Damage to text files as bytes, and to delimited text row by row."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence

HTML = b"""<!DOCTYPE html><html><head><title>Service unavailable</title></head>
<body><h1>503</h1><p>The service is down for maintenance, please try again.</p></body></html>"""


def cut(data: bytes, dice: random.Random) -> bytes:
    """End anywhere."""
    return data[: dice.randrange(len(data))]


def latin_1(data: bytes, dice: random.Random) -> bytes:
    """Put letters of another encoding somewhere."""
    place = dice.randrange(len(data))
    return data[:place] + "Nu\xf1ez \xe9".encode("latin-1") + data[place:]


def flipped(data: bytes, dice: random.Random) -> bytes:
    """Change up to 20 bytes."""
    changed = bytearray(data)
    for _ in range(dice.randint(1, 20)):
        changed[dice.randrange(len(changed))] = dice.randrange(256)
    return bytes(changed)


def utf_16(data: bytes, dice: random.Random) -> bytes:
    """Save as spreadsheet programs call it: Unicode text."""
    return data.decode("utf-8", "replace").encode("utf-16")


def zeros(data: bytes, dice: random.Random) -> bytes:
    """Put zero bytes over a stretch, as a broken disk does."""
    place = dice.randrange(len(data))
    return data[:place] + b"\0" * 512 + data[place + 512 :]


def marked(data: bytes, dice: random.Random) -> bytes:
    """Put a byte-order mark before it."""
    return b"\xef\xbb\xbf" + data


def page(data: bytes, dice: random.Random) -> bytes:
    """Put a page of the service in its place."""
    return HTML


def nothing(data: bytes, dice: random.Random) -> bytes:
    """Leave nothing."""
    return b""


def deep(data: bytes, dice: random.Random) -> bytes:
    """Nest lists without end, in JSON and TOML alike."""
    return b"a = " * (not data.lstrip().startswith((b"{", b"["))) + b"[" * 100_000


def without_line(data: bytes, dice: random.Random) -> bytes:
    """Leave one line out."""
    lines = data.splitlines(keepends=True)
    del lines[dice.randrange(len(lines))]
    return b"".join(lines)


BYTES: Sequence[Callable[[bytes, random.Random], bytes]] = (
    cut, latin_1, flipped, utf_16, zeros, marked, page, nothing, deep, without_line
)  # fmt: skip


def ragged(lines: list[str], sign: str, dice: random.Random) -> list[str]:
    """Give one row a field too many or too few; not inside a text of several lines."""
    whole = [n for n, line in enumerate(lines) if line.count('"') % 2 == 0]
    row = dice.choice(whole[1:] or whole or [0])
    fields = lines[row].split(sign)
    place = dice.randrange(len(fields))
    new = fields[:place] + fields[place + 1 :] if dice.random() < 0.5 else [
        *fields[:place], "7", *fields[place:]]  # fmt: skip
    return [*lines[:row], sign.join(new), *lines[row + 1 :]]


def quoted(lines: list[str], sign: str, dice: random.Random) -> list[str]:
    """Open a quote that nothing closes in its row."""
    row = dice.randrange(len(lines))
    fields = lines[row].split(sign)
    place = dice.randrange(len(fields))
    fields[place] = '"' + fields[place].replace('"', "")
    return [*lines[:row], sign.join(fields), *lines[row + 1 :]]


def other_sign(lines: list[str], sign: str, dice: random.Random) -> list[str]:
    """Part the fields by another sign."""
    return [line.replace(sign, dice.choice(";,|\t")) for line in lines]


def worded(lines: list[str], sign: str, dice: random.Random) -> list[str]:
    """Put a word, a huge or an impossible number into a field."""
    row = dice.randrange(1, len(lines)) if len(lines) > 1 else 0
    fields = lines[row].split(sign)
    new = dice.choice(["unknown", "12 ft", "1e999", "nan", "-9999", "9999-12-31", "x" * 140_000])
    fields[dice.randrange(len(fields))] = new
    return [*lines[:row], sign.join(fields), *lines[row + 1 :]]


def renamed(lines: list[str], sign: str, dice: random.Random) -> list[str]:
    """Rename a column of the head line."""
    fields = lines[0].split(sign)
    place = dice.randrange(len(fields))
    fields[place] = dice.choice(["", "x", fields[place].strip('"') + "_new", fields[0]])
    return [sign.join(fields), *lines[1:]]


def without_column(lines: list[str], sign: str, dice: random.Random) -> list[str]:
    """Leave a column out of every row."""
    place = dice.randrange(len(lines[0].split(sign)))
    parts = [line.split(sign) for line in lines]
    return [sign.join(fields[:place] + fields[place + 1 :]) for fields in parts]


ROWS: Sequence[Callable[[list[str], str, random.Random], list[str]]] = (
    ragged, quoted, other_sign, worded, renamed, without_column
)  # fmt: skip


def damage_rows(
    data: bytes, sign: str, dice: random.Random, *, first: int = 0
) -> tuple[bytes, str]:
    """Damage the rows of delimited text from line `first` on; says how."""
    lines = data.decode("utf-8", "replace").split("\n")
    head, body = lines[:first], [line for line in lines[first:] if line]
    change = dice.choice(ROWS)
    return "\n".join([*head, *change(body, sign, dice), ""]).encode(), change.__name__


def damage_bytes(data: bytes, dice: random.Random) -> tuple[bytes, str]:
    """Damage a file as bytes; says how."""
    change = dice.choice(BYTES)
    return change(data or b"x", dice), change.__name__
