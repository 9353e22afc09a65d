"""The front page of a result: what was found, where everything lies, what to be careful about."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment, StrictUndefined

from riskmap.publish import palette
from riskmap.publish.outputs import OUTPUTS
from riskmap.publish.words.cautions import CAUTIONS
from riskmap.publish.words.imprint import Imprint, imprint_of
from riskmap.publish.words.text_safety import plain_text
from riskmap.stages.result import Result
from riskmap.stages.stage import File, RunFacts

MOST_NAMED = 20
"""Files kept from the earlier result that are named one by one."""


def front_page(folder: Path, result: Result, facts: RunFacts) -> None:
    """Write ``index.html`` of a run.

    Parameters
    ----------
    folder
        The result folder.
    result
        Gives the county and the summary of the run.
    facts
        Files written by this run, and those kept from the result before it.
    """
    text = compose_front_page(
        result.things["summary"]["found"],
        imprint_of(result.region),
        links=links_to(facts.written),
        kept=facts.kept,
    )
    (folder / "index.html").write_bytes(text.encode("utf-8"))


def links_to(written: Sequence[str]) -> list[File]:
    """Files that the page links: those declared so that were written, in their order."""
    there = set(written)
    every = (file for output in OUTPUTS for file in output.files)
    return [file for file in every if file.linked and file.path in there]


def compose_front_page(
    found: Mapping[str, Any],
    imprint: Imprint,
    *,
    links: Sequence[File] = (),
    kept: Sequence[str] = (),
) -> str:
    """Return the page's text; everything from outside is escaped by the template engine.

    Parameters
    ----------
    found
        From :func:`riskmap.publish.summary.found_of`.
    imprint
        County and day.
    links
        Files to link.
    kept
        What people had changed in the result before this one, where it is kept now.
    """
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    environment.filters["thousands"] = lambda value: f"{value:,}"
    source = (files("riskmap.publish") / "templates" / "front_page.html").read_text("utf-8")
    return environment.from_string(source).render(
        county=plain_text(imprint.county),
        date=imprint.date.isoformat(),
        service=found["service"],
        classes=[each | {"color": palette.CLASS_COLORS[each["name"]]} for each in found["classes"]],
        ranked_count=found["ranked"],
        parcel_count=found["parcels"],
        missing=found["missing"],
        top=found["top"],
        links=links,
        has_map=any(link.path == "map/index.html" for link in links),
        defects=found["defects"],
        cautions=CAUTIONS,
        kept=[plain_text(path) for path in kept[:MOST_NAMED]],
        kept_more=max(0, len(kept) - MOST_NAMED),
        colors=palette.PAGE_COLORS,
    )
