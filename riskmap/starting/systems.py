"""Reference systems: what to compute in, and what coordinates without one could be in."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_crs_info, query_utm_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import CRSError, ProjError

from riskmap.starting.opening import Bounds, in_degrees

NEAR_DEGREES: Final = 0.5
"""Places further apart than this beyond each other's extent lie in different counties."""
DEGREES: Final = "EPSG:4326"
GIVEN_FIRST: Final = ("NAD83", "NAD83(2011)", "WGS 84", "NAD83(HARN)", "NAD27")
"""Datums of county data, the usual ones first."""


@dataclass(frozen=True)
class System:
    """A proposed reference system, whether it is sure, and why."""

    code: str
    sure: bool
    evidence: str


def compute_in(own: str | None, place: Bounds | None) -> System:
    """Propose a system in meters for a county.

    Parameters
    ----------
    own
        The parcels' own system, if they have one.
    place
        Their extent in degrees.
    """
    if own is not None:
        crs = CRS.from_user_input(own)
        metric = crs.is_projected and all(axis.unit_name == "metre" for axis in crs.axis_info[:2])
        code = crs.to_authority()
        if metric and code is not None and code[1] != "3857":
            return System(":".join(code), sure=True, evidence=f"the parcels' own, {crs.name}")
    if place is None:
        return System("auto", sure=True, evidence="the UTM zone of the parcels' middle")
    lon, lat = (place[0] + place[2]) / 2, (place[1] + place[3]) / 2
    zones = query_utm_crs_info("NAD83", AreaOfInterest(lon, lat, lon, lat))
    zones = zones or query_utm_crs_info("WGS 84", AreaOfInterest(lon, lat, lon, lat))
    if not zones:
        return System("auto", sure=True, evidence="the UTM zone of the parcels' middle")
    best = zones[0]
    return System(f"{best.auth_name}:{best.code}", sure=True, evidence=best.name)


def apart(place: Bounds | None, other: Bounds | None) -> bool:
    """Whether two extents in degrees lie so far apart that they are not of one county."""
    if place is None or other is None:
        return False
    return (
        place[0] > other[2] + NEAR_DEGREES
        or place[2] < other[0] - NEAR_DEGREES
        or place[1] > other[3] + NEAR_DEGREES
        or place[3] < other[1] - NEAR_DEGREES
    )


def fitting_systems(bounds: Bounds, near: Bounds, first: Iterable[str] = ()) -> list[str]:
    """Systems in which coordinates lie where other layers of the county do, the likeliest first.

    Parameters
    ----------
    bounds
        Extent of the coordinates as they stand.
    near
        Extent of the other layers in degrees.
    first
        Systems to be tried first.
    """
    if _fits(bounds, DEGREES, near):
        return [DEGREES]
    area = AreaOfInterest(*near)
    listed = query_crs_info("EPSG", PJType.PROJECTED_CRS, area_of_interest=area)
    codes = [f"EPSG:{one.code}" for one in sorted(listed, key=lambda one: _order(one.name))]
    return [code for code in dict.fromkeys([*first, *codes]) if _fits(bounds, code, near)]


def _order(name: str) -> tuple[int, int, str]:
    datum = name.partition(" /")[0]
    place = GIVEN_FIRST.index(datum) if datum in GIVEN_FIRST else len(GIVEN_FIRST)
    return place, 0 if "UTM" in name else 1, name


def _fits(bounds: Bounds, code: str, near: Bounds) -> bool:
    try:
        placed = in_degrees(bounds, code)
    except (CRSError, ProjError):
        return False
    if placed is None:
        return False
    x, y = (placed[0] + placed[2]) / 2, (placed[1] + placed[3]) / 2
    slack = NEAR_DEGREES / 2
    return near[0] - slack < x < near[2] + slack and near[1] - slack < y < near[3] + slack


def square_meters(area: float, crs: str | None, bounds: Bounds | None) -> float | None:
    """Bring an area in a system's own units to square meters; None where that cannot be told."""
    if crs is None:
        return None
    system = CRS.from_user_input(crs)
    if system.is_projected:
        return float(area * system.axis_info[0].unit_conversion_factor ** 2)
    if bounds is None:
        return None
    lon, lat = (bounds[0] + bounds[2]) / 2, (bounds[1] + bounds[3]) / 2
    local = CRS.from_proj4(f"+proj=laea +lat_0={lat} +lon_0={lon}")
    mover = Transformer.from_crs(system, local, always_xy=True)
    west, south = mover.transform(lon - 0.005, lat - 0.005)
    east, north = mover.transform(lon + 0.005, lat + 0.005)
    return float(area * (east - west) * (north - south) / 0.01**2)
