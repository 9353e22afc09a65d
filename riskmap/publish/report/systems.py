"""Parts of the report: how many systems there are, how they are known, how old they are."""

from __future__ import annotations

from typing import Final

import pandas as pd

from riskmap.contract.evidence import EVIDENCE, EVIDENCE_MEANINGS
from riskmap.contract.features import declared, meaning
from riskmap.contract.quantities import Units, percent
from riskmap.contract.vocabulary import SERVICE
from riskmap.publish.report.charts import ages_figure, evidence_bar, evidence_legend
from riskmap.publish.report.section import Block, Cell, Section, Table, counted
from riskmap.publish.summary import SERVICE_WORDS
from riskmap.publish.words.report_text import evidence_counts, numbers, words_of
from riskmap.ranking.model import Model

OTHERS: Final = "Other kinds"
KINDS_DRAWN: Final = 5
"""Kinds with a panel of their own; the others share one."""


def systems_section(ranked: pd.DataFrame) -> Section:
    """How many parcels there are, where their sewage goes, and which kinds of system."""
    total = len(ranked)
    onsite = int(ranked["rank"].notna().sum())
    apart = int(ranked["apart_rank"].notna().sum()) if "apart_rank" in ranked else 0
    text = (
        f"The county has {counted(total, 'parcel')}. {onsite:,} ({percent(onsite, total)}) are "
        "known or taken to have an onsite system and are ranked."
    )
    if apart:
        text += (
            f" For {counted(apart, 'parcel')} it is not known where the sewage goes: they are "
            "scored, but ranked apart."
        )
    blocks: list[Block] = [text, _service_table(ranked)]
    if "not_ranked_reason" in ranked:
        blocks += _not_ranked(ranked)
    blocks += _kinds(ranked)
    return Section("How many systems there are", blocks)


def _service_table(ranked: pd.DataFrame) -> Table:
    service = ranked["service"].astype(object).where(ranked["service"].notna(), "unknown")
    rows = []
    for word in SERVICE:
        these = ranked[service == word]
        counts = evidence_counts(these, "service")
        shares = [percent(count, len(these)) for count in counts[:-1]]
        rows.append((SERVICE_WORDS.get(word, words_of(word)), f"{len(these):,}", *shares))
    heads = ("Where sewage goes", "Parcels", *(word.capitalize() for word in EVIDENCE[:-1]))
    return Table(heads, rows, frozenset(range(1, 6)), "Parcels by service, and how it is known")


def _not_ranked(ranked: pd.DataFrame) -> list[Block]:
    reasons = ranked.loc[ranked["rank"].isna(), "not_ranked_reason"].dropna()
    counts = reasons[reasons != ""].value_counts().sort_index(kind="stable")
    counts = counts.sort_values(ascending=False, kind="stable")
    if counts.empty:
        return []
    rows = [(words_of(word), f"{count:,}") for word, count in counts.items()]
    heads = ("Why a parcel has no place on the list", "Parcels")
    return [Table(heads, rows, frozenset({1}), "Parcels without a rank")]


def _kinds(ranked: pd.DataFrame) -> list[Block]:
    systems = ranked[ranked["rank"].notna()]
    if systems.empty or "kind" not in systems:
        return []
    kinds = systems["kind"].astype(object).where(systems["kind"].notna(), "unknown")
    rows = []
    for kind, count in (
        kinds.value_counts().sort_index().sort_values(ascending=False, kind="stable").items()
    ):
        measured = evidence_counts(systems[kinds == kind], "kind")[0]
        known = percent(measured, count) if kind != "unknown" else "–"
        rows.append((words_of(kind, "kind"), f"{count:,}", percent(count, len(systems)), known))
    heads = ("Kind of system", "Systems", "Share", "Kind is on record")
    return [Table(heads, rows, frozenset({1, 2, 3}), "Ranked systems by kind")]


def known_section(ranked: pd.DataFrame, model: Model, *, units: Units) -> Section:
    """How each item that the ranking reads is known, as a picture and as numbers.

    Parameters
    ----------
    ranked
        The ranked table with evidence marks.
    model
        The scoring model, whose features are listed.
    units
        ``us`` or ``si``.
    """
    title = "How well they are known"
    systems = ranked[ranked["rank"].notna()]
    if systems.empty:
        return Section(title, ("No parcel is ranked.",))
    always = [found.name for found in declared(in_report="known")]
    columns = dict.fromkeys([*always, *(factor.feature for factor in model.factors)])
    counts = {meaning(c, units): evidence_counts(systems, c) for c in columns if c in systems}
    order = sorted(counts, key=lambda name: (-_known_well(counts[name]), name))
    rows: list[tuple[Cell, ...]] = [
        (
            name,
            evidence_bar(counts[name]),
            *(percent(count, len(systems)) if count else "" for count in counts[name]),
        )
        for name in order
    ]
    meanings = "; ".join(f"{word}: {EVIDENCE_MEANINGS[word]}" for word in EVIDENCE)
    heads = ("Item", "", *(word.capitalize() for word in EVIDENCE))
    return Section(
        title,
        (
            f"Every value carries a mark that says how it is known ({meanings}). Unknown is not "
            "safe: where nothing is known, the score uses a stated middle value.",
            evidence_legend(),
            Table(heads, rows, frozenset(range(2, 7)), "Share of ranked systems by mark"),
        ),
    )


def _known_well(counts: list[int]) -> float:
    """Rank items from well known to unknown, by the weight of each mark."""
    return sum(count * weight for count, weight in zip(counts, (4, 3, 2, 1, 0), strict=True))


def ages_section(ranked: pd.DataFrame) -> Section:
    """Age histograms by kind of system."""
    title = "How old they are"
    systems = ranked[ranked["rank"].notna()]
    if systems.empty or "age_yr" not in systems or not systems["age_yr"].notna().any():
        return Section(title, ("No age of a ranked system is known.",))
    years = numbers(systems["age_yr"])
    counts = evidence_counts(systems, "age_yr")
    old = int((years >= 30).sum())
    missing = f"; for {counted(counts[-1], 'system')} it is not known" if counts[-1] else ""
    text = (
        f"The age comes from a record for {percent(counts[0], len(systems))} of the ranked systems"
        f"{missing}. "
        f"{counted(old, 'system')} ({percent(old, len(systems))}) are 30 years old or more as far "
        "as is known."
    )
    if "age_yr_evidence" in systems:
        recorded = (systems["age_yr_evidence"] == "measured").to_numpy(bool, na_value=False)
    else:
        recorded = systems["age_yr"].notna().to_numpy()
    groups = _kind_groups(systems)
    panels = {
        name: (years[(groups == name).to_numpy()], recorded[(groups == name).to_numpy()])
        for name in _largest_first(groups)
    }
    return Section(title, (text, ages_figure(panels)))


def _kind_groups(systems: pd.DataFrame) -> pd.Series:
    """Kind of each system in words; rare kinds together."""
    if "kind" not in systems:
        return pd.Series("All systems", index=systems.index)
    kinds = (
        systems["kind"]
        .astype(object)
        .where(systems["kind"].notna(), "unknown")
        .map(lambda kind: words_of(kind, "kind"))
    )
    counts = kinds.value_counts().sort_index().sort_values(ascending=False, kind="stable")
    if len(counts) <= KINDS_DRAWN + 1:
        return kinds.replace("Unknown", "Kind unknown")
    kept = counts.index[:KINDS_DRAWN]
    return kinds.where(kinds.isin(kept), OTHERS).replace("Unknown", "Kind unknown")


def _largest_first(groups: pd.Series) -> list[str]:
    """Group names by size, those put together last."""
    sizes = {str(name): int(count) for name, count in groups.value_counts().items()}
    return sorted(sizes, key=lambda name: (name == OTHERS, -sizes[name], name))
