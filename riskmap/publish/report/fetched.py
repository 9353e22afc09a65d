"""Part of the report: the open data behind it, with license and citation."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from riskmap.contract.features import as_word
from riskmap.publish.report.section import Section, Table
from riskmap.publish.words.text_safety import plain_text


def fetched_section(fetched: Sequence[Mapping[str, Any]]) -> list[Section]:
    """Say where each fetched layer comes from; no section where none was fetched."""
    if not fetched:
        return []
    rows: list[tuple[str, ...]] = []
    for citation in dict.fromkeys((one["layer"], one["citation"]) for one in fetched):
        files = [one for one in fetched if (one["layer"], one["citation"]) == citation]
        layer, said = citation
        license_ = plain_text(files[0]["license"])
        rows.append((str(as_word(layer)), plain_text(said), license_, f"{len(files):,}"))
    heads = ("Layer", "Citation", "License", "Files")
    text = "These layers were fetched from public services. Cite them as the table says."
    return [Section("Open data used", (text, Table(heads, rows, frozenset({3}))))]
