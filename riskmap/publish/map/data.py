"""Turn the ranked table into the packed files that the map page opens.

``parcels`` (shapes and classes: enough to paint), ``facts`` (what is searched and filtered: read
after the first paint) and ``details`` (reasons, facts, doubt and limitations: read with the first
card). Layers are packed by :mod:`riskmap.publish.map.layers`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from riskmap.contract.evidence import EVIDENCE
from riskmap.contract.features import WHY, as_words
from riskmap.contract.features.card import SITE
from riskmap.contract.quantities import Units
from riskmap.contract.vocabulary import CLASSES, MAY_BE_ONSITE, NOT_RANKED, STAGES
from riskmap.publish.map.column_plan import Coded
from riskmap.publish.map.doubt import pack_doubt
from riskmap.publish.map.facts import (
    FILTERED,
    LEDGER,
    PAINTED,
    Fact,
    pack_evidence,
    pack_fact,
)
from riskmap.publish.map.model import LIMITATION_STEPS
from riskmap.publish.map.outlines import pack_shapes
from riskmap.publish.map.packing import Package, pack_codes, pack_numbers, pack_text, pack_words

ROW_MARK: Final = "|"
CELL_MARK: Final = "~"
"""What parts the lines of a ledger, and the words, the term and the sum of a line."""
SHOWN_SCORES: Final = ("priority", "failure", "groundwater")
LOT_TOLERANCE_M: Final = 0.15
"""Corners of lots that lie closer to the straight line than this are left out of the page."""

BLOCK_ROWS: Final = 16_384
"""Parcels whose details lie in one file: a card reads one."""

POLYGON, MULTIPOLYGON = 3, 6
"""Kinds of shape as shapely numbers them; -1 is missing."""


def drawable(ranked: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Rows that have a shape, along a space-filling curve so that neighbors pack together."""
    solid = np.isin(shapely.get_type_id(ranked.geometry.values), (POLYGON, MULTIPOLYGON))
    rows = ranked[solid & ~shapely.is_empty(ranked.geometry.values)]
    if rows.empty:
        return rows
    along = rows.geometry.hilbert_distance(level=14).to_numpy()
    return rows.iloc[np.argsort(along, kind="stable")]


def pack_parcels(rows: gpd.GeoDataFrame) -> Package:
    """Shapes, the three classes, the likely stage, who is ranked apart, whose stage is assumed."""
    package = Package()
    thinned = shapely.simplify(rows.geometry.values, LOT_TOLERANCE_M, preserve_topology=True)
    pack_shapes(package, gpd.GeoSeries(thinned, crs=rows.crs))
    columns: dict[str, Any] = {}
    for score in SHOWN_SCORES:
        classes = rows[f"{score}_class"].astype(object).where(lambda c: c.notna(), NOT_RANKED)
        columns[f"{score}_class"] = pack_codes(package, classes, (*CLASSES, NOT_RANKED))
    has_class = rows["priority_class"].notna() & (rows["priority_class"] != NOT_RANKED)
    apart = has_class & _column(rows, "rank").isna()
    columns["apart"] = pack_codes(package, apart.map({True: "apart", False: ""}))
    if "stage" in rows:
        worst_first = STAGES[::-1]
        columns["stage"] = pack_codes(package, rows["stage"], worst_first)
        columns["stage_evidence"] = pack_codes(package, _text(rows, "stage_evidence"), EVIDENCE)
    package.header["columns"] = columns
    return package


def served(rows: pd.DataFrame) -> np.ndarray:
    """Flag parcels that have, or may have, a system: most columns are empty elsewhere."""
    named = _text(rows, "service").isin(MAY_BE_ONSITE)
    return np.asarray(named | _column(rows, "priority").notna(), dtype=bool)


def pack_facts(
    rows: gpd.GeoDataFrame, facts: Sequence[Fact], *, units: Units, given: Mapping[str, Coded]
) -> Package:
    """Pack what searching, filtering and the head of the list need.

    Parameters
    ----------
    rows
        Parcels that are drawn; index ``parcel_id``.
    facts
        Lines of the card.
    units
        ``us`` or ``si``.
    given
        Columns of :func:`pack_parcels`, which the page has read by then.
    """
    package = Package(served(rows), given)
    columns: dict[str, Any] = {
        "parcel_id": pack_text(package, pd.Series(rows.index, dtype=object)),
        "address": pack_text(package, _text(rows, "address")),
    }
    for column in ("priority", "failure_score", "groundwater_score"):
        columns[column] = pack_numbers(package, _column(rows, column), decimals=1)
    columns["rank"] = pack_numbers(package, _column(rows, "rank"))
    for fact in facts:
        if fact.column in FILTERED:
            columns[fact.column] = pack_fact(package, rows[fact.column], fact, units=units)
    package.header["columns"] = columns
    return package


def pack_details(
    rows: gpd.GeoDataFrame,
    facts: Sequence[Fact],
    limitation: pd.DataFrame,
    *,
    units: Units,
    given: Mapping[str, Coded],
) -> Package:
    """Pack what a card and the weights need; the page reads it with the first of them.

    Parcels without a system keep only the facts on their site; the GIS files hold them all.

    Parameters
    ----------
    rows, facts, units, given
        As in :func:`pack_facts`.
    limitation
        Limitation of each factor, 0..1, in the order of `rows`.
    """
    package = Package(served(rows), given)
    columns = pack_doubt(package, rows)
    for name in ("not_ranked_reason", "unknown"):
        columns[name] = pack_words(package, as_words(_text(rows, name)))
    for name in ("worklist", *(found.name for found in WHY), LEDGER):
        columns[name] = pack_text(package, _text(rows, name))
    for fact in facts:
        if fact.column in PAINTED:
            continue
        keep = package.among if fact.group != SITE else None
        if fact.column not in FILTERED and fact.column not in columns:
            values = _only(rows[fact.column], keep)
            columns[fact.column] = pack_fact(package, values, fact, units=units)
        if fact.evidence:
            mark = f"{fact.column}_evidence"
            columns[mark] = pack_evidence(package, _only(rows[mark], keep))
    decimals = len(str(LIMITATION_STEPS)) - 1
    for name in limitation.columns:
        columns[f"limitation:{name}"] = pack_numbers(package, limitation[name], decimals=decimals)
    package.header["columns"] = columns
    return package


def _only(values: pd.Series, keep: NDArray[np.bool_] | None) -> pd.Series:
    return values if keep is None else values.where(keep)


def _column(rows: pd.DataFrame, name: str) -> pd.Series:
    return rows[name] if name in rows else pd.Series(np.nan, index=rows.index)


def _text(rows: pd.DataFrame, name: str) -> pd.Series:
    return rows[name] if name in rows else pd.Series("", index=rows.index, dtype=object)
