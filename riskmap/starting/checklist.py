"""The checklist of a first day: what to answer, what is missing, and where to get it."""

from __future__ import annotations

from collections.abc import Sequence

from riskmap.publish.words.text_safety import plain_text
from riskmap.region.layers import NEEDED
from riskmap.starting.layers import Findings
from riskmap.starting.open_sources import OPEN_SOURCES
from riskmap.starting.opening import Bounds


def checklist_text(findings: Findings, *, place: Bounds | None, warnings: Sequence[str]) -> str:
    """Write the checklist (Markdown).

    Parameters
    ----------
    findings
        What was recognized, and what was not.
    place
        Extent of the county in degrees, where it is known.
    warnings
        What looks wrong with the files.
    """
    have = {one.layer for one in findings.layers}
    lines = ["# Checklist", "", "## First", ""]
    lines += [f"- [ ] {warning}" for warning in warnings]
    lines += [
        "- [ ] Answer each ASK and look at each CHECK in region.toml.",
        "- [ ] `riskmap check region.toml` says what joins, what is covered, what is ranked.",
        "- [ ] `riskmap run region.toml --out result`, then open result/index.html.",
    ]
    lines += ["", "## Missing, what helps most first", ""]
    if place is not None:
        west, south, east, north = place
        lines += [
            f"Extent to ask for: west {west:.3f}, south {south:.3f}, east {east:.3f}, "
            f"north {north:.3f} (degrees).",
            "",
        ]
    fetched = [name for name, source in OPEN_SOURCES.items() if source.fetched and name not in have]
    if fetched:
        lines += [
            "Got by itself, for these layers: `riskmap fetch open_data --outline PARCELS --layers "
            f"{' '.join(fetched)}`",
            "",
        ]
    for layer, source in OPEN_SOURCES.items():
        if layer in have:
            continue
        need = " (needed)" if layer in NEEDED else ""
        lines += [f"- [ ] **{layer}**{need}: {source.adds}", f"  - Source: {source.name}."]
        if source.address:
            lines.append(f"  - Address: <{source.address}> (from memory)")
        lines += [f"  - How: {source.clicks}", f"  - License: {source.license}."]
    asked = [
        f"- [ ] {one.layer}.{guess.column.name} = {plain_text(guess.source)}: {mark}"
        for one in findings.layers
        for guess in one.guesses
        for mark in guess.marks
    ]
    if asked:
        lines += ["", "## To look at", "", *asked]
    if findings.unused:
        lines += ["", "## Files not used", ""]
        lines += [
            f"- {plain_text(sheet.label)}: {plain_text(why)}" for sheet, why in findings.unused
        ]
    return "\n".join(lines) + "\n"
