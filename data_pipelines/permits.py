"""Reads permits for onsite systems from any table or point layer.

Only "repair" signals a failed system; "alteration" (a change or an upgrade) does not. Offices
often digitized only the permits they could locate, so a missing permit says nothing at random
about the system: rows without parcel and place are kept and reported.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import CRS

from data_pipelines.columns import demand_column, find_column, resolve
from data_pipelines.defect_log import DefectLog
from data_pipelines.flags import (
    inspected_before_issue,
    inspected_in_later_year,
    pair_distance_m,
    pairs_apart,
    permit_long_after_house,
)
from data_pipelines.mapping import complete_keys, drop_repeats, map_columns, part_keys
from data_pipelines.points import coordinate_pair, move_pair
from data_pipelines.shapes import moved, source_crs
from data_pipelines.tables import (
    demand_files,
    list_columns,
    log_of_file,
    needed_columns,
    parse_table,
    stack_files,
)
from data_pipelines.vector import Bounds, has_shapes, parse_vector
from riskmap.contract.layers import PERMITS
from riskmap.contract.sources import ColumnSource, Reading, Source

ACTION_WORDS: Final[Mapping[str, str]] = {
    "new": "new",
    "new construction": "new",
    "new system": "new",
    "construction": "new",
    "installation": "new",
    "repair": "repair",
    "major repair": "repair",
    "minor repair": "repair",
    "alteration": "alteration",
    "modification": "alteration",
    "upgrade": "alteration",
    "authorization notice": "evaluation",
    "existing system evaluation": "evaluation",
    "evaluation": "evaluation",
    "unknown": "unknown",
}
"""Words understood without a translation in the region file (common practice, no source).

"Replacement" is not among them: in some offices it follows a failure, in others it does not.
"""

_SHAPE_X: Final = "shape_x"
_SHAPE_Y: Final = "shape_y"


def read_permits(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read permits; `bounds` is not used, because many permits have no place of their own."""
    del bounds
    log = DefectLog(PERMITS.name)
    raw, system = parse_permits(source, log)
    return canonical_permits(raw, source, crs, log, system=system)


def parse_permits(source: Source, log: DefectLog) -> tuple[pd.DataFrame, CRS | None]:
    """Rows as they stand; the points of a shape layer become ``shape_x`` and ``shape_y``."""
    frames: list[pd.DataFrame] = []
    system = None
    for number, path in enumerate(demand_files(source)):
        place: dict[str, Any] = {"layer": source.layer, "table": source.table}
        names = list_columns(path, **place)
        wanted = needed_columns(source, PERMITS, names, extra=_pair_columns(source, names))
        with log_of_file(log, source.files, number) as part:
            if not has_shapes(path, **place):
                frames.append(parse_table(path, columns=wanted, log=part, **place))
                continue
            shapes = parse_vector(path, crs=source.crs, columns=wanted, log=part, **place)
        frames.append(_with_points(shapes, source.layer, frames_crs=system))
        system = system or CRS(shapes.crs)
    return stack_files(frames, source.files), system


def _pair_columns(source: Source, names: list[str]) -> list[str]:
    wanted = [name for name in (source.x, source.y, source.second_x, source.second_y) if name]
    return [
        demand_column(name, names, layer=source.layer, purpose="coordinates") for name in wanted
    ]


def _with_points(shapes: gpd.GeoDataFrame, layer: str, *, frames_crs: CRS | None) -> pd.DataFrame:
    geometry = shapes.geometry
    if frames_crs is not None:
        geometry = moved(geometry, frames_crs, layer)
    centers = geometry.representative_point()
    plain = pd.DataFrame(shapes.drop(columns="geometry"))
    return plain.assign(**{_SHAPE_X: centers.x, _SHAPE_Y: centers.y})


def canonical_permits(
    raw: pd.DataFrame, source: Source, crs: CRS, log: DefectLog, *, system: CRS | None = None
) -> Reading:
    """Canonical permits: columns, one place per row, order of dates checked, unique keys."""
    source = _with_action_words(source, raw.columns)
    found = resolve(source, PERMITS, raw.columns)
    frame = map_columns(raw, source, PERMITS, log, found=found)
    if not len(raw):
        log.note("", "no_rows", "0", "the layer is empty")
    frame = place_permits(frame, raw, source, crs, log, system=system)
    _check_dates(frame, log)
    frame = complete_keys(frame, PERMITS, log)
    frame = drop_repeats(frame, log, column="permit_id")
    lost = frame["parcel_id"].isna() & frame["x_m"].isna()
    log.add("parcel_id", "unlocated_permit", frame.loc[lost, "permit_id"], "kept without a place")
    return Reading(part_keys(frame, PERMITS, log), log.table())


def _with_action_words(source: Source, names: Iterable[str]) -> Source:
    """Add the usual words to an action column that the region file does not translate."""
    spec = source.columns.get("action", ColumnSource(column=find_column("action", names)))
    if spec.column is None or spec.values is not None:
        return source
    worded = replace(spec, values=ACTION_WORDS)
    return replace(source, columns={**source.columns, "action": worded})


def place_permits(
    frame: pd.DataFrame,
    raw: pd.DataFrame,
    source: Source,
    crs: CRS,
    log: DefectLog,
    *,
    system: CRS | None = None,
) -> pd.DataFrame:
    """Fill ``x_m`` and ``y_m`` from the first usable coordinate pair.

    Order: the shape, then ``x``/``y``, then ``second_x``/``second_y`` (both in ``source.crs``).
    Two usable pairs more than 100 m apart are reported with their distance; the first is used.
    """
    pairs = _pairs(raw, source, crs, log, system)
    if not pairs:
        return frame
    x, y = pairs[0]
    for other_x, other_y in pairs[1:]:
        distance = pair_distance_m(x, y, other_x, other_y)
        apart = pairs_apart(distance)
        meters = distance[apart].round().astype("int64").astype("string") + " m apart"
        log.add("x_m", "coordinate_pairs_disagree", meters, "first pair used")
        filled = x.isna() & other_x.notna()
        log.add("x_m", "first_pair_missing", x.index[filled], "second pair used")
        x, y = x.fillna(other_x), y.fillna(other_y)
    log.add("x_m", "no_coordinates", frame.index[x.isna()], "kept without a point")
    return frame.assign(x_m=x, y_m=y)


def _pairs(
    raw: pd.DataFrame, source: Source, crs: CRS, log: DefectLog, system: CRS | None
) -> list[tuple[pd.Series, pd.Series]]:
    names: list[tuple[str, str, CRS]] = []
    if system is not None and _SHAPE_X in raw:
        names.append((_SHAPE_X, _SHAPE_Y, system))
    for x, y in ((source.x, source.y), (source.second_x, source.second_y)):
        if x is not None and y is not None:
            own = None if system is None else system.to_string()
            names.append(
                (x, y, source_crs(source.crs, own, name="the coordinate pair", layer=log.layer))
            )
    pairs = []
    for x, y, pair_crs in names:
        pair = coordinate_pair(raw, x, y, layer=log.layer)
        east, north = move_pair(pair, pair_crs, crs)
        pairs.append((pd.Series(east, index=raw.index), pd.Series(north, index=raw.index)))
    return pairs


def _check_dates(frame: pd.DataFrame, log: DefectLog) -> None:
    early = inspected_before_issue(frame["issued"], frame["inspected"])
    late = inspected_in_later_year(frame["issued"], frame["inspected"])
    days = (
        frame["issued"].dt.strftime("%Y-%m-%d") + " / " + frame["inspected"].dt.strftime("%Y-%m-%d")
    )
    log.add("inspected", "inspected_before_issue", days[early], "kept")
    log.add("inspected", "inspected_in_later_year", days[late], "kept")


def check_modifications(permits: pd.DataFrame, parcels: pd.DataFrame) -> pd.DataFrame:
    """Report permits for a new system that are years younger than the house.

    Such a permit may be for a change of an older system that was never recorded. Parcels are
    matched by ``parcel_id``; nothing is changed.
    """
    log = DefectLog(PERMITS.name)
    built = parcels.dropna(subset=["parcel_id"]).set_index("parcel_id")["year_built"]
    year_built = permits["parcel_id"].map(built[~built.index.duplicated()]).astype("float64")
    late = permit_long_after_house(permits["issued"], year_built) & permits["action"].eq("new")
    late = late.fillna(False).astype(bool)
    log.add("issued", "perhaps_modification", permits.loc[late, "permit_id"], "kept")
    return log.table()


def failure_signal(action: pd.Series) -> pd.Series:
    """Whether a permit says that the old system had failed: repairs do, alterations do not.

    >>> words = pd.Series(["repair", "alteration", "new", None], dtype="string")
    >>> failure_signal(words).tolist()
    [True, False, False, <NA>]
    """
    signal = (action == "repair").astype("boolean")
    return signal.mask(action.isna() | (action == "unknown"), np.nan)
