"""Page of the handbook with every column of the lists, drawn from the declarations."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from riskmap.contract.columns import Column
from riskmap.contract.quantities import in_units
from riskmap.contract.results import MAILING, SAMPLING, ZONES
from riskmap.contract.sources import DEFECT_COLUMNS
from riskmap.publish.lists import mailing_list, sampling_list
from riskmap.publish.lists.list_columns import (
    ResultColumn,
    file_name_of,
    heading,
    inspection_columns,
    visit_results,
)

_HEAD: Final = """\
# The columns of the lists

Drawn from `riskmap/contract` by `python docs/generate.py`, in US units. The heading is that of the
workbook, the name that of the CSV file. Columns of the GIS files, in SI units, are in the
[data dictionary](../layers/dictionary.md).
"""


def columns_page() -> str:
    """Return ``docs/outputs/columns.md``."""
    zones = [found for found in ZONES.columns if found.listed is not None]
    parts = [
        _HEAD,
        *_part("Inspection list", "inspections", inspection_columns(), visit_results("us")),
        *_part("Well sampling list", "well_sampling", SAMPLING.columns, sampling_list.RESULTS),
        *_part("Mailing list", "mailing", MAILING.columns, mailing_list.RESULTS),
        *_part("Zones", "zones", zones, ()),
        "## Defects\n",
        "`data_quality.csv`: " + ", ".join(f"`{name}`" for name in DEFECT_COLUMNS) + ". What each "
        "check means is on [the readers' page](../layers/sources.md).\n",
    ]
    return "\n".join(parts)


def _part(
    title: str, file: str, columns: Sequence[Column], to_fill_in: Sequence[ResultColumn]
) -> list[str]:
    rows = [
        f"| {heading(found, 'us')} | `{file_name_of(found, units='us')}` | {_meaning(found)} |"
        for found in columns
    ]
    lines = [
        f"## {title}\n",
        f"`lists/{file}.xlsx`, `lists/{file}.csv`\n",
        "| heading | name in the CSV | what it holds |",
        "|---|---|---|",
        *rows,
        "",
    ]
    if to_fill_in:
        lines += ["To fill in, in the workbook only:\n", "| heading | what to write |", "|---|---|"]
        lines += [f"| {one.title} | {one.meaning}{_choices(one)} |" for one in to_fill_in]
        lines.append("")
    return lines


def _meaning(found: Column) -> str:
    words = f": {', '.join(found.domain)}" if found.domain and ":" not in found.meaning else ""
    return (in_units(found.meaning, "us") + words).replace("|", "\\|")


def _choices(one: ResultColumn) -> str:
    return f": {', '.join(one.choices)}" if one.choices else ""
