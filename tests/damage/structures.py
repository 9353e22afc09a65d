"""Damage to nested tables and lists, as TOML and JSON files hold them."""

from __future__ import annotations

import copy
import datetime
import json
import math
import random
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

Path = tuple[str | int, ...]


class Damage(NamedTuple):
    """A damaged structure, the place that was touched, and what was done there."""

    content: Any
    place: Path
    what: str


JSON_VALUES: Sequence[Any] = (
    None, 0, -1, 1.5, 1e308, 10**30, math.nan, True, "", "x", "1", "-999999", "9999-12-31",
    "x" * 5000, "\x00", [], [0], [None], ["x"], [[]], [{}], {}, {"a": 0}, {"value": None},
)  # fmt: skip
"""What may stand where something else should, in JSON."""

TOML_VALUES: Sequence[Any] = (
    *(value for value in JSON_VALUES if value not in (None, [None], {"value": None})),
    math.inf, -math.inf, False, "auto", "EPSG:4326", "../../x", "a\nb", "{", "{value", "{}",
    datetime.date(9999, 12, 31), datetime.date(1, 1, 1), datetime.datetime(2026, 6, 1, 12, 0),
    datetime.time(12, 0), ["a", "b"], ["a", 1], [math.nan] * 4, [["a", "b"]], {"column": 0},
    {"column": "A", "unit": []}, {"values": {"a": []}, "column": "A"}, [{"flow_rule": 0}],
)  # fmt: skip
"""What may stand where something else should, in TOML."""


def places(content: Any, at: Path = ()) -> Iterator[Path]:
    """Every place of a nested structure but its root."""
    inner = content.items() if isinstance(content, dict) else enumerate(content)
    for key, value in inner:
        yield (*at, key)
        if isinstance(value, dict | list):
            yield from places(value, (*at, key))


def damage(content: Any, dice: random.Random, values: Sequence[Any]) -> Damage:
    """Replace, delete or rename one entry of a copy of `content`."""
    content = copy.deepcopy(content)
    place = dice.choice(list(places(content)))
    holder = content
    for key in place[:-1]:
        holder = holder[key]
    last: Any = place[-1]
    what = dice.choice(["replace"] * 4 + ["delete", "rename", "double"])
    if what == "replace":
        new = copy.deepcopy(dice.choice(values))
        holder[last] = new
        return Damage(content, place, f"= {new!r}"[:60])
    if what == "rename" and isinstance(holder, dict):
        name = dice.choice([f"{last}_", str(last)[:-1], "", str(last).upper(), "x", "ä"])
        holder[name] = holder.pop(last)
        return Damage(content, (*place[:-1], name), f"was {last}")
    if what == "double" and isinstance(holder, list):
        holder.append(copy.deepcopy(holder[last]))
        return Damage(content, place, "twice")
    del holder[last]
    return Damage(content, place, "deleted")


def toml_text(content: dict[str, Any]) -> str:
    """Write nested tables as TOML: each top-level key on one line, inner tables inline."""
    return "".join(f"{_key(name)} = {_value(value)}\n" for name, value in content.items())


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    return _quoted(value) if isinstance(value, str) else repr(value)


def _key(name: str) -> str:
    return _quoted(str(name))


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
