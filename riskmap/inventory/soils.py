"""What the soil under each treatment area allows, with the mixture of soils kept."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from riskmap.contract.arrays import Floats
from riskmap.contract.evidence import marked
from riskmap.contract.features import SOIL_LIMITS
from riskmap.contract.rules import Rules
from riskmap.contract.vocabulary import DRAINAGE_CLASSES, HYDROLOGIC_GROUPS
from riskmap.inventory.soil_curves import RATING_CLASSES
from riskmap.spatial.edges import GeometryArray
from riskmap.spatial.overlaps import area_fractions

SURVEY_DEPTH_CM: Final = 200.0
"""Surveys describe soils to about 2 m. No wet layer (or restriction) on record in a described soil
means "not within this depth", so it enters a mean as this depth: a value of 200 reads "200 cm or
deeper". Common practice of the national survey (profiles are described to 2 m)."""

MIN_KSAT_UM_S: Final = 0.001
"""Least conductivity in the geometric mean; the survey writes 0 for bedrock."""

NOT_RATED: Final = RATING_CLASSES[-1]
CLASSES_BY_LIMIT: Final = (*RATING_CLASSES[-2::-1], NOT_RATED)
"""Most limiting first: the order in which ties between classes are settled."""

SMALLEST_REASON: Final = 0.005


def describe_soils(
    areas: gpd.GeoSeries,
    soil_units: gpd.GeoDataFrame,
    component_ratings: pd.DataFrame,
    *,
    min_covered_frac: float = Rules.min_covered_frac,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Soil limits and properties of each treatment area by exact area and component weights.

    A component weighs its map unit's share of the area times its percentage (of the percentages
    listed for that unit). Means run over the components that have a value.

    Parameters
    ----------
    areas
        Treatment areas, index ``parcel_id``.
    soil_units
        Map unit polygons with ``mukey``; those over the areas suffice.
    component_ratings
        As made by :func:`riskmap.inventory.soil_limits.rate_components`.
    min_covered_frac
        Where less of the area has a rated soil, all soil values are unknown.

    Returns
    -------
    features
        Index of `areas`: the inventory's soil columns with evidence ``mapped``. ``wet_depth_cm``
        and ``restriction_cm`` are censored at :data:`SURVEY_DEPTH_CM`; ``ksat_um_s`` is a geometric
        mean.
    mixture
        ``parcel_id``, ``mukey``, ``frac``: the share of each map unit in each area.
    """
    shares = _unit_shares(areas, soil_units)
    weights = _component_weights(shares, component_ratings)
    table = _means(weights, len(areas)).set_index(areas.index)
    table = table.where(table["soil_covered_frac"] >= min_covered_frac)
    covered = _Weighted(weights, len(areas)).share(weights["rating"].notna().to_numpy())
    known = covered >= min_covered_frac
    table["soil_covered_frac"] = covered
    table["soil_class"] = _dominant(weights, "rating_class", CLASSES_BY_LIMIT, known)
    table["soil_reasons"] = _reasons(table)
    drainage = _dominant(weights, "drainage_class", DRAINAGE_CLASSES[::-1], known)
    groups = _dominant(weights, "hydrologic_group", HYDROLOGIC_GROUPS[::-1], known)
    table["drainage_class"], table["hydrologic_group"] = drainage, groups
    mixture = pd.DataFrame(
        {
            "parcel_id": areas.index.to_numpy()[shares["i"]],
            "mukey": shares["mukey"].to_numpy(),
            "frac": shares["frac"].to_numpy(),
        }
    )
    return _ordered(table), mixture


def _unit_shares(areas: gpd.GeoSeries, soil_units: gpd.GeoDataFrame) -> pd.DataFrame:
    """Share of each map unit in each area: columns ``i``, ``mukey``, ``frac``, sorted."""
    pairs = area_fractions(areas, soil_units.geometry)
    keys = soil_units["mukey"].astype(str).to_numpy(dtype=object)
    pairs["mukey"] = keys[pairs["j"].to_numpy()]
    return pairs.groupby(["i", "mukey"], sort=True)["frac"].sum().reset_index()


def _component_weights(shares: pd.DataFrame, ratings: pd.DataFrame) -> pd.DataFrame:
    """Components under each area with ``weight``: share of the area that is this soil.

    Where survey areas overlap, so that more than the whole is mapped, shares are scaled to 1.
    """
    listed = ratings[ratings["comppct"].gt(0)]
    listed = listed.assign(mukey=listed["mukey"].astype(str), cokey=listed.index)
    total = listed.groupby("mukey")["comppct"].transform("sum")
    listed = listed.assign(part=listed["comppct"].to_numpy() / total.to_numpy())
    mapped = shares.groupby("i")["frac"].transform("sum").clip(lower=1.0)
    scaled = shares.assign(frac=shares["frac"] / mapped)
    weights = scaled.merge(listed, on="mukey", how="left", sort=False)
    weights["weight"] = weights["frac"] * weights["part"].fillna(1.0)
    return weights


class _Weighted:
    """Weighted means by area, as sums over the rows of a weights table."""

    def __init__(self, weights: pd.DataFrame, count: int) -> None:
        self.row = weights["i"].to_numpy()
        self.weight = weights["weight"].to_numpy(dtype=float)
        self.count = count

    def share(self, chosen: NDArray[np.bool_]) -> Floats:
        """Share of each area under the chosen rows."""
        share = np.bincount(self.row, self.weight * chosen, minlength=self.count)
        return np.asarray(np.minimum(share, 1.0))

    def mean(self, values: Floats) -> Floats:
        """Mean over the rows that are not NaN; NaN where there are none."""
        known = np.isfinite(values)
        total = np.bincount(self.row, np.where(known, values * self.weight, 0.0), self.count)
        weight = np.bincount(self.row, self.weight * known, self.count)
        mean = np.full(self.count, np.nan)
        np.divide(total, weight, out=mean, where=weight > 0)
        return mean


def _means(weights: pd.DataFrame, count: int) -> pd.DataFrame:
    weighted = _Weighted(weights, count)
    rated = weights["rating"].notna()
    numbers = {"soil_rating": weights["rating"]}
    numbers |= {name: weights[name].where(rated) for name in SOIL_LIMITS}
    for name, source in (("wet_depth_cm", "wet_top_cm"), ("restriction_cm", "restriction_cm")):
        depth = weights[source].astype(float).fillna(SURVEY_DEPTH_CM).clip(upper=SURVEY_DEPTH_CM)
        numbers[name] = depth.where(rated)
    numbers["clay_pct"] = weights["clay_treatment_pct"]
    table = pd.DataFrame(
        {name: weighted.mean(values.to_numpy(dtype=float)) for name, values in numbers.items()}
    )
    log_ksat = np.log(weights["ksat_min_um_s"].astype(float).clip(lower=MIN_KSAT_UM_S).to_numpy())
    table["ksat_um_s"] = np.exp(weighted.mean(log_ksat))
    return table.assign(soil_covered_frac=weighted.share(rated.to_numpy()))


def _dominant(
    weights: pd.DataFrame, column: str, order: tuple[str, ...], known: NDArray[np.bool_]
) -> GeometryArray:
    """Word with the largest weight in each area; of equals the first in `order`.

    Soils without a word count together, as in the survey's own dominant condition: where they
    outweigh every word (urban land with a minor soil), the area has none.
    """
    word = weights[column]
    if column == "rating_class":
        word = word.where(weights["rating"].notna(), NOT_RATED)
    code = pd.Categorical(word, categories=order).codes.astype(np.int64)
    row, weight = weights["i"].to_numpy(), weights["weight"].to_numpy(dtype=float)
    count = len(order) + 1  # the last place, code -1, is for soils without a word
    slot = row * count + code % count
    sums = np.bincount(slot, weight, minlength=len(known) * count)
    sums = sums.reshape(len(known), count).round(9)
    best: GeometryArray = np.array([*order, None], dtype=object)[sums.argmax(axis=1)]
    best[~known] = None
    return best


def _reasons(table: pd.DataFrame) -> GeometryArray:
    """Limits in plain words, strongest first, each with its mean: "slope (0.63); flooding (...)".

    Equal limits keep the rule's order; limits below 0.005 are left out. Empty where nothing
    limits; None where the soil is unknown.
    """
    values = table[list(SOIL_LIMITS)].to_numpy(dtype=float)
    words = np.array(list(SOIL_LIMITS.values()), dtype=object)
    numbers = np.array([f" ({n / 100:.2f})" for n in range(101)], dtype=object)
    order = np.argsort(-np.nan_to_num(values), axis=1, kind="stable")
    ranked = np.nan_to_num(np.take_along_axis(values, order, axis=1)).clip(0, 1)
    text = np.full(len(table), "", dtype=object)
    for place in range(len(words)):
        rows = ranked[:, place] >= SMALLEST_REASON
        if not rows.any():
            break
        link = "; " if place else ""
        hundredths = np.rint(ranked[rows, place] * 100).astype(int)
        text[rows] += link + words[order[rows, place]] + numbers[hundredths]
    text[table["soil_rating"].isna().to_numpy()] = None
    return text


def _ordered(table: pd.DataFrame) -> pd.DataFrame:
    plain = ["soil_class", "soil_reasons", *SOIL_LIMITS, "soil_covered_frac"]
    with_evidence = (
        "drainage_class",
        "hydrologic_group",
        "wet_depth_cm",
        "restriction_cm",
        "ksat_um_s",
        "clay_pct",
    )
    columns = {name: table[name] for name in ("soil_rating", *plain, *with_evidence)}
    return marked(columns, "mapped", table.index, names=("soil_rating", *with_evidence))
