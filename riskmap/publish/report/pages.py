"""The county report: one page of HTML that prints well, with its figures inside.

It names no parcel, address or owner: it is about systems, classes and neighborhoods. It needs no
network and no other file. The same county gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pandas as pd
from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from riskmap.contract.features import label
from riskmap.contract.quantities import Units, percent
from riskmap.contract.rules import Rules
from riskmap.contract.versions import package_versions
from riskmap.contract.vocabulary import CLASSES, ON_FILE
from riskmap.failure.aging import AgingModel
from riskmap.publish import palette
from riskmap.publish.report.method import method_section, settings_section
from riskmap.publish.report.quality import (
    collect_section,
    look_up_facts,
    missing_records,
    quality_section,
)
from riskmap.publish.report.risk import (
    FEW_SYSTEMS,
    classes_section,
    drivers,
    drivers_section,
    factor_points,
    neighborhoods,
    places_section,
)
from riskmap.publish.report.science import Tables, aging_section, groundwater_section
from riskmap.publish.report.section import Figure, Section, Table, counted
from riskmap.publish.report.systems import ages_section, known_section, systems_section
from riskmap.publish.words.cautions import CAUTIONS, LOCAL_CODE, SCREENING, STAFF_REPORT
from riskmap.publish.words.chance_words import chance_words
from riskmap.publish.words.class_words import IN_LINE
from riskmap.publish.words.imprint import Imprint
from riskmap.publish.words.report_text import evidence_counts, numbers
from riskmap.publish.words.text_safety import plain_text
from riskmap.ranking.model import Model

STILL_ON_PAPER: Final = 12
"""Rows of a table that stay together on a printed page."""


@dataclass(frozen=True)
class Findings:
    """What a report shows besides the ranked table; each part is left out where it is None.

    Parameters
    ----------
    survival
        Table of :func:`riskmap.failure.service_life.survival_table`, or kind -> table.
    aging
        Kind -> curve that the run used.
    information
        Table of :func:`riskmap.ranking.information.collection_list`.
    defects
        Every defect met in reading.
    rows_read
        Layer -> rows read.
    sections
        Further parts (validation, drift, fairness, doubt), in the order of the report.
    map_layers
        ``streams`` and ``waterbodies`` for the map, where there are any.
    settings
        As in the run record.
    """

    survival: Tables | None = None
    aging: Mapping[str, AgingModel] | None = None
    information: pd.DataFrame | None = None
    defects: pd.DataFrame | None = None
    rows_read: Mapping[str, int] | None = None
    sections: Sequence[Section] = field(default_factory=tuple)
    map_layers: Mapping[str, gpd.GeoDataFrame] = field(default_factory=dict)
    settings: Mapping[str, Any] | None = None


def write_report(
    folder: Path,
    ranked: gpd.GeoDataFrame,
    imprint: Imprint,
    *,
    model: Model,
    rules: Rules,
    head: int,
    visits: int,
    findings: Findings | None = None,
) -> Path:
    """Write ``report/index.html`` into `folder`; returns its path.

    Parameters
    ----------
    folder
        The result folder.
    ranked
        One row per parcel with lot shapes, features with evidence marks, scores, points, ranks.
    imprint
        County, day, units, and whom to call.
    model
        The scoring model.
    rules
        The county's rules: the horizon, the wells' setback.
    head
        Length of the list: so many systems are set against the rest.
    visits
        Visits of a season to systems that are to be found.
    findings
        What there is to report besides the table.
    """
    text = compose_report(
        ranked,
        imprint,
        model=model,
        rules=rules,
        head=head,
        visits=visits,
        findings=findings or Findings(),
    )
    path = folder / "report" / "index.html"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text.encode("utf-8"))
    return path


def compose_report(
    ranked: gpd.GeoDataFrame,
    imprint: Imprint,
    *,
    model: Model,
    rules: Rules,
    head: int,
    visits: int,
    findings: Findings,
) -> str:
    """Return the report's text; see :func:`write_report`.

    Parameters
    ----------
    ranked, imprint, model, rules, head, visits, findings
        As there.
    """
    units = imprint.units
    science = (
        aging_section(
            ranked,
            units=units,
            survival=findings.survival,
            aging=findings.aging,
            horizon_yr=rules.horizon_yr,
        ),
        groundwater_section(ranked, units=units, well_setback_m=rules.well_setback_m),
    )
    sections = [
        systems_section(ranked),
        known_section(ranked, model, units=units),
        ages_section(ranked),
        places_section(ranked, units=units, top=head, layers=findings.map_layers),
        classes_section(ranked, visits=visits),
        drivers_section(ranked, model, top=head),
        *(section for section in science if section is not None),
        *findings.sections,
        quality_section(findings.defects, rows_read=findings.rows_read),
        collect_section(ranked, model, units=units, top=head, information=findings.information),
        method_section(model, units=units),
        settings_section(settings=findings.settings, versions=package_versions(), units=units),
    ]
    return _page(
        sections,
        county=plain_text(imprint.county),
        date=imprint.date.isoformat(),
        contact=plain_text(imprint.contact),
        facts=key_facts(ranked, model, units=units, top=head, information=findings.information),
        cautions=[plain_text(caution) for caution in CAUTIONS],
    )


def key_facts(
    ranked: pd.DataFrame,
    model: Model,
    *,
    units: Units,
    top: int,
    information: pd.DataFrame | None = None,
) -> list[str]:
    """Give the few things to know, in sentences.

    Parameters
    ----------
    ranked
        The ranked table.
    model
        The scoring model.
    units
        ``us`` or ``si``.
    top
        Length of the list.
    information
        What look-ups would bring, best first; None: left out.
    """
    systems = ranked[ranked["rank"].notna()]
    total = len(systems)
    if not total:
        return [f"None of the {counted(len(ranked), 'parcel')} could be ranked."]
    owed = systems["worklist"].eq(ON_FILE).fillna(False)
    facts = [
        f"{counted(total, 'onsite system')} of {counted(len(ranked), 'parcel')} are ranked.",
        f"{counted(int(owed.sum()), 'system')} are on file: found failed, or complained of at "
        "least twice, with no later repair. They are to be followed up.",
        *_expected_facts(systems[systems["priority_class"] == CLASSES[1]]),
    ]
    if "age_yr" in systems and "kind" in systems:
        recorded = evidence_counts(systems, "age_yr")[0]
        unknown = evidence_counts(systems, "kind")[-1]
        facts.append(
            f"The age is on record for {percent(recorded, total)} of them; the kind of system is "
            f"unknown for {percent(unknown, total)}."
        )
    if "neighborhood" in systems:
        places = neighborhoods(systems, top=top)
        places = places[places["systems"] >= FEW_SYSTEMS]
        if len(places) and places["upper"].iloc[0]:
            most = places.iloc[0]
            facts.append(
                f"The most systems {IN_LINE} in one neighborhood are in "
                f"{plain_text(places.index[0])}: {int(most['upper']):,} of its "
                f"{int(most['systems']):,} ranked systems."
            )
    return [*facts, *_driver_facts(ranked, model, units, top), *look_up_facts(information)]


def _expected_facts(first: pd.DataFrame) -> list[str]:
    """Say how many of those that a season reaches first are expected to have failed."""
    if first.empty or "chance_failed_frac" not in first:
        return []
    expected = float(numbers(first["chance_failed_frac"]).sum())
    return [
        f"Of the {len(first):,} that a season reaches first to find others, about "
        f"{expected:,.0f} are expected to have failed: {chance_words(expected / len(first))}."
    ]


def _driver_facts(ranked: pd.DataFrame, model: Model, units: Units, top: int) -> list[str]:
    facts = []
    if len(factor_points(ranked, model)) > top:
        labels = {factor.name: factor.label.lower() for factor in model.factors}
        leading = [labels[str(name)] for name in drivers(ranked, model, top=top).index[:3]]
        facts.append(f"What sets the first {top:,} of the list apart most: {_listed(leading)}.")
    missing = missing_records(ranked, model, top=top)
    missing = missing[missing["head"] > 0]
    if len(missing):
        record = label(str(missing.index[0]), units)
        facts.append(
            f"Most often missing among the first {top:,}: {record.lower()}, not known for "
            f"{int(missing['head'].iloc[0]):,} of the first {top:,}."
        )
    return facts


def _listed(words: Sequence[str]) -> str:
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def plain_page(
    sections: Sequence[Section], imprint: Imprint, *, title: str, facts: Sequence[str]
) -> str:
    """Compose a page of its own in the report's looks.

    Parameters
    ----------
    sections
        Its parts.
    imprint
        County, day, and whom to call.
    title
        Follows the county's name.
    facts
        Sentences at the head.
    """
    return _page(
        sections,
        county=f"{plain_text(imprint.county)}: {title.lower()}",
        date=imprint.date.isoformat(),
        contact=plain_text(imprint.contact),
        facts=[plain_text(fact) for fact in facts],
        cautions=[plain_text(caution) for caution in CAUTIONS],
    )


def _page(sections: Sequence[Section], **context: Any) -> str:
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["plain"] = plain_text
    environment.filters["drawing"] = lambda figure: Markup(figure.svg)
    environment.tests["table"] = lambda block: isinstance(block, Table)
    environment.tests["figure"] = lambda block: isinstance(block, Figure)
    source = (files("riskmap.publish.report") / "report.html").read_text("utf-8")
    return environment.from_string(source).render(
        sections=[(f"part-{place}", section) for place, section in enumerate(sections, start=1)],
        staff=STAFF_REPORT,
        screening=SCREENING,
        local_code=LOCAL_CODE,
        short=STILL_ON_PAPER,
        colors={
            "ink": palette.INK,
            "soft": palette.SOFT_INK,
            "paper": palette.PAPER,
            "panel": palette.PANEL,
            "line": palette.LINE,
            "accent": palette.ACCENT,
            "warn_ink": palette.WARN_INK,
            "warn_paper": palette.WARN_PAPER,
        },
        **context,
    )
