"""All counties' parcels as one dataset, with a rank over the whole state.

GeoParquet in longitude and latitude, a folder ``county=NAME`` for each county (the layout that
table engines read as one dataset); ``catalog.json`` beside it says what is in it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pandas as pd

from riskmap.contract.quantities import Units
from riskmap.keeping.store import sha256_of
from riskmap.publish.gis.files import write_parquet
from riskmap.publish.lists.list_columns import list_table
from riskmap.ranking.score import rank

CRS: Final = "OGC:CRS84"
PART: Final = "parcels.parquet"
DATASET: Final = "dataset"


def state_ranks(results: Mapping[str, Path]) -> pd.DataFrame:
    """Rank the systems of all counties together.

    Parameters
    ----------
    results
        Result folder by county.

    Returns
    -------
    DataFrame
        Columns ``county, parcel_id, state_rank``, ranked systems only, in order. Only the columns
        of the order are read, so that a state fits into memory.
    """
    columns = ["parcel_id", "rank", "priority", "failure_score", "groundwater_score"]
    scores = [pd.read_parquet(folder / PART, columns=columns) for folder in results.values()]
    table = pd.concat(scores, keys=list(results), names=["county", None])
    table.index = pd.Index(table.index.get_level_values("county") + "\t" + table["parcel_id"])
    ranks = rank(table, table["rank"].notna().to_numpy(bool)).dropna().sort_values()
    keys = ranks.index.str.split("\t", n=1, expand=True)
    return pd.DataFrame(
        {
            "county": keys.get_level_values(0),
            "parcel_id": keys.get_level_values(1),
            "state_rank": ranks.to_numpy(),
        }
    )


def write_dataset(
    folder: Path, results: Mapping[str, Path], ranks: pd.DataFrame
) -> list[dict[str, Any]]:
    """Write the dataset, a county at a time, with its catalog.

    Parameters
    ----------
    folder
        Folder that gets the folder ``dataset`` and ``catalog.json``.
    results
        Result folder by county.
    ranks
        Of :func:`state_ranks`.

    Returns
    -------
    list of dict
        What the catalog says of each part.
    """
    parts = []
    for county, result in results.items():
        own = ranks[ranks["county"] == county].set_index("parcel_id")["state_rank"]
        table = gpd.read_parquet(result / PART)
        table["state_rank"] = table["parcel_id"].map(own).astype("Int64")
        path = folder / DATASET / f"county={county}" / PART
        path.parent.mkdir(parents=True)
        write_parquet(table.to_crs(CRS).drop(columns="bbox", errors="ignore"), path)
        record = json.loads((result / "run.json").read_text(encoding="utf-8"))
        parts.append(
            {
                "county": county,
                "file": path.relative_to(folder).as_posix(),
                "rows": len(table),
                "ranked": int(own.size),
                "bytes": path.stat().st_size,
                "sha256": sha256_of(path),
                "date": record["settings"]["in_force"]["county"]["date"],
                "columns": list(map(str, table.columns)),
            }
        )
    catalog = {"crs": CRS, "partitioned_by": "county", "parts": parts}
    text = json.dumps(catalog, indent=1) + "\n"
    (folder / "catalog.json").write_text(text, encoding="utf-8", newline="\n")
    return parts


def first_of_state(
    results: Mapping[str, Path], ranks: pd.DataFrame, *, first: int, units: Units
) -> pd.DataFrame:
    """Return the first rows of the statewide list: the columns of a county's, and two before them.

    Parameters
    ----------
    results
        Result folder by county.
    ranks
        Of :func:`state_ranks`.
    first
        How many.
    units
        Of the numbers.
    """
    head = ranks.head(first)
    parts = []
    for county, own in head.groupby("county", sort=True):
        wanted = [("parcel_id", "in", own["parcel_id"].tolist())]
        parts.append(pd.read_parquet(results[str(county)] / PART, filters=wanted).merge(own))
    if not parts:
        return head
    table = pd.concat(parts, ignore_index=True).sort_values("state_rank").set_index("parcel_id")
    listed = list_table(table, units=units)
    for place, name in enumerate(["state_rank", "county"]):
        listed.insert(place, name, table[name].to_numpy())
    return listed
