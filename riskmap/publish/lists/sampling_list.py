"""The well sampling list: which wells to sample first, where they are, what to test."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Final

import geopandas as gpd
import numpy as np
import pandas as pd

from riskmap.action.mailing import by_parcel_id
from riskmap.action.sampling import samples_taken, sampling_order
from riskmap.contract.quantities import Units, shown
from riskmap.contract.results import SAMPLING
from riskmap.publish.lists.list_columns import ResultColumn, file_name_of
from riskmap.publish.lists.workbook import Worklist, cleaned, write_workbook
from riskmap.publish.words.cautions import WATER
from riskmap.publish.words.imprint import Imprint, imprint_of
from riskmap.publish.words.text_safety import csv_text, plain_text
from riskmap.stages.result import Result

RESULTS: Final = (
    ResultColumn("Sampled on", 12, "Date of the sample", kind="date"),
    ResultColumn("By", 9, "Sampler's initials"),
    ResultColumn("Nitrate (mg/L as N)", 11, "Laboratory result", kind="number"),
    ResultColumn("Below limit", 9, "Whether nitrate is below what the laboratory can see",
                 ("yes", "no")),
    ResultColumn("Coliform", 10, "Total coliform", ("found", "not found")),
    ResultColumn("E. coli", 10, "E. coli", ("found", "not found")),
    ResultColumn("Owner informed on", 12, "Date the owner got the result", kind="date"),
    ResultColumn("Notes", 32, "Cap, casing, odd taste, treatment before the tap"),
)  # fmt: skip
"""Columns for the sampler to fill in."""

NOTES: Final = (
    ("Order", "Wells whose last sample was above the limit (10 mg/L nitrate as N, 40 CFR 141.62) "
     "or held coliform come first, then those at half the limit or more; then by risk. A clean "
     "sample of the last three years halves the risk. Wells that a visit sampled stand last for "
     "half a year while the result is not on record."),
    ("Risk", "The groundwater assessment's well risk where the run has it; otherwise the sum, over "
     "ranked systems within 229 m (750 ft), of score / 100 x (1 - distance / 229 m)."),
    ("Sampling", "Sample before any treatment, with the laboratory's own bottles and steps; "
     "bacteria samples stay cold and reach the laboratory within its time limit."),
    ("If a result is bad", "Inform the owner at once. Above 10 mg/L nitrate (as N) infants and "
     "pregnant women need other water; boiling does not take nitrate out. With E. coli nobody "
     "drinks it unboiled. Follow the health department's advice."),
    ("Public wells", "Their operators sample them by law; coordinate instead of sampling."),
    ("Caution", WATER),
)  # fmt: skip


def sampling_list(folder: Path, result: Result) -> None:
    """Write the well sampling list of a run that assessed wells."""
    if result.planning is not None:
        write_sampling_list(
            folder,
            result.parcels,
            result.planning.wells,
            imprint_of(result.region),
            samples=result.county.tables.get("well_samples"),
            inspections=result.county.tables.get("inspections"),
            parcels=result.county.tables["parcels"],
        )


def write_sampling_list(
    folder: Path,
    ranked: gpd.GeoDataFrame,
    wells: gpd.GeoDataFrame,
    imprint: Imprint,
    *,
    samples: pd.DataFrame | None = None,
    inspections: pd.DataFrame | None = None,
    parcels: pd.DataFrame | None = None,
) -> list[Path]:
    """Write ``lists/well_sampling.csv`` and ``lists/well_sampling.xlsx``.

    Parameters
    ----------
    folder
        The result folder.
    ranked
        Lots with features and ranks, index ``parcel_id``.
    wells
        The canonical wells (points); ``well_risk_frac`` orders them where given. Where there are
        none nothing is written.
    imprint
        Printed at the head; to its day the age of samples counts.
    samples, inspections
        The canonical ``well_samples``, and visits that may have taken samples; or None.
    parcels
        The canonical parcels with owners, where the county keeps them.

    Returns
    -------
    list of Path
        Files written.
    """
    if not len(wells):
        return []
    table = sampling_table(
        ranked, wells, date=imprint.date, samples=samples, inspections=inspections, parcels=parcels
    )
    place = folder / "lists"
    place.mkdir(parents=True, exist_ok=True)
    path = place / "well_sampling.csv"
    named, titles = _in_units(cleaned(table), imprint.units)
    path.write_bytes(csv_text(named.rename(columns=titles)).encode("utf-8"))
    worklist = Worklist(
        name="Well sampling",
        heading=f"{plain_text(imprint.county)}: wells to sample, {imprint.date.isoformat()}",
        table=named,
        columns=SAMPLING.columns,
        results=RESULTS,
        notes=NOTES,
        units=imprint.units,
        frozen=3,
        pages_wide=2,
    )
    return [path, write_workbook(place / "well_sampling.xlsx", worklist)]


def sampling_table(
    ranked: gpd.GeoDataFrame,
    wells: gpd.GeoDataFrame,
    *,
    date: datetime.date,
    samples: pd.DataFrame | None = None,
    inspections: pd.DataFrame | None = None,
    parcels: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Put wells in sampling order, with their place, parcel and owner (SI units).

    Parameters
    ----------
    ranked
        All parcels with lots, scores and address; index ``parcel_id``.
    wells
        Wells with their risk, in the county's reference system.
    date
        Date of the run.
    samples
        Laboratory results; None: none.
    inspections
        Visits, of which some took samples; None: none.
    parcels
        Parcels with ``owner`` where the region file keeps it; None: no owners.
    """
    placed = wells.reset_index(drop=True)
    points = placed.geometry
    plain = pd.DataFrame(placed.drop(columns="geometry")).assign(x_m=points.x, y_m=points.y)
    where = _whereabouts(placed, ranked, parcels)
    taken = where["parcel_id"].map(samples_taken(inspections))
    order = sampling_order(plain, pd.DataFrame(ranked), samples, today=date, taken=taken)
    table = order.join(where)
    dates = pd.to_datetime(table["last_sample"])
    table["last_sample"] = dates.dt.strftime("%Y-%m-%d")
    flags = table["last_coliform"].astype("boolean")
    table["last_coliform"] = flags.map({True: "found", False: "not found"}, na_action="ignore")
    return table[SAMPLING.column_names].reset_index(drop=True)


def _whereabouts(
    wells: gpd.GeoDataFrame, ranked: gpd.GeoDataFrame, parcels: pd.DataFrame | None
) -> pd.DataFrame:
    """Parcel under each well (the smallest where lots overlap), its address and owner."""
    lots = ranked.geometry
    place, lot = lots.sindex.query(wells.geometry, predicate="intersects")
    pairs = pd.DataFrame({"well": place, "lot": lot, "area": lots.area.to_numpy()[lot]})
    first = pairs.sort_values(["well", "area", "lot"]).drop_duplicates("well").set_index("well")
    ids = pd.Series(ranked.index.astype(str)[first["lot"]], index=first.index, dtype="string")
    addresses = pd.Series(ranked["address"].to_numpy()[first["lot"]], index=first.index)
    table = pd.DataFrame({"parcel_id": ids, "address": addresses}, index=wells.index)
    kept = by_parcel_id(parcels)
    if kept is not None and "owner" in kept:
        table["owner"] = kept["owner"].reindex(table["parcel_id"]).to_numpy()
    else:
        table["owner"] = None
    degrees = wells.geometry.to_crs(4326)
    return table.assign(
        latitude=np.round(degrees.y.to_numpy(), 6), longitude=np.round(degrees.x.to_numpy(), 6)
    )


def _in_units(table: pd.DataFrame, units: Units) -> tuple[pd.DataFrame, dict[str, str]]:
    """Numbers as people read them; names for the CSV file say the unit."""
    read = table.copy()
    for column in SAMPLING.columns:
        if column.dtype == "number":
            read[column.name] = shown(read[column.name], column.quantity, units)
    return read, {column.name: file_name_of(column, units=units) for column in SAMPLING.columns}
