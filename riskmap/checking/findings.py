"""What a check finds, as one table: what is wrong, what it costs, how it is cured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import pandas as pd

from data_pipelines.cross_keys import POINTERS
from data_pipelines.keys import count_matches
from riskmap.checking.coverage import OUTLINED, Coverage
from riskmap.checking.cures import cure_of
from riskmap.contract.layers import LAYERS
from riskmap.contract.quantities import percent
from riskmap.contract.soil_layers import SOIL_LAYERS

SERIOUS, MINOR = "serious", "minor"
COLUMNS: Final = (
    "weight",
    "layer",
    "column",
    "finding",
    "rows",
    "share",
    "example",
    "cost",
    "cure",
)
LEAST_MATCH: Final = 0.8
LEAST_COVERED: Final = 0.8
LEAST_SOILS: Final = 0.95
LEAST_KEYS: Final = 5
MOST_CODES: Final = 12

SOILS: Final = {layer.name for layer in SOIL_LAYERS}
MATCHES: Final = ("layer", "column", "joins", "keys", "as_they_stand", "other_spelling", "lost")


def finding(
    weight: str,
    layer: str,
    said: str,
    *,
    column: str = "",
    rows: int = 0,
    share: float = float("nan"),
    example: str = "",
    cost: str = "",
    cure: str = "",
) -> dict[str, object]:
    """Make one row of the table of findings."""
    values = (weight, layer, column, said, rows, share, example, cost, cure)
    return dict(zip(COLUMNS, values, strict=True))


def match_sheet(
    tables: Mapping[str, pd.DataFrame], defects: pd.DataFrame, sizes: Mapping[str, int]
) -> pd.DataFrame:
    """Say which table joins which: keys, found as they stand, found in another spelling, lost.

    Parameters
    ----------
    tables
        Canonical layers, their keys already in the other's spelling.
    defects
        What was met on reading: which keys were respelled.
    sizes
        Rows of each layer.
    """
    rows = []
    respelled = defects[defects["check"].eq("other_spelling")]
    for pointer in POINTERS:
        if pointer.layer not in tables or pointer.to not in tables:
            continue
        keys = tables[pointer.layer][pointer.column]
        found = count_matches(keys, tables[pointer.to][pointer.column])
        other = respelled[respelled["layer"].eq(pointer.layer)]["value"].nunique()
        lost = found.keys - found.as_they_stand
        rows.append((pointer.layer, pointer.column, pointer.to, found.keys,
                     found.as_they_stand - other, other, lost))  # fmt: skip
    lost = int(defects["check"].eq("parcel_without_record").sum())
    other = respelled[respelled["layer"].eq("parcels")]["value"].nunique()
    joined = defects["check"].isin(["parcel_without_record", "record_without_parcel"]).any()
    if joined or other:
        parcels = sizes["parcels"]
        rows.append(
            ("parcels", "parcel_id", "records", parcels, parcels - lost - other, other, lost)
        )
    return pd.DataFrame(rows, columns=list(MATCHES))


def of_matches(matches: pd.DataFrame) -> list[dict[str, object]]:
    """Find keys that join nothing."""
    found = []
    for row in matches.to_dict("records"):
        share = row["lost"] / max(row["keys"], 1)
        if row["keys"] < LEAST_KEYS or not row["lost"]:
            continue
        weight = SERIOUS if share > 1 - LEAST_MATCH else MINOR
        said = f"{row['lost']:,} of {row['keys']:,} numbers are not found in {row['joins']}"
        cure = cure_of(f"not_in_{row['joins']}")
        found.append(
            finding(weight, row["layer"], said, column=row["column"], rows=int(row["lost"]),
                    share=share, cost=cure.cost, cure=cure.cure)
        )  # fmt: skip
    return found


def of_coverage(covers: Sequence[Coverage]) -> list[dict[str, object]]:
    """Find layers that cover too few parcels."""
    found = []
    for one in covers:
        least = LEAST_SOILS if one.layer == "soil_units" else LEAST_COVERED
        tables = LAYERS[one.layer].kind == "table"
        fine = one.share > 0 if tables else one.layer in OUTLINED or one.share >= least
        if fine:
            continue
        weight = SERIOUS if one.layer == "soil_units" or one.share == 0 else MINOR
        said = f"covers {percent(one.share)} of the parcels"
        cost = (
            "these parcels are not scored" if one.layer in SOILS else "it is unknown of the others"
        )
        cure = "Check its extent and reference system; fetch the rest."
        found.append(finding(weight, one.layer, said, share=1 - one.share, cost=cost, cure=cure))
    return found


def of_defects(defects: pd.DataFrame, sizes: Mapping[str, int]) -> list[dict[str, object]]:
    """Sum up the defects met on reading, one for each kind in each column."""
    found = []
    told = defects[~defects["check"].str.startswith("not_in_")]
    for (layer, column, check), rows in told.groupby(["layer", "column", "check"], sort=False):
        cure = cure_of(str(check))
        share = min(1.0, len(rows) / max(sizes.get(str(layer), len(rows)), 1))
        weight = SERIOUS if share >= cure.serious_from else MINOR
        said, example = str(check).replace("_", " "), str(rows["value"].iloc[0])
        if check == "unknown_code":
            counts = rows["value"].value_counts()
            example = "; ".join(f"{code} ({n:,})" for code, n in counts.head(MOST_CODES).items())
            words = ", ".join(LAYERS[str(layer)].column(str(column)).domain) or "true, false"
            said = f"{len(counts):,} codes are not known; words: {words}"
        found.append(
            finding(weight, str(layer), said, column=str(column), rows=len(rows), share=share,
                    example=example[:200], cost=cure.cost, cure=cure.cure)
        )  # fmt: skip
    return found


def grades(findings: pd.DataFrame, layers: Sequence[str], wanted: Sequence[str]) -> dict[str, str]:
    """Grade each layer: good, fair (minor findings), poor (serious ones) or missing.

    Parameters
    ----------
    findings
        All findings.
    layers
        Layers that the region gives.
    wanted
        Layers worth having.
    """
    worst = findings.groupby("layer")["weight"].agg(lambda said: SERIOUS in set(said))
    told = {}
    for name in dict.fromkeys([*layers, *wanted]):
        if name not in layers:
            told[name] = "missing"
        elif name in worst.index:
            told[name] = "poor" if worst[name] else "fair"
        else:
            told[name] = "good"
    return told
