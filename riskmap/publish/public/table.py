"""The public table: counts by area with small ones taken out before anything else sees them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from riskmap.action.aggregate import (
    AGES,
    COLUMNS,
    RISK,
    TOTAL,
    age_groups,
    choose_width,
    count_areas,
    risk_groups,
)
from riskmap.action.suppression import withhold
from riskmap.publish.words.text_safety import plain_text
from riskmap.spatial.hexagons import corners_of, hexagon_of

UNPLACED: Final = "Not on the map"
WHOLE: Final = "Whole county"
UNKNOWN: Final = "service_unknown"
SHARE: Final = "share_raised_pct"
OLD_SHARE: Final = "share_old_pct"

ALWAYS: Final = (TOTAL, "raised", "not_raised", "age_under_20", "age_20_to_39", "age_40_or_more")
"""Columns that are shown even where the whole county has none."""


@dataclass(frozen=True)
class PublicTable:
    """All that the public edition is made from; nothing withheld is in it.

    ``counts``: one row per area (index: its name), missing where withheld. ``sums``: the county's.
    ``shapes``: outlines (longitude, latitude), missing for what has no place. ``width_m``: width of
    the hexagons, None for given areas. ``threshold``: largest count withheld.
    """

    counts: pd.DataFrame
    sums: pd.Series
    shapes: gpd.GeoSeries
    width_m: float | None
    threshold: int


def make_public_table(
    parcels: gpd.GeoDataFrame,
    *,
    crs: Any,
    threshold: int,
    cell_m: float | None = None,
    areas: gpd.GeoDataFrame | None = None,
    class_column: str = "priority_class",
) -> PublicTable:
    """Count systems by area and withhold what is small; see ``docs/methods/suppression.md``.

    Parameters
    ----------
    parcels
        One row per parcel: lot polygons, ``service``, ``age_yr`` and `class_column`.
    crs
        The county's projected coordinate system, from whose origin the hexagons start.
    cell_m
        Width of the hexagons, m; chosen from the density of systems when None.
    areas
        Polygons to count by in place of hexagons, named by their column ``name``.
    """
    points = _points(parcels, crs)
    service = parcels["service"].astype(object).where(parcels["service"].notna(), "unknown")
    onsite = (service == "onsite").to_numpy()
    place, names, shapes, width = (
        _given_areas(points, areas, crs)
        if areas is not None
        else _hexagons(points, onsite, crs, cell_m, threshold)
    )
    ages = age_groups(parcels.loc[onsite, "age_yr"])
    risks = risk_groups(parcels.loc[onsite, class_column])
    counts = count_areas(place[onsite], risks, ages, areas=len(names))
    unknown = np.bincount(place[(service == "unknown").to_numpy()], minlength=len(names))
    shown, sums = _shown(counts, threshold)
    if unknown.any():
        extra, extra_sum = _shown(pd.DataFrame({UNKNOWN: unknown}), threshold)
        shown, sums = shown.join(extra), pd.concat([sums, extra_sum])
    shown.index = pd.Index(names, name="area")
    return PublicTable(shown, sums, shapes, width, threshold)


def with_shares(counts: pd.DataFrame) -> pd.DataFrame:
    """Add whole percentages, from shown counts alone."""
    number = counts.astype("Float64")
    scored = number["raised"] + number["not_raised"]
    aged = number[[name for name in AGES[:3] if name in counts]].sum(axis=1, skipna=False)
    shares = {
        SHARE: 100 * number["raised"] / scored.where(scored > 0),
        OLD_SHARE: 100 * number["age_40_or_more"] / aged.where(aged > 0),
    }
    return counts.assign(**{name: share.round().astype("Int64") for name, share in shares.items()})


def _shown(counts: pd.DataFrame, threshold: int) -> tuple[pd.DataFrame, pd.Series]:
    """Return counts and county sums with all that is withheld missing."""
    total = str(counts.columns[0])
    columns = [str(name) for name in counts if name in (total, *ALWAYS) or counts[name].any()]
    groups = [[name for name in group if name in columns] for group in (RISK, AGES)]
    kept = withhold(
        counts,
        total=total,
        groups=[group for group in groups if group],
        sensitive=["raised"],
        threshold=threshold,
    )
    columns = [name for name in (*COLUMNS, UNKNOWN) if name in columns]
    return (
        counts[columns].astype("Int64").mask(kept.areas[columns]),
        counts[columns].sum().astype("Int64").mask(kept.sums[columns]),
    )


def _points(parcels: gpd.GeoDataFrame, crs: Any) -> NDArray[np.float64]:
    """One point in each lot (n, 2), m; NaN without a shape."""
    lots = parcels.geometry.to_crs(crs)
    inside = shapely.point_on_surface(lots.to_numpy())
    return np.stack([shapely.get_x(inside), shapely.get_y(inside)], axis=-1)


def _hexagons(
    points: NDArray[np.float64],
    onsite: NDArray[np.bool_],
    crs: Any,
    cell_m: float | None,
    threshold: int,
) -> tuple[NDArray[np.int64], list[str], gpd.GeoSeries, float]:
    """Area of each parcel, names from north-west to south-east, outlines, width."""
    known = np.isfinite(points).all(axis=1)
    some = points[known & onsite] if (known & onsite).any() else points[known]
    width = cell_m or choose_width(some[:, 0], some[:, 1], threshold=threshold)
    east, north = hexagon_of(points[known, 0], points[known, 1], across_m=width).T
    cells, code = np.unique(
        np.stack([-north, 2 * east + north], axis=-1), axis=0, return_inverse=True
    )
    place = np.full(len(points), len(cells), dtype=np.int64)
    place[known] = code.ravel()
    rows = -cells[:, 0]
    corners = corners_of(np.stack([(cells[:, 1] - rows) // 2, rows], axis=-1), across_m=width)
    names = [f"Area {number}" for number in range(1, len(cells) + 1)]
    shapes = gpd.GeoSeries(shapely.polygons(corners), crs=crs).to_crs(4326)
    return place, *_with_unplaced(names, shapes, bool(known.all())), width


def _given_areas(
    points: NDArray[np.float64], areas: gpd.GeoDataFrame, crs: Any
) -> tuple[NDArray[np.int64], list[str], gpd.GeoSeries, None]:
    """Area of each parcel: the first given one that holds its point."""
    outlines = areas.geometry.to_crs(crs)
    tree = shapely.STRtree(outlines.to_numpy())
    known = np.flatnonzero(np.isfinite(points).all(axis=1))
    row, area = tree.query(shapely.points(points[known]), predicate="intersects")
    place = np.full(len(points), len(areas), dtype=np.int64)
    order = np.lexsort((area, row))[::-1]
    place[known[row[order]]] = area[order]
    column = areas["name"] if "name" in areas else pd.Series("", index=areas.index)
    names = _unlike([plain_text(name) for name in column])
    shapes = gpd.GeoSeries(outlines.to_crs(4326).to_numpy(), crs=4326)
    return place, *_with_unplaced(names, shapes, bool((place < len(areas)).all())), None


def _unlike(names: Sequence[str]) -> list[str]:
    """Names made different: an empty or repeated one gets its number."""
    found: list[str] = []
    for number, name in enumerate(names, start=1):
        again = not name or name in found or name in (UNPLACED, WHOLE)
        found.append(f"{name or 'Area'} ({number})" if again else name)
    return found


def _with_unplaced(
    names: list[str], shapes: gpd.GeoSeries, all_placed: bool
) -> tuple[list[str], gpd.GeoSeries]:
    """One more row for parcels that lie in no area, where there are any."""
    if all_placed:
        return names, shapes
    return [*names, UNPLACED], gpd.GeoSeries([*shapes, None], crs=4326)
