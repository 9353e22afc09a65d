"""What a run found, in few words and numbers: for the front page and the run record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any, Final

import pandas as pd

from riskmap.contract.features import as_words
from riskmap.contract.layers import INSPECTIONS
from riskmap.contract.vocabulary import CLASSES, DECIDED_BY_CONDITION, SERVICE, TO_FIND
from riskmap.failure.calibration import FieldMargin
from riskmap.publish.words.chance_words import chance_words
from riskmap.publish.words.class_words import class_chances
from riskmap.publish.words.report_text import words_of
from riskmap.publish.words.text_safety import is_missing, plain_text
from riskmap.publish.words.unranked import nothing_ranked
from riskmap.ranking.model import Model
from riskmap.stages.county import County
from riskmap.stages.drift import CountyDrift
from riskmap.stages.learning import Learning

TOP_ROWS: Final = 20

SERVICE_WORDS: Final = {
    "onsite": "On an onsite system",
    "sewer": "On public sewer",
    "none": "Nothing built, no sewage",
    "unknown": "Not known",
}


def sum_up(
    county: County,
    parcels: pd.DataFrame,
    data_quality: pd.DataFrame,
    model: Model,
    field_margin: FieldMargin,
    drift: CountyDrift | None,
    learning: Learning | None,
) -> dict[str, Any]:
    """Return what the front page shows, and what the run record counts, as plain things.

    Parameters
    ----------
    county
        Its layers.
    parcels
        The ranked table, index ``parcel_id``.
    data_quality
        Every defect met.
    model, field_margin, drift, learning
        What the run ranked by and compared with.
    """
    layers = {name: len(table) for name, table in county.tables.items()}
    return {
        "found": found_of(parcels, data_quality),
        "counts": {
            "parcels": len(parcels),
            "service": parcels["service"].value_counts().to_dict(),
            "ranked": int(parcels["rank"].notna().sum()),
            "ranked_apart": int(parcels["apart_rank"].notna().sum()),
            "defects": len(data_quality),
            "layers": layers,
            "visits_recorded": visits_recorded(county.tables),
        },
        "settings": {
            "crs": county.crs.to_string(),
            "field_margin": field_margin.margin,
            "compared_with": None if drift is None else drift.before,
            "ranked_by": DECIDED_BY_CONDITION if learning is None else learning.decided_by,
            "model": asdict(model),
        },
    }


def visits_recorded(tables: Mapping[str, pd.DataFrame]) -> dict[str, int]:
    """Count the visits that the run read, by where they are on record."""
    if INSPECTIONS.name not in tables:
        return {}
    counts = tables[INSPECTIONS.name]["recorded_in"].value_counts()
    return {str(where): int(count) for where, count in counts.items()}


def found_of(ranked: pd.DataFrame, defects: pd.DataFrame | None) -> dict[str, Any]:
    """Return what the front page shows of a ranked table and its defects."""
    return {
        "parcels": len(ranked),
        "ranked": int(ranked["rank"].notna().sum()),
        "service": service_counts(ranked),
        "classes": class_counts(ranked),
        "missing": nothing_ranked(ranked) if "service_reason" in ranked else [],
        "top": top_rows(ranked),
        "defects": defect_counts(defects),
    }


def service_counts(ranked: pd.DataFrame) -> list[tuple[str, int]]:
    """How many parcels are on an onsite system, on sewer, without sewage, or unknown."""
    service = ranked["service"].fillna("unknown")
    return [(SERVICE_WORDS[word], int((service == word).sum())) for word in SERVICE]


def class_counts(ranked: pd.DataFrame) -> list[dict[str, Any]]:
    """Ranked parcels by class of priority, with the width of a bar."""
    has_rank = ranked["rank"].notna()
    counts = ranked.loc[has_rank, "priority_class"].value_counts()
    chances = class_chances(ranked[has_rank])
    most = max(1, int(counts.max())) if len(counts) else 1
    return [
        {
            "name": word,
            "chance": chances.get(word, ""),
            "count": int(counts.get(word, 0)),
            "width": round(100 * int(counts.get(word, 0)) / most, 1),
        }
        for word in CLASSES
    ]


def top_rows(ranked: pd.DataFrame, *, most: int = TOP_ROWS) -> list[dict[str, str]]:
    """Words for the head of the list of systems that are to be found."""
    rows = ranked[ranked["worklist"].eq(TO_FIND).fillna(False)]
    rows = rows.sort_values("list_rank", kind="stable").head(most)
    unknown = as_words(rows["unknown"]) if "unknown" in rows else pd.Series("", index=rows.index)
    return [
        {
            "rank": f"{int(row['list_rank']):,}",
            "parcel": plain_text(parcel),
            "address": plain_text(row.get("address", "")),
            "chance": chance_words(float(row["chance_failed_frac"])),
            "class": plain_text(row["priority_class"]),
            "reasons": "; ".join(
                plain_text(row[name])
                for name in ("county_records", "chance_reasons", "reason_1")
                if name in rows and not is_missing(row[name]) and row[name]
            ),
            "unknown": plain_text(unknown.iloc[place]),
        }
        for place, (parcel, row) in enumerate(rows.iterrows())
    ]


def defect_counts(defects: pd.DataFrame | None) -> list[dict[str, Any]]:
    """Defects by layer and check, most frequent first."""
    if defects is None or defects.empty:
        return []
    table = defects[["layer", "check", "action"]].fillna("")
    counts = table.value_counts(sort=False).reset_index(name="count")
    order = ["count", "layer", "check", "action"]
    counts = counts.sort_values(order, ascending=[False, True, True, True])
    return [
        {key: words_of(row[key]) for key in ("layer", "check", "action")}
        | {"count": int(row["count"])}
        for _, row in counts.head(40).iterrows()
    ]
