"""The reference page of the region file, written from its declared keys."""

from __future__ import annotations

from riskmap.region.keys import COLUMN_KEYS, KEYS, LAYER_KEYS, REQUIRED, Key


def region_file_page() -> str:
    """Write the reference page of the region file (Markdown).

    >>> region_file_page().startswith("# The region file")
    True
    """
    lines = [
        "# The region file",
        "",
        "One TOML file says all that a county declares. Generated from `riskmap/region/keys.py`.",
        "Keys that are not listed here are refused, with the nearest known key named.",
        "Lengths that end in `_m` may be given in feet by ending the key in `_ft` instead.",
    ]
    for section in dict.fromkeys(key.section for key in KEYS):
        lines += ["", f"## [{section}]", "", "| key | default | meaning |", "|---|---|---|"]
        lines += [_key_row(key) for key in KEYS if key.section == section]
    lines += ["", "## [layers.NAME]", "", "| key | meaning |", "|---|---|"]
    lines += [f"| `{name}` | {meaning} |" for name, meaning in LAYER_KEYS.items()]
    lines += [
        "",
        "`NAME` is a layer of the [data dictionary](layers/dictionary.md), or `soil_survey` for a",
        "soil survey as distributed. `parcels` and `soil_survey` must be there; every other layer",
        "adds what it knows. Each entry of `[layers.NAME.columns]` is a column name or a table:",
        "",
        "| key | meaning |",
        "|---|---|",
    ]
    lines += [f"| `{name}` | {meaning} |" for name, meaning in COLUMN_KEYS.items()]
    return "\n".join(lines) + "\n"


def _key_row(key: Key) -> str:
    default = "(must be given)" if key.default is REQUIRED else f"`{key.default!r}`"
    words = f" One of {', '.join(key.choices)}." if key.choices else ""
    if key.low is not None:
        words += f" Between {key.low:g} and {key.high:g}."
    return f"| `{key.name}` | {default} | {key.meaning}.{words} |"
