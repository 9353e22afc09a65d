"""Which wells a parcel's water may reach, packed for the map: the leading pairs of both sides."""

from __future__ import annotations

from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.contract.columns import Column
from riskmap.contract.features import as_words, card
from riskmap.contract.quantities import LENGTH, Units, shown
from riskmap.contract.results import ASSESSED_WELLS
from riskmap.publish.map.packing import Package, pack_numbers, pack_words

PER_PARCEL: Final = 3
"""Wells shown on a parcel's card."""
PER_WELL: Final = 5
"""Parcels shown on a well's card."""

_ON_CARD: Final = [ASSESSED_WELLS.column("well_id")] + [
    found for found in ASSESSED_WELLS.columns if found.card
]


def wells_with_risk(wells: gpd.GeoDataFrame, risk: pd.DataFrame | None) -> gpd.GeoDataFrame:
    """All wells, with the risk columns of those that were assessed (by ``well_id``)."""
    if risk is None or "well_id" not in wells or "well_id" not in risk:
        return wells
    names = [found.name for found in _ON_CARD if found.name in risk and found.name not in wells]
    known = pd.DataFrame(risk)[["well_id", *names]].drop_duplicates("well_id")
    found = known.set_index("well_id").reindex(wells["well_id"]).set_index(wells.index)
    return wells.join(found)


def well_columns(package: Package, wells: gpd.GeoDataFrame, units: Units) -> dict[str, Any]:
    """Add what a well's card needs.

    Parameters
    ----------
    package
        Gets the columns.
    wells
        Wells with what was assessed of them (SI), in the package's order.
    units
        ``us`` or ``si``.

    Returns
    -------
    dict
        Description of each column for the page.
    """
    columns: dict[str, Any] = {}
    for found in _ON_CARD:
        name = found.name
        if name not in wells:
            continue
        if found.dtype == "number":
            quantity = found.quantity
            values = pd.Series(wells[name]).astype("Float64").to_numpy(float, na_value=np.nan)
            columns[name] = pack_numbers(
                package,
                pd.Series(shown(values, quantity, units)),
                decimals=quantity.scale(units).decimals,
            )
        else:
            columns[name] = pack_words(package, as_words(_in_words(wells[name], found), found))
    return columns


def _in_words(values: pd.Series, found: Column) -> pd.Series:
    """Write days as 2026-06-01, and flags as yes and no."""
    if found.dtype == "date":
        return pd.to_datetime(values).dt.strftime("%Y-%m-%d")
    if found.dtype == "flag":
        return values.astype("boolean").map({True: "yes", False: "no"})
    return values


def well_facts(units: Units) -> list[dict[str, str]]:
    """Columns of a well's record with their labels and units, for the page."""
    found = [each for each in ASSESSED_WELLS.columns if each.card == card.WELL_RECORD]
    return [
        {
            "column": each.name,
            "label": each.label or each.meaning,
            "unit": each.quantity.scale(units).unit,
        }
        for each in found
    ]


def leading_pairs(pairs: pd.DataFrame) -> pd.DataFrame:
    """Choose pairs that add most nitrate: :data:`PER_PARCEL` a parcel, :data:`PER_WELL` a well."""
    order = ["nitrate_added_mg_l", "distance_m", "parcel_id", "well_id"]
    table = pairs.sort_values(order, ascending=[False, True, True, True], kind="stable")
    first = table.groupby("parcel_id", sort=False).cumcount() < PER_PARCEL
    worst = table.groupby("well_id", sort=False).cumcount() < PER_WELL
    return table[first | worst]


def pack_threats(
    pairs: pd.DataFrame, *, parcels: pd.Index, wells: pd.Series, units: Units
) -> Package:
    """Pack the leading pairs, ordered by parcel, then by nitrate added (most first).

    Parameters
    ----------
    pairs
        ``parcel_id``, ``well_id``, ``distance_m``, ``travel_time_d``, ``nitrate_added_mg_l``.
    parcels, wells
        Parcel numbers and well numbers in the order of the page's shapes; pairs whose parcel or
        well is not drawn are left out.
    """
    row = pd.Series(np.arange(len(parcels)), index=parcels)
    well = pd.Series(np.arange(len(wells)), index=wells.to_numpy())
    well = well[~well.index.duplicated()]
    table = leading_pairs(pairs)
    table = table.assign(row=table["parcel_id"].map(row), well=table["well_id"].map(well))
    table = table[table["row"].notna() & table["well"].notna()].sort_values("row", kind="stable")
    package = Package()
    columns: dict[str, Any] = {
        "row": pack_numbers(package, table["row"]),
        "well": pack_numbers(package, table["well"]),
        "distance": pack_numbers(package, pd.Series(shown(table["distance_m"], LENGTH, units))),
        "days": pack_numbers(package, _two_digits(table["travel_time_d"])),
        "nitrate": pack_numbers(package, table["nitrate_added_mg_l"], decimals=2),
    }
    package.header |= {"count": len(table), "columns": columns}
    return package


def _two_digits(values: pd.Series) -> pd.Series:
    """Round times, which are no better known, to two digits."""
    number = np.maximum(values.to_numpy(float), 1.0)
    step = 10.0 ** np.maximum(np.floor(np.log10(number)) - 1, 0)
    return pd.Series((number / step).round() * step, index=values.index)
