"""Where each parcel's sewage goes, and why we think so."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from riskmap.contract.arrays import Floats
from riskmap.contract.rules import Rules
from riskmap.inventory.lots import main_buildings, sound_polygons
from riskmap.spatial.edges import GeometryArray
from riskmap.spatial.overlaps import covered_fractions

UNBUILT_USES = ("vacant", "water", "road")
NO_SEWER_MAP = "building, but no sewer map"
LIVED_IN_USES = ("residential", "seasonal", "farm", "commercial", "institutional")


Verdict = tuple[NDArray[np.bool_], str | pd.Series, str, str]
"""Where it holds, the service, its evidence and the reason."""


def describe_service(
    parcels: gpd.GeoDataFrame,
    *,
    permits: pd.DataFrame | None = None,
    sewer_area: gpd.GeoDataFrame | None = None,
    buildings: gpd.GeoDataFrame | None = None,
    rules: Rules,
    unsewered: bool = False,
) -> pd.DataFrame:
    """Say who is on an onsite system: ``onsite``, ``sewer``, ``none`` (unbuilt) or ``unknown``.

    The first that applies decides: the county's own record; a permit for an onsite system; the
    sewer area; an unbuilt land use without improvement; a building by the assessor, by land use or
    by footprint.

    Parameters
    ----------
    parcels
        Lots with ``service``, ``land_use``, ``improved``, ``year_built``; index ``parcel_id``.
    permits
        Permits matched to parcels (:func:`riskmap.inventory.permits.match_permits`).
    sewer_area, buildings
        Polygons over the lots.
    rules
        Thresholds.
    unsewered
        Whether the county has no public sewer, so that what is built is onsite.

    Returns
    -------
    DataFrame
        ``service``, ``service_evidence``, ``service_reason``.
    """
    lots = sound_polygons(parcels.geometry)
    house = _largest_building(lots, buildings, rules)
    sewered = _sewered(lots, house, sewer_area) >= rules.sewer_share_frac
    permitted = np.zeros(len(parcels), dtype=bool)
    if permits is not None:
        permitted = parcels.index.isin(permits["parcel_id"])
    recorded = parcels["service"].astype(object).isin(["onsite", "sewer", "none"])
    signs = _building_signs(parcels, ~shapely.is_missing(house))
    unbuilt, empty, listed, lived_in, footprint = signs
    unclear = (listed | lived_in | footprint) & (sewer_area is None) & (not unsewered)
    outside = "" if sewer_area is None else ", outside the sewer area"
    verdicts: list[Verdict] = [
        (recorded.to_numpy(), parcels["service"], "measured", "county record"),
        (permitted, "onsite", "measured", "permit for an onsite system"),
        (sewered & ~unbuilt & ~empty, "sewer", "mapped", "inside the sewer area"),
        (unbuilt, "none", "inferred", "unbuilt land use and no building on record"),
        (empty, "none", "inferred", "assessor lists no building"),
        (unclear, "unknown", "unknown", NO_SEWER_MAP),
        (listed, "onsite", "inferred", f"assessor lists a building{outside}"),
        (lived_in, "onsite", "inferred", f"land use implies a building{outside}"),
        (footprint, "onsite", "inferred", f"building footprint{outside}"),
    ]
    return _first_verdict(verdicts, parcels.index)


def _building_signs(
    parcels: pd.DataFrame, footprint: NDArray[np.bool_]
) -> tuple[NDArray[np.bool_], ...]:
    """Unbuilt by use; empty by the assessor; listed; lived in by use; built by footprint."""
    improved = parcels["improved"].astype("boolean")
    use = parcels["land_use"].astype(object)
    listed = (improved.fillna(False) | parcels["year_built"].notna()).to_numpy(dtype=bool)
    unbuilt = use.isin(UNBUILT_USES).to_numpy() & ~listed & ~footprint
    empty = improved.eq(False).fillna(False).to_numpy(dtype=bool) & ~listed & ~footprint
    lived_in = use.isin(LIVED_IN_USES).to_numpy() & ~empty
    return unbuilt, empty, listed, lived_in, footprint


def _first_verdict(verdicts: list[Verdict], index: pd.Index) -> pd.DataFrame:
    conditions = [condition for condition, *_ in verdicts]
    service = np.select(
        conditions, [np.broadcast_to(v[1], len(index)).astype(object) for v in verdicts], "unknown"
    )
    return pd.DataFrame(
        {
            "service": service,
            "service_evidence": np.select(conditions, [v[2] for v in verdicts], "unknown"),
            "service_reason": np.select(conditions, [v[3] for v in verdicts], "no record"),
        },
        index=index,
    ).astype(object)


def _largest_building(
    lots: GeometryArray, buildings: gpd.GeoDataFrame | None, rules: Rules
) -> GeometryArray:
    """Footprint with most of itself on each lot; None where there is none of size."""
    result = np.full(len(lots), None, dtype=object)
    if buildings is None:
        return result
    shapes = sound_polygons(buildings.geometry)
    main = main_buildings(lots, shapes, rules.min_building_m2)
    result[main >= 0] = shapes[main[main >= 0]]
    return result


def _sewered(
    lots: GeometryArray, house: GeometryArray, sewer_area: gpd.GeoDataFrame | None
) -> Floats:
    """Share of the main building, or else of the lot, in the sewer area."""
    if sewer_area is None:
        return np.zeros(len(lots))
    subject = np.where(shapely.is_missing(house), lots, house)
    zones = gpd.GeoSeries(sound_polygons(sewer_area.geometry))
    return np.asarray(covered_fractions(gpd.GeoSeries(subject), zones))
