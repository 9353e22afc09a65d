"""Parts of the report: where the risk is, how the scores spread, what drives the list."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.contract.features import ranks
from riskmap.contract.quantities import POINTS, Units, percent
from riskmap.contract.vocabulary import FIRST_CLASSES
from riskmap.publish.report.charts import drivers_figure, scores_figure
from riskmap.publish.report.map import map_figure
from riskmap.publish.report.section import Block, Section, Table, counted, number
from riskmap.publish.words.class_words import IN_LINE, class_chances, class_meanings
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
NONE_RANKED: Final = "No parcel is ranked."


def places_section(
    ranked: gpd.GeoDataFrame,
    *,
    units: Units,
    top: int,
    layers: Mapping[str, gpd.GeoDataFrame] | None,
) -> Section:
    """Map by class and table by neighborhood.

    Parameters
    ----------
    ranked
        All parcels with lots, ``priority`` and rank.
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
    picture = map_figure(ranked, units=units, layers=layers)
    if picture is not None:
        blocks.append(picture)
    if "neighborhood" in systems:
        blocks.append(_neighborhood_table(systems, top))
    return Section("Where the risk is", blocks)


def neighborhoods(systems: pd.DataFrame, *, top: int) -> pd.DataFrame:
    """One row per neighborhood, the one with most systems in line for a visit first.

    Columns ``systems, upper, middle, head``: ranked systems, those on file or first in line,
    the middle priority, those among the first `top`.
    """
    names = systems["neighborhood"].astype(object)
    names = names.where(names.notna() & (names != ""), "(no neighborhood given)")
    table = pd.DataFrame(
        {
            "upper": systems["priority_class"].isin(FIRST_CLASSES).to_numpy(),
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
        "In line",
        "Share",
        "Middle priority",
        f"In the first {top:,}",
    )
    return Table(
        heads,
        rows,
        frozenset(range(1, 6)),
        f"Ranked systems by neighborhood, most {IN_LINE} first",
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


def classes_section(ranked: pd.DataFrame, *, visits: int) -> Section:
    """Systems and chances by class, and how the scores spread.

    Parameters
    ----------
    ranked
        The ranked table.
    visits
        Visits of a season to systems that are to be found.
    """
    title = "Who is in line"
    systems = ranked[ranked["rank"].notna()]
    if systems.empty:
        return Section(title, (NONE_RANKED,))
    chances = class_chances(systems)
    rows = []
    for word, held in class_meanings(visits).items():
        these = systems[systems["priority_class"] == word]
        expected = number(numbers(these["chance_failed_frac"]).sum()) if chances else "–"
        rows.append((words_of(word), held, f"{len(these):,}", chances.get(word, "–"), expected))
    return Section(
        title,
        (
            "The classes say which season of visits reaches a system; systems on file are followed "
            "up, whatever their chance. The 0 to 100 scores say what the site and the records say "
            "and do not set the order.",
            Table(
                ("Class", "Holds", "Systems", "Chance of having failed", "Failed, expected"),
                rows,
                frozenset({2, 4}),
                "Ranked systems by class of priority",
                "Chance: the middle eight tenths of the class. Expected: the sum of the chances.",
            ),
            scores_figure({SCORES[c]: numbers(systems[c]) for c in SCORES}),
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
