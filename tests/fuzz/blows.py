"""Blows that damage a set of files: flipped bytes, lost cells, stray quotes, torn JSON ...

A blow is plain data (what, where as shares of the whole, and how hard), so that Hypothesis can
draw and shrink it, and a plain seeded generator can make as many as wanted.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any, Final

from tests.fuzz.damage import Blow, Damaged
from tests.fuzz.delimited import Table
from tests.fuzz.table_blows import TEXT_FILE


def strike(files: Mapping[str, bytes], main: str, blows: list[Blow]) -> Damaged:
    """Apply `blows` in turn to copies of `files`; record-wise ones hit the file `main`."""
    damaged = Damaged(dict(files))
    for blow in blows:
        BLOWS[blow.kind](damaged, main, blow)
        if blow.kind not in TEXT_FILE:
            damaged.table = None
    return damaged


def _pick(names: Mapping[str, bytes] | list[Any], share: float) -> Any:
    items = sorted(names) if isinstance(names, Mapping) else names
    return items[int(share * len(items))]


def _flip(damaged: Damaged, main: str, blow: Blow) -> None:
    name = _pick(damaged.files, blow.first)
    content = bytearray(damaged.files[name])
    if content:
        place = int(blow.second * len(content))
        content[place] ^= blow.force % 255 + 1
    before, damaged.files[name] = damaged.files[name], bytes(content)
    text = name == main and main.endswith((".csv", ".txt", ".tab", ".dat")) and b'"' not in before
    lines = _changed_lines(before, damaged.files[name]) if text else None
    if lines is None or damaged.touched is None:
        damaged.touched = damaged.records = None
    else:
        damaged.touched |= lines


def _changed_lines(before: bytes, after: bytes) -> set[int] | None:
    """Records of a delimited file that differ; None where lines were joined or the header hit."""
    try:
        old, new = Table(before), Table(after)
    except IndexError:
        return None
    same = old.comments == new.comments and old.lines[: old.first] == new.lines[: new.first]
    if not same or len(old.lines) != len(new.lines) or old.sign != new.sign:
        return None
    pairs = zip(old.lines[old.first :], new.lines[new.first :], strict=True)
    return {number for number, (a, b) in enumerate(pairs, start=1) if a != b}


def _truncate(damaged: Damaged, main: str, blow: Blow) -> None:
    name = _pick(damaged.files, blow.first)
    damaged.files[name] = damaged.files[name][: int(blow.second * len(damaged.files[name]))]
    damaged.touched = damaged.records = None
    damaged.resized = True


def _overwrite(damaged: Damaged, main: str, blow: Blow) -> None:
    name = _pick(damaged.files, blow.first)
    content = damaged.files[name]
    place, size = int(blow.second * len(content)), blow.force % 64 + 1
    filler = bytes([blow.force % 7 * 37 % 256]) * size
    damaged.files[name] = content[:place] + filler + content[place + size :]
    damaged.touched = damaged.records = None


def _remove(damaged: Damaged, main: str, blow: Blow) -> None:
    del damaged.files[_pick(damaged.files, blow.first)]
    damaged.files = damaged.files or {"nothing": b""}
    damaged.touched = damaged.records = None
    damaged.resized = True


def _swap(damaged: Damaged, main: str, blow: Blow) -> None:
    """Put the content of one file under the name of another."""
    one, other = _pick(damaged.files, blow.first), _pick(damaged.files, blow.second)
    damaged.files[one] = damaged.files[other]
    damaged.touched = damaged.records = None
    damaged.resized = True


def _replace(damaged: Damaged, main: str, blow: Blow) -> None:
    """Put something that people mistake for data in place of a file."""
    contents = [
        b"",
        b"   \n",
        b"<!DOCTYPE html><html><body>503 Service Unavailable</body></html>",
        b'{"error":{"code":400,"message":"Invalid URL"}}',
        b"PK\x05\x06" + bytes(18),
        bytes(range(256)) * 8,
        b"\x1f\x8b\x08" + bytes(40),
        b"II*\x00\x08\x00\x00\x00" + bytes(16),
        b"[]",
        b"{}",
        b"null",
    ]
    damaged.files[_pick(damaged.files, blow.first)] = _pick(contents, blow.second)
    damaged.touched = damaged.records = None
    damaged.resized = True


# JSON -------------------------------------------------------------------------------------------

LEAVES: Final = (None, "", "x", 0, -1.5, 1e308, True, [], {}, [None], "2099-01-01", "12 ft", [[[]]])


def _tear_json(damaged: Damaged, main: str, blow: Blow) -> None:
    """Change, lose or repeat one node of a JSON document, likely a deep one."""
    if main not in damaged.files:
        return
    try:
        document = json.loads(damaged.files[main])
    except ValueError:
        return
    places = list(_nodes(document)) if isinstance(document, dict | list) else []
    if not places:
        return
    holder, key = _pick(places, blow.first)
    action = blow.force % 4
    if action == 0:
        holder[key] = LEAVES[int(blow.second * len(LEAVES))]
    elif action == 1:
        del holder[key]
    elif action == 2 and isinstance(holder, list):
        holder.insert(key, holder[key])
    elif isinstance(holder, dict):
        holder[str(key) + "_"] = holder.pop(key)
    else:
        holder[key] = [holder[key]]
    damaged.files[main] = json.dumps(document).encode()
    damaged.touched = damaged.records = None
    damaged.resized = True


def _nodes(node: Any) -> Any:
    items = node.items() if isinstance(node, dict) else enumerate(node or [])
    for key, value in list(items):
        yield node, key
        if isinstance(value, dict | list) and value:
            yield from _nodes(value)


ANY_FILE: Final = {
    "flip": _flip,
    "truncate": _truncate,
    "overwrite": _overwrite,
    "remove": _remove,
    "swap": _swap,
    "replace": _replace,
}
JSON_FILE: Final = {"tear": _tear_json}
BLOWS: Final[Mapping[str, Callable[[Damaged, str, Blow], None]]] = {
    **ANY_FILE,
    **TEXT_FILE,
    **JSON_FILE,
}
KINDS: Final = {
    "text": (*ANY_FILE, *TEXT_FILE, *TEXT_FILE),
    "json": (*ANY_FILE, *JSON_FILE, *JSON_FILE, *JSON_FILE),
    "binary": tuple(ANY_FILE),
}
"""Form of the main file -> kinds of blows, the likelier ones more than once."""
