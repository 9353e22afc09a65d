"""Writes plain tables: CSV, the water-quality portal's CSV, and the federal services' RDB."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from sample_region.plan import Plan
from sample_region.well_records import DETECTION_MG_L
from sample_region.write_shapes import points_in_degrees

NITRATE_TO_N: Final = 14.0067 / 62.0049
RESULT_COLUMNS: Final = [
    "OrganizationIdentifier",
    "OrganizationFormalName",
    "ActivityIdentifier",
    "ActivityTypeCode",
    "ActivityMediaName",
    "ActivityMediaSubdivisionName",
    "ActivityStartDate",
    "ActivityStartTime/Time",
    "ActivityStartTime/TimeZoneCode",
    "MonitoringLocationIdentifier",
    "ActivityCommentText",
    "SampleAquifer",
    "ResultDetectionConditionText",
    "CharacteristicName",
    "ResultSampleFractionText",
    "ResultMeasureValue",
    "ResultMeasure/MeasureUnitCode",
    "MeasureQualifierCode",
    "ResultStatusIdentifier",
    "ResultValueTypeName",
    "USGSPCode",
    "ResultAnalyticalMethod/MethodName",
    "LaboratoryName",
    "DetectionQuantitationLimitTypeName",
    "DetectionQuantitationLimitMeasure/MeasureValue",
    "DetectionQuantitationLimitMeasure/MeasureUnitCode",
    "ProviderName",
]
SITE_COLUMNS: Final = [
    "OrganizationIdentifier",
    "OrganizationFormalName",
    "MonitoringLocationIdentifier",
    "MonitoringLocationName",
    "MonitoringLocationTypeName",
    "LatitudeMeasure",
    "LongitudeMeasure",
    "HorizontalCoordinateReferenceSystemDatumName",
    "VerticalMeasure/MeasureValue",
    "VerticalMeasure/MeasureUnitCode",
    "VerticalCoordinateReferenceSystemDatumName",
    "CountryCode",
    "StateCode",
    "CountyCode",
    "AquiferName",
    "WellDepthMeasure/MeasureValue",
    "WellDepthMeasure/MeasureUnitCode",
    "ProviderName",
]


def write_csv(path: Path, table: pd.DataFrame) -> None:
    """Write a table, missing cells empty, lines ended alike on every system."""
    table.to_csv(path, index=False, lineterminator="\n", encoding="utf-8")


def with_degrees(
    table: pd.DataFrame, plan: Plan, pairs: dict[tuple[str, str], tuple[str, str]]
) -> pd.DataFrame:
    """Replace local coordinate columns by longitude and latitude columns.

    Parameters
    ----------
    table
        With local coordinates, m.
    plan
        Place of the local corner.
    pairs
        Columns x and y -> names of the new longitude and latitude columns.
    """
    for (x, y), (lon, lat) in pairs.items():
        degrees = points_in_degrees(plan, table[x].to_numpy(float), table[y].to_numpy(float))
        table = table.assign(**{lon: degrees[:, 0], lat: degrees[:, 1]}).drop(columns=[x, y])
    return table


def permit_file(table: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Give permits two coordinate pairs: GPS as text (X, Y), geocoded numbers (LAT, LONG_)."""
    table = with_degrees(
        table, plan, {("x", "y"): ("gx", "gy"), ("geo_x", "geo_y"): ("LONG_", "LAT")}
    )
    for name, column in (("X", "gx"), ("Y", "gy")):
        text = table[column].map(lambda value: f"{value:.6f}")
        table[name] = text.mask(table.no_gps, "").str.ljust(20)
    return table.drop(columns=["gx", "gy", "no_gps"])


def write_portal(folder: Path, plan: Plan, samples: pd.DataFrame, wells: pd.DataFrame) -> None:
    """Write results and sites in the portal's form.

    Parameters
    ----------
    folder
        Gets ``result.csv`` and ``station.csv``.
    plan
        Place of the local corner.
    samples
        From :func:`sample_region.well_records.samples`.
    wells
        All wells; only those sampled are written.
    """
    results = pd.concat([_nitrate_rows(samples), _coliform_rows(samples)])
    results = results.sort_values(["ActivityIdentifier"], kind="stable")
    write_csv(folder / "result.csv", results.reindex(columns=RESULT_COLUMNS))
    sampled = wells[wells.well_id.isin(samples.well_id)].reset_index(drop=True)
    degrees = points_in_degrees(plan, sampled.x.to_numpy(), sampled.y.to_numpy(), "EPSG:4269")
    sites = pd.DataFrame(index=sampled.index, columns=SITE_COLUMNS)
    sites["OrganizationIdentifier"], sites["OrganizationFormalName"] = "ZZFM", "Fennimarsh Wells"
    sites["MonitoringLocationIdentifier"] = sampled.well_id
    sites["MonitoringLocationName"] = sampled.well_id.str.replace("ZZFM-W", "Invented well ")
    sites["MonitoringLocationTypeName"] = "Well"
    sites["LongitudeMeasure"], sites["LatitudeMeasure"] = degrees[:, 0], degrees[:, 1]
    sites["HorizontalCoordinateReferenceSystemDatumName"] = "NAD83"
    sites["CountryCode"], sites["StateCode"], sites["CountyCode"] = "US", "00", "001"
    sites["WellDepthMeasure/MeasureValue"] = (sampled.depth_m / 0.3048).round(0)
    sites["WellDepthMeasure/MeasureUnitCode"], sites["ProviderName"] = "ft", "STORET"
    write_csv(folder / "station.csv", sites)


def _activity_rows(samples: pd.DataFrame, suffix: str) -> pd.DataFrame:
    rows = pd.DataFrame({"ActivityStartDate": samples.date})
    rows["MonitoringLocationIdentifier"] = samples.well_id
    rows["ActivityIdentifier"] = [f"ZZFM-{n + 1:07d}" for n in range(len(samples))]
    rows["OrganizationIdentifier"], rows["OrganizationFormalName"] = "ZZFM", "Fennimarsh Wells"
    rows["ActivityTypeCode"], rows["ActivityMediaName"] = "Sample-Routine", "Water"
    rows["ActivityMediaSubdivisionName"] = "Groundwater"
    rows["ResultStatusIdentifier"], rows["ResultValueTypeName"] = "Final", "Actual"
    rows["LaboratoryName"], rows["ProviderName"] = "Pretend Laboratory", "STORET"
    rows["CharacteristicName"] = suffix
    return rows


def _nitrate_rows(samples: pd.DataFrame) -> pd.DataFrame:
    """Most in mg/L as N; every thirty-first as nitrate; below the limit without a value."""
    rows = _activity_rows(samples, "Nitrate")
    as_ion = (np.arange(len(samples)) % 31 == 9) & ~samples.below
    value = samples.nitrate.where(~as_ion, samples.nitrate / NITRATE_TO_N).round(2)
    rows["ResultMeasureValue"] = value.mask(samples.below)
    rows["ResultMeasure/MeasureUnitCode"] = np.where(as_ion, "mg/l asNO3", "mg/l as N")
    rows["ResultSampleFractionText"] = "Dissolved"
    rows["ResultDetectionConditionText"] = np.where(samples.below, "Not Detected", "")
    rows["DetectionQuantitationLimitTypeName"] = "Laboratory Reporting Level"
    rows["DetectionQuantitationLimitMeasure/MeasureValue"] = DETECTION_MG_L
    rows["DetectionQuantitationLimitMeasure/MeasureUnitCode"] = "mg/l as N"
    return rows


def _coliform_rows(samples: pd.DataFrame) -> pd.DataFrame:
    rows = _activity_rows(samples, "Total Coliform")
    rows["ResultMeasureValue"] = np.where(samples.coliform, "Present", "")
    rows["ResultDetectionConditionText"] = np.where(samples.coliform, "", "Not Detected")
    rows["ResultSampleFractionText"] = "Total"
    return rows


def write_levels(folder: Path, plan: Plan, sites: pd.DataFrame, levels: pd.DataFrame) -> None:
    """Write readings and sites as RDB: comments, names, column formats, rows.

    Parameters
    ----------
    folder
        Gets ``levels.txt`` and ``sites.txt``.
    plan
        Place of the local corner.
    sites, levels
        From :func:`sample_region.well_records.water_levels`.
    """
    agency = pd.Series("ZZGS", index=levels.index)
    table = pd.DataFrame({"agency_cd": agency, "site_no": levels.site_no, "site_tp_cd": "GW"})
    table["lev_dt"], table["lev_tm"], table["lev_tz_cd"] = levels.date, "", ""
    table["lev_va"] = levels.depth_ft.map(lambda v: "" if np.isnan(v) else f"{v:.2f}")
    table["sl_lev_va"], table["sl_datum_cd"] = "", ""
    table["lev_status_cd"] = levels.status
    table["lev_agency_cd"] = "ZZGS"
    table["lev_dt_acy_cd"] = np.where(levels.date.str.len() == 7, "M", "D")
    table["lev_acy_cd"], table["lev_src_cd"], table["lev_meth_cd"] = "2", "S", "S"
    table["lev_age_cd"] = "A"
    _write_rdb(
        folder / "levels.txt", table, "Invented ground-water levels, feet below land surface"
    )
    degrees = points_in_degrees(plan, sites.x.to_numpy(), sites.y.to_numpy(), "EPSG:4269")
    place = pd.DataFrame({"agency_cd": "ZZGS", "site_no": sites.site_no})
    place["station_nm"] = [f"INVENTED WELL {n + 1}" for n in range(len(sites))]
    place["site_tp_cd"] = "GW"
    place["dec_lat_va"] = [f"{v:.7f}" for v in degrees[:, 1]]
    place["dec_long_va"] = [f"{v:.7f}" for v in degrees[:, 0]]
    place["coord_acy_cd"], place["dec_coord_datum_cd"] = "S", "NAD83"
    place["alt_va"] = [f"{v:.1f}" for v in sites.ground_ft]
    place["alt_acy_va"], place["alt_datum_cd"], place["huc_cd"] = ".1", "NAVD88", "00000000"
    _write_rdb(folder / "sites.txt", place, "Invented observation wells")


def _write_rdb(path: Path, table: pd.DataFrame, title: str) -> None:
    width = [max(table[name].astype(str).str.len().max(), 1) for name in table.columns]
    formats = "\t".join(f"{w}s" for w in width)
    head = f"#\n# {title}\n# No real well is described.\n#\n"
    names = "\t".join(table.columns)
    rows = "".join("\t".join(map(str, row)) + "\n" for row in table.itertuples(index=False))
    path.write_text(f"{head}{names}\n{formats}\n{rows}", encoding="utf-8", newline="\n")
