"""From features to scores and ranks: the model is read, all is put together and scored."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import pandas as pd

from riskmap.contract.features import FEATURES
from riskmap.ranking.fairness import refuse_protected
from riskmap.ranking.model import Model
from riskmap.ranking.table import ranked_table
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
    """Score, rank and explain every parcel by the scoring model."""
    region = county.region
    return ranked_table(
        features,
        model,
        units=region.county.units,
        cuts=region.rules.class_cuts,
        aim=region.lists.aim,
    )


def gather_parcels(
    county: County, features: pd.DataFrame, ranked: pd.DataFrame, doubted: pd.DataFrame
) -> gpd.GeoDataFrame:
    """Put features, scores and doubt on the lots; index ``parcel_id``."""
    table: Any = features.join(ranked).join(doubted)
    return gpd.GeoDataFrame(table, geometry=county.lots.geometry, crs=county.crs)
