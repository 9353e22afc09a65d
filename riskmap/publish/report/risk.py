"""Parts of the report: where the risk is, how the scores spread, what drives the list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.contract.features import ranks
from riskmap.contract.quantities import POINTS, Units, percent
from riskmap.contract.vocabulary import CLASSES
from riskmap.publish.report.charts import drivers_figure, scores_figure
from riskmap.publish.report.map import map_figure
from riskmap.publish.report.section import Block, Section, Table, counted
from riskmap.publish.words.report_text import numbers, words_of
from riskmap.publish.words.text_safety import plain_text
from riskmap.ranking.model import Model

FEW_SYSTEMS: Final = 10
"""Systems below which a neighborhood gets no share: one system would move it by a tenth."""

NEIGHBORHOODS: Final = 25
"""Neighborhoods with a row of their own."""

DRAWN: Final = 12
"""Factors in the picture of what drives the list: those that differ most."""

SCORES: Final = {column.name: column.label for column in ranks.SCORES if column.quantity is POINTS}
"""The priority and the two scores behind it -> labels."""
UPPER: Final = ("very high", "high")
NONE_RANKED: Final = "No parcel is ranked."


def places_section(
    ranked: gpd.GeoDataFrame,
    *,
    cuts: Sequence[float],
    units: Units,
    top: int,
    layers: Mapping[str, gpd.GeoDataFrame] | None,
) -> Section:
    """Map by class and table by neighborhood.

    Parameters
    ----------
    ranked
        All parcels with lots, ``priority`` and rank.
    cuts
        The four scores between the five classes, rising.
    units
        ``us`` or ``si``.
    top
        Length of the list.
    layers
        ``streams`` and ``waterbodies`` for the map, where there are any.
    """
    systems = ranked[ranked["rank"].notna()]
    if systems.empty:
        return Section("Where the risk is", (NONE_RANKED,))
    blocks: list[Block] = []
    picture = map_figure(ranked, cuts=cuts, units=units, layers=layers)
    if picture is not None:
        blocks.append(picture)
    if "neighborhood" in systems:
        blocks.append(_neighborhood_table(systems, top))
    return Section("Where the risk is", blocks)


def neighborhoods(systems: pd.DataFrame, *, top: int) -> pd.DataFrame:
    """One row per neighborhood, the one with most systems of high or very high priority first.

    Columns ``systems, upper, middle, head``: ranked systems, those in the two highest classes, the
    middle priority, those among the first `top`.
    """
    names = systems["neighborhood"].astype(object)
    names = names.where(names.notna() & (names != ""), "(no neighborhood given)")
    table = pd.DataFrame(
        {
            "upper": systems["priority_class"].isin(UPPER).to_numpy(),
            "priority": numbers(systems["priority"]),
            "head": (systems["rank"] <= top).to_numpy(bool, na_value=False),
        }
    )
    grouped = table.groupby(names.astype(str).to_numpy())
    found = pd.DataFrame(
        {
            "systems": grouped.size(),
            "upper": grouped["upper"].sum(),
            "middle": grouped["priority"].median(),
            "head": grouped["head"].sum(),
        }
    )
    return found.sort_values(["upper", "systems"], ascending=False, kind="stable")


def _neighborhood_table(systems: pd.DataFrame, top: int) -> Table:
    found = neighborhoods(systems, top=top)
    rows = [_neighborhood_row(name, row) for name, row in found.head(NEIGHBORHOODS).iterrows()]
    rest = found.iloc[NEIGHBORHOODS:]
    if len(rest):
        total = rest[["systems", "upper", "head"]].sum()
        rows.append(
            (
                f"The other {counted(len(rest), 'neighborhood')}",
                f"{total['systems']:,}",
                f"{total['upper']:,}",
                percent(total["upper"], total["systems"]),
                "–",
                f"{total['head']:,}",
            )
        )
    few = int((found["systems"] < FEW_SYSTEMS).sum())
    note = f"Fewer than {FEW_SYSTEMS} systems: no share and no middle, one system would sway them."
    heads = (
        "Neighborhood",
        "Systems",
        "High or very high",
        "Share",
        "Middle priority",
        f"In the first {top:,}",
    )
    return Table(
        heads,
        rows,
        frozenset(range(1, 6)),
        "Ranked systems by neighborhood, most systems of high or very high priority first",
        note if few else "",
    )


def _neighborhood_row(name: object, row: pd.Series) -> tuple[str, ...]:
    systems, upper, head = (int(row[key]) for key in ("systems", "upper", "head"))
    few = systems < FEW_SYSTEMS
    return (
        plain_text(name),
        f"{systems:,}",
        f"{upper:,}",
        "few systems" if few else percent(upper, systems),
        "few systems" if few else f"{row['middle']:.0f}",
        f"{head:,}",
    )


def scores_section(ranked: pd.DataFrame, *, cuts: Sequence[float]) -> Section:
    """Histograms of the three scores and counts by class."""
    title = "How the scores spread"
    systems = ranked[ranked["rank"].notna()]
    if systems.empty:
        return Section(title, (NONE_RANKED,))
    bounds = [0.0, *cuts, 100.0]
    rows = []
    for place, word in enumerate(CLASSES):
        low, high = bounds[4 - place], bounds[5 - place]
        counts = [
            int((systems[column.replace("_score", "") + "_class"] == word).sum())
            for column in SCORES
        ]
        shown = [f"{count:,} ({percent(count, len(systems))})" for count in counts]
        ends = f"{low:g} and more" if place == 0 else f"{low:g} to under {high:g}"
        rows.append((words_of(word), ends, *shown))
    return Section(
        title,
        (
            "Scores run from 0 to 100. The classes are cut at fixed scores, so their sizes say "
            "something about the county; the rank is what sets the order of work.",
            scores_figure({SCORES[c]: numbers(systems[c]) for c in SCORES}, cuts=cuts),
            Table(
                ("Class", "Score", *SCORES.values()),
                rows,
                frozenset({2, 3, 4}),
                "Ranked systems by class",
            ),
        ),
    )


def factor_points(ranked: pd.DataFrame, model: Model) -> pd.DataFrame:
    """Points of each factor in both scores of the ranked systems; columns are factor names.

    A factor's points in its score times the share of that score; factors without a points column
    are left out.
    """
    systems = ranked[ranked["rank"].notna()]
    return pd.DataFrame(
        {
            factor.name: numbers(systems[f"{factor.name}_points"]) * model.share(factor.score)
            for factor in model.factors
            if f"{factor.name}_points" in systems
        },
        index=systems.index,
    )


def drivers(ranked: pd.DataFrame, model: Model, *, top: int) -> pd.DataFrame:
    """Mean points in the scores at the head of the list and among the rest, by factor.

    Returns
    -------
    DataFrame
        Index: factor name; ``top, rest, difference, leads`` (times it gives most points among the
        first `top`); greatest difference first.

    Parameters
    ----------
    ranked
        The ranked table with the points of each factor.
    model
        The scoring model.
    top
        Length of the list.
    """
    points = factor_points(ranked, model)
    head = (ranked.loc[points.index, "rank"] <= top).to_numpy(bool)
    found = pd.DataFrame({"top": points[head].mean(), "rest": points[~head].mean()})
    found["difference"] = found["top"] - found["rest"]
    leading = points[head].fillna(-1.0).idxmax(axis=1) if head.any() else pd.Series(dtype=object)
    found["leads"] = leading.value_counts().reindex(found.index).fillna(0).astype(int)
    return found.sort_values("difference", ascending=False, kind="stable")


def drivers_section(ranked: pd.DataFrame, model: Model, *, top: int) -> Section:
    """Which factors give the points at the head of the list, and which set it apart.

    Parameters
    ----------
    ranked, model, top
        As in :func:`drivers`.
    """
    title = "What drives the list"
    points = factor_points(ranked, model)
    if points.empty or len(points) <= top:
        return Section(title, ("There are too few ranked systems to compare.",))
    found = drivers(ranked, model, top=top)
    labels = {factor.name: factor.label for factor in model.factors}
    scores = {factor.name: factor.score for factor in model.factors}
    order = np.argsort(-found["difference"].abs().to_numpy(float), kind="stable")
    widest = found.index[order[:DRAWN]]
    shown = found[found.index.isin(widest)]
    picture = drivers_figure(
        [labels[str(name)] for name in shown.index],
        shown["top"].to_numpy(float),
        shown["rest"].to_numpy(float),
        top_words=f"First {top:,} of the list",
    )
    rows = [
        (
            labels[str(name)],
            words_of(scores[str(name)]),
            f"{row['top']:.2f}",
            f"{row['rest']:.2f}",
            f"{row['difference']:+.2f}",
            f"{int(row['leads']):,}",
        )
        for name, row in found.iterrows()
    ]
    heads = ("Factor", "Score", f"First {top:,}", "All others", "Difference", "Leads")
    return Section(
        title,
        (
            "Each factor adds points; together they make the failure and the groundwater score. "
            f"The order of the list comes from the chances. The first {top:,} systems are "
            f"set against the other {len(points) - top:,}. The picture has the factors in "
            "which the two differ most, the table all of them. Leads: how many of the first "
            "have this as their largest part.",
            picture,
            Table(heads, rows, frozenset({2, 3, 4, 5}), "Mean points in the two scores"),
        ),
    )
