"""From features to scores and ranks: the model is read, all is put together and scored."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import pandas as pd
from pandas.api.types import is_bool_dtype, is_extension_array_dtype, is_integer_dtype

from riskmap.contract.features import COLUMNS, FEATURES
from riskmap.contract.vocabulary import NOT_RANKED, SCORE_CLASSES
from riskmap.ranking.fairness import refuse_protected
from riskmap.ranking.model import Model
from riskmap.ranking.table import FAR_FROM_REST, ranked_table
from riskmap.region.model_file import read_model
from riskmap.stages.county import County


def read_scoring_model(county: County) -> Model:
    """Read the county's scoring model, or the one that comes with the program.

    Raises
    ------
    ModelError
        Naming the key at fault, the file that cannot be read, or a protected attribute.
    """
    model = read_model(county.region.model_file, features=FEATURES)
    refuse_protected(factor.feature for factor in model.factors)
    return model


def gather_features(county: County, *parts: pd.DataFrame) -> pd.DataFrame:
    """Put the columns of all stages side by side; index ``parcel_id``."""
    return parts[0].join(list(parts[1:]))


def score_and_rank(county: County, features: pd.DataFrame, model: Model) -> pd.DataFrame:
    """Score, rank and explain every parcel by the scoring model.

    Parameters
    ----------
    county
        Gives units and the aim.
    features
        All features; index ``parcel_id``.
    model
        The scoring model.
    """
    region = county.region
    return ranked_table(
        features,
        model,
        units=region.county.units,
        aim=region.lists.aim,
    )


def gather_parcels(
    county: County,
    features: pd.DataFrame,
    ranked: pd.DataFrame,
    doubted: pd.DataFrame,
    listed: pd.DataFrame,
    strays: gpd.GeoDataFrame,
) -> gpd.GeoDataFrame:
    """Put features, scores and doubt on the lots; index ``parcel_id``.

    Parcels that were set apart, ``strays``, come last, with nothing known of them.

    Parameters
    ----------
    county
        Gives the lots.
    features, ranked, doubted, listed
        Index ``parcel_id``; parcels without doubt columns get missing values.
    strays
        Parcels far from all others, with what their layer records.
    """
    table: Any = features.join([ranked, doubted, listed])
    parcels = gpd.GeoDataFrame(table, geometry=county.lots.geometry, crs=county.crs)
    if strays.empty:
        return parcels
    rows = _unknown_rows(parcels, strays.set_index("parcel_id"))
    return gpd.GeoDataFrame(pd.concat([parcels, rows]), geometry="geometry", crs=county.crs)


def _unknown_rows(parcels: gpd.GeoDataFrame, strays: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Rows like those of `parcels` for `strays`: their own records, and all else unknown."""
    rows: Any = parcels.iloc[:0].drop(columns="geometry").reindex(strays.index)
    for name, kind in parcels.dtypes.items():
        if str(name).endswith("_evidence") or name == "service":
            rows[name] = "unknown"
        elif name in strays and name != "geometry":
            rows[name] = strays[name]
        elif name in COLUMNS and COLUMNS[name].domain == SCORE_CLASSES:
            rows[name] = NOT_RANKED
        elif is_bool_dtype(kind):
            rows[name] = False
        elif is_integer_dtype(kind) and not is_extension_array_dtype(kind):
            rows[name] = 0
    rows["not_ranked_reason"] = FAR_FROM_REST
    return gpd.GeoDataFrame(rows, geometry=strays.geometry)
