"""Sewer or onsite where no record says it: inferred for a whole county where it can be checked."""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from scipy.spatial import cKDTree

from riskmap.contract.arrays import Floats
from riskmap.inventory.inventory import complete_inventory
from riskmap.inventory.service import NO_SEWER_MAP
from riskmap.ranking.service_classifier import (
    ONSITE,
    SEWER,
    UNKNOWN,
    Service,
    infer_service,
)
from riskmap.spatial.neighbors import sum_within
from riskmap.stages.county import County

RECORDED: Final = ("measured", "mapped")
"""Evidence of service that is learned from; what a rule inferred would only repeat the rule."""

RINGS_M: Final = (250.0, 1000.0)
"""Reach of the rings in which labeled neighbors are counted, beyond the gap."""

GAP_SHARE: Final = 0.9
"""Labels nearer than this quantile of the distance from an open parcel to the nearest label are
not looked at, so that labeled parcels are not better informed than the open ones."""

DENSITIES: Final = ("systems_per_km2", "systems_within_229_m")
"""Columns that depend on who is onsite."""

CONFIDENCE: Final = "service_confidence_frac"


def fill_service(county: County, features: pd.DataFrame) -> tuple[pd.DataFrame, Service | None]:
    """Fill the open service of built parcels where a classifier is sure, and count again.

    Parameters
    ----------
    features
        The inventory of all parcels, index ``parcel_id``.

    Returns
    -------
    The inventory, and what was inferred: None where no parcel is open or the region file says off.
    Where enough parcels are labeled the inventory has a column ``service_confidence_frac``
    (chance of the likelier word for the open ones, NaN for the others), and the densities follow
    the new words.
    """
    open_rows = features["service"].eq(UNKNOWN) & features["service_reason"].eq(NO_SEWER_MAP)
    if county.region.learning.service == "off" or not open_rows.any():
        return features, None
    service = _labels(features, open_rows)
    settings, seed = county.region.service, county.region.run.seed
    if min(int(service.eq(word).sum()) for word in (ONSITE, SEWER)) < settings.min_of_each:
        none = np.zeros(len(service))
        return features, infer_service(
            features[[]], service, none, none, settings=settings, seed=seed
        )
    placed = features[["x_m", "y_m"]].notna().all(axis=1)
    rows = features.index[placed & service.isin([ONSITE, SEWER, UNKNOWN])]
    x_m, y_m = (features.loc[rows, name].to_numpy(float) for name in ("x_m", "y_m"))
    found = infer_service(
        service_numbers(features.loc[rows], service.loc[rows], county),
        service.loc[rows],
        x_m,
        y_m,
        settings=settings,
        seed=seed,
    )
    return _written(features, found), found


def service_numbers(features: pd.DataFrame, service: pd.Series, county: County) -> pd.DataFrame:
    """Numbers that separate sewered parcels from others, one row per parcel.

    Lot, house, crowding, distance into or out of the sewer area where there is one, and the share
    of labeled neighbors that are onsite in two rings; labels nearer than the open parcels'
    own usual distance are not looked at.

    Parameters
    ----------
    features
        Inventory rows with a place.
    service
        Their labels: onsite, sewer, or unknown where open.
    county
        Gives the parcels' houses and the sewer area.

    Returns
    -------
    DataFrame
        Index of `features`; NaN where not known.
    """
    parcels = county.tables["parcels"].set_index("parcel_id")
    x_m, y_m = (features[name].to_numpy(float) for name in ("x_m", "y_m"))
    known = service.isin([ONSITE, SEWER]).to_numpy()
    onsite = service.eq(ONSITE).to_numpy()
    table = {
        "log_lot_m2": np.log(features["lot_m2"].to_numpy(float)),
        "year_built": _numbers(parcels, "year_built", features.index),
        "living_area_m2": _numbers(parcels, "living_area_m2", features.index),
        "parcels_within_229_m": sum_within(
            x_m, y_m, np.ones(len(x_m)), target_x_m=x_m, target_y_m=y_m, radius_m=229.0
        ),
        "into_sewer_area_m": _into(county.tables.get("sewer_area"), x_m, y_m),
    }
    gap = _gap(x_m, y_m, known, service.eq(UNKNOWN).to_numpy())
    for reach in RINGS_M:
        table[f"onsite_to_{reach:.0f}_m_frac"] = _ring_share(
            x_m[known], y_m[known], onsite[known], x_m, y_m, gap, gap + reach
        )
    return pd.DataFrame(table, index=features.index)


def _labels(features: pd.DataFrame, open_rows: pd.Series) -> pd.Series:
    """Service where recorded, ``unknown`` where open, ``none`` for all others."""
    recorded = features["service_evidence"].isin(RECORDED)
    words = features["service"].where(recorded & features["service"].isin([ONSITE, SEWER]), "none")
    return words.mask(open_rows, UNKNOWN)


def _numbers(parcels: pd.DataFrame, name: str, index: pd.Index) -> Floats:
    return np.asarray(
        parcels[name].reindex(index).astype("Float64").to_numpy(float, na_value=np.nan)
    )


def _into(area: pd.DataFrame | None, x_m: Floats, y_m: Floats) -> Floats:
    """Meters from the sewer area's edge, positive inside; NaN without a sewer area."""
    if not isinstance(area, gpd.GeoDataFrame) or area.empty:
        return np.full(len(x_m), np.nan)
    zone = area.geometry.union_all()
    shapely.prepare(zone)
    points = shapely.points(x_m, y_m)
    away = shapely.distance(zone.boundary, points)
    return np.asarray(np.where(shapely.intersects(zone, points), away, -away))


def _gap(
    x_m: Floats, y_m: Floats, known: npt.NDArray[np.bool_], open_rows: npt.NDArray[np.bool_]
) -> float:
    points = np.stack([x_m, y_m], axis=1)
    away, _ = cKDTree(points[known]).query(points[open_rows])
    return float(np.quantile(away, GAP_SHARE))


def _ring_share(
    x_m: Floats,
    y_m: Floats,
    onsite: npt.NDArray[np.bool_],
    target_x_m: Floats,
    target_y_m: Floats,
    inner_m: float,
    outer_m: float,
) -> Floats:
    """Share of onsite among the labels between two distances; NaN where there is none."""
    weights = np.stack([onsite.astype(float), np.ones(len(onsite))], axis=1)
    outer, inner = (
        sum_within(x_m, y_m, weights, target_x_m=target_x_m, target_y_m=target_y_m, radius_m=radius)
        for radius in (outer_m, inner_m)
    )
    count = (outer - inner)[:, 1]
    share = (outer - inner)[:, 0] / np.where(count > 0, count, np.nan)
    return np.asarray(share)


def _written(features: pd.DataFrame, found: Service) -> pd.DataFrame:
    """Put the inferred words into the inventory and count the density of systems again."""
    filled = found.table[found.table["service_evidence"].eq("inferred")]
    filled = filled[filled["service_confidence"].notna()]
    chance = found.table["service_confidence"]
    table = features.assign(**{CONFIDENCE: chance.reindex(features.index)})
    table.loc[filled.index, "service"] = filled["service"]
    table.loc[filled.index, "service_evidence"] = "inferred"
    percent = (100 * filled["service_confidence"]).round().astype(int).astype(str)
    table.loc[filled.index, "service_reason"] = (
        "learned from parcels whose service is on record (" + percent + "% sure)"
    )
    counted = complete_inventory(table.drop(columns=list(DENSITIES)))
    return counted.assign(**{CONFIDENCE: table[CONFIDENCE]})
