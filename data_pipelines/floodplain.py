"""Reads flood zones from the national flood hazard layer, or a county's own by its mapping.

Zone designations as in 44 CFR 64.3 (zones A.., V..: special flood hazard areas; B and shaded X:
0.2 percent chance; C and X: minimal; D: undetermined).
"""

from __future__ import annotations

from typing import Final

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS

from data_pipelines.columns import find_column
from data_pipelines.defect_log import DefectLog
from data_pipelines.tables import list_columns
from data_pipelines.values import as_text
from data_pipelines.vector import Bounds, canonical_layer, parse_shapes, read_shapes
from riskmap.contract.errors import LayerError
from riskmap.contract.layers import FLOODPLAIN
from riskmap.contract.sources import ColumnSource, Reading, Source

FEDERAL_COLUMNS: Final = ("FLD_ZONE", "ZONE_SUBTY", "SFHA_TF")
_HUNDRED: Final = r"^(?:A|AE|AH|AO|AR|AR/.*|A99|A\d{1,2}|V|VE|VO|V\d{1,2})$"
_FIVE_HUNDRED: Final = (
    r"0\.2\s*(?:PCT|PERCENT|%)|REDUCED FLOOD (?:RISK|HAZARD)|PROTECTED BY LEVEE"
    r"|^1 PCT (?:DEPTH|DRAINAGE|FUTURE|CONTAINED)"
)


def read_floodplain(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read flood zones; the federal columns are found in upper or lower case.

    Parameters
    ----------
    source, crs, bounds
        As in :func:`data_pipelines.registry.read_layer`.
    """
    if "zone" in source.columns:
        return read_shapes(source, FLOODPLAIN, crs, bounds=bounds)
    names = list_columns(source.files[0], layer=source.layer, table=source.table)
    federal = [find_column(name, names) for name in FEDERAL_COLUMNS]
    if federal[0] is None:
        if find_column("zone", names) is not None:
            return read_shapes(source, FLOODPLAIN, crs, bounds=bounds)
        raise LayerError(
            source.layer,
            "the source has no FLD_ZONE column, and no column is named for zone.",
            f"Map zone in the region file. Columns: {', '.join(names)}.",
        )
    log = DefectLog(FLOODPLAIN.name)
    wanted = [name for name in federal if name is not None]
    raw = parse_shapes(source, FLOODPLAIN, crs, log, extra=wanted, bounds=bounds)
    return canonical_floodplain(raw, source, crs, log)


def canonical_floodplain(
    raw: gpd.GeoDataFrame, source: Source, crs: CRS, log: DefectLog
) -> Reading:
    """Canonical zones of a raw frame with the federal columns.

    A polygon that occurs in two files (hundred-year and five-hundred-year extracts) is kept once.

    Parameters
    ----------
    raw
        Rows as parsed, with their shapes in the source's system.
    source
        Gives the column mapping.
    crs
        The region's reference system.
    log
        Gets the defects.
    """
    text = {name: _federal(raw, name) for name in FEDERAL_COLUMNS}
    zone = zone_of(text["FLD_ZONE"], text["ZONE_SUBTY"], text["SFHA_TF"])
    _report(text, zone, log)
    spec = {"zone": ColumnSource(column="zone")}
    part = Source(source.layer, source.files, columns=spec, crs=source.crs)
    shapes = raw[[raw.geometry.name]].assign(zone=zone)
    frame = canonical_layer(shapes, part, FLOODPLAIN, crs, log)
    same = pd.DataFrame({"zone": frame["zone"], "wkb": shapely.to_wkb(frame.geometry.to_numpy())})
    again = same.duplicated(keep="first")
    log.add("geometry", "repeated_polygon", frame.loc[again, "zone"].fillna(""), "left out")
    return Reading(frame[~again], log.table())


def _federal(raw: gpd.GeoDataFrame, name: str) -> pd.Series:
    found = find_column(name, raw.columns)
    if found is None:
        return pd.Series(pd.NA, index=raw.index, dtype="string")
    return as_text(raw[found]).str.upper()


def zone_of(zone: pd.Series, subtype: pd.Series, hazard_area: pd.Series) -> pd.Series:
    """Canonical zone of the federal columns.

    A floodway is one by its subtype; special hazard areas by zone or by the T/F column; shaded X,
    B, and areas behind a levee count as five-hundred-year; other X and C lie outside.

    Parameters
    ----------
    zone, subtype, hazard_area
        Columns ``FLD_ZONE``, ``ZONE_SUBTY`` and ``SFHA_TF`` in upper case; missing where empty.

    Returns
    -------
    Series
        Words of the layer ``floodplain``; missing where the hazard is undetermined.

    Examples
    --------
    >>> raw = pd.DataFrame({"z": ["AE", "X"], "s": ["FLOODWAY", None], "f": ["T", "F"]})
    >>> raw = raw.astype("string")
    >>> zone_of(raw["z"], raw["s"], raw["f"]).tolist()
    ['floodway', 'outside']
    """
    subtype = subtype.fillna("")
    way = subtype.str.contains("FLOODWAY")
    special = zone.fillna("").str.contains(_HUNDRED) | (hazard_area.fillna("") == "T")
    rare = subtype.str.contains(_FIVE_HUNDRED) | zone.isin(["B", "X500", "0.2 PCT"])
    outside = zone.isin(["X", "C"])
    result = pd.Series(pd.NA, index=zone.index, dtype="string")
    result = result.mask(outside, "outside").mask(rare, "five_hundred_year")
    return result.mask(special, "hundred_year").mask(way, "floodway")


def _report(text: dict[str, pd.Series], zone: pd.Series, log: DefectLog) -> None:
    codes = text["FLD_ZONE"].fillna("") + " " + text["ZONE_SUBTY"].fillna("")
    log.add("zone", "undetermined_zone", codes[zone.isna()], "set to missing")
    by_zone = text["FLD_ZONE"].fillna("").str.contains(_HUNDRED)
    flag = text["SFHA_TF"]
    conflict = (flag.eq("T").fillna(False) & ~by_zone) | (flag.eq("F").fillna(False) & by_zone)
    log.add("zone", "zone_conflict", codes[conflict.astype(bool)], "the more hazardous kept")
