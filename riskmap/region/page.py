"""The reference page of the region file, written from the declared settings."""

from __future__ import annotations

from datetime import date
from typing import Any

from riskmap.contract.settings import Belief, Section, Setting, settings_of
from riskmap.contract.sources import ColumnSource, Source
from riskmap.region.layers import FILE_KEYS
from riskmap.region.sections import sections


def region_file_page() -> str:
    """Write the reference page of the region file (Markdown).

    >>> region_file_page().startswith("# The region file")
    True
    """
    lines = [
        "# The region file",
        "",
        "One TOML file holds all that a county declares. This page is generated from the settings",
        "as the program declares them (`riskmap/region/sections.py` lists the sections).",
        "Keys that are not listed here are refused, with the nearest known key named; all faults",
        "of a file are reported together. Lengths that end in `_m` may be given in feet by ending",
        "the key in `_ft` instead. `run.json` of a run holds all settings as they were in force.",
        "",
        "*Believed* says how far a number may be off, for the whole county at once: 90% of what",
        "the project believes lies between the two ends, as factors on the setting (x) or added to",
        "it (+). The doubt draws from it. Settings with the same mark are off together.",
    ]
    for name, section in sections().items():
        lines += ["", f"## [{name}]", "", str(section.__doc__).split("\n")[0], ""]
        lines += _table(section)
        for one in settings_of(section).values():
            if issubclass(one.kind, Section):
                lines += ["", f"Each `[[{name}.{one.key}]]` table:", "", *_table(one.kind)]
    files = [f"| `{key}` | {meaning}. |" for key, meaning in FILE_KEYS.items()]
    lines += ["", "## [layers.NAME]", "", "| key | meaning |", "|---|---|", *files]
    lines += [f"| `{one.key}` | {_meaning(one)} |" for one in settings_of(Source).values()]
    lines += [
        "",
        "`NAME` is a layer of the [data dictionary](layers/dictionary.md), or `soil_survey` for a",
        "soil survey as distributed. `parcels` and `soil_survey` must be there; every other layer",
        "adds what it knows. Each entry of `[layers.NAME.columns]` is a column name or a table:",
        "",
        "| key | meaning |",
        "|---|---|",
    ]
    lines += [f"| `{one.key}` | {_meaning(one)} |" for one in settings_of(ColumnSource).values()]
    return "\n".join(lines) + "\n"


def _table(section: type[Section]) -> list[str]:
    declared = settings_of(section).values()
    marks = _marks(declared)
    rows = [
        f"| `{one.key}` | {_default(one)} | {one.unit} | {_bounds(one)} | {_meaning(one)} | "
        f"{_beliefs(one, marks)} | {one.source} |"
        for one in declared
    ]
    head = "| key | default | unit | bounds | meaning | believed | source of the default |"
    return [head, "|---|---|---|---|---|---|---|", *rows]


def _default(one: Setting) -> str:
    if one.required:
        return "(must be given)"
    if one.default is None:
        return ""
    if one.many and issubclass(one.kind, Section):
        return f"{len(one.default)} table, open"
    return f"`{_toml(one.default)}`"


def _toml(value: Any) -> str:
    """Write a value as the region file would hold it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, tuple):
        return f"[{', '.join(map(_toml, value))}]"
    return value.isoformat() if isinstance(value, date) else f"{value:.10g}"


def _bounds(one: Setting) -> str:
    return "" if one.low is None or one.high is None else f"{one.low:g} to {one.high:g}"


def _meaning(one: Setting) -> str:
    words = f" One of {', '.join(f'`{word}`' for word in one.choices)}." if one.choices else ""
    many = f" A list of {one.count}." if one.count else ""
    return f"{one.meaning}.{words}{many}"


def _marks(declared: Any) -> dict[Belief, str]:
    """Letters for the beliefs that several settings share."""
    users: dict[Belief, int] = {}
    for one in declared:
        for belief in one.beliefs:
            users[belief] = users.get(belief, 0) + 1
    shared = [belief for belief, count in users.items() if count > 1]
    return {belief: f" ({letter})" for belief, letter in zip(shared, "abcdefgh", strict=False)}


def _beliefs(one: Setting, marks: dict[Belief, str]) -> str:
    return "; ".join(_belief(belief) + marks.get(belief, "") for belief in one.beliefs)


def _belief(belief: Belief) -> str:
    sign = "x" if belief.of == "factor" else "+"
    return f"{sign} {belief.low:.3g} to {belief.high:.3g}, {belief.shape}: {belief.source}"
