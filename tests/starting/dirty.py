"""Differently dirty sets of a county's files, made of the sample county's, with the right answers.

Every set is a function ``(base, folder) -> Dirty``: files are written to `folder`, and ``truth``
says which source column feeds which canonical one. A unit or a date format stands behind a bar:
``"Depth|ft"``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import pandas as pd

Frame = pd.DataFrame


@dataclass(frozen=True)
class Base:
    """The sample county's own tables."""

    folder: Path
    lots: gpd.GeoDataFrame
    tax: Frame
    permits: Frame
    visits: Frame
    wells: Frame


@dataclass(frozen=True)
class Dirty:
    files: list[Path]
    truth: Mapping[str, Mapping[str, str]]


def load(folder: Path) -> Base:
    def table(name: str) -> Frame:
        return pd.read_csv(folder / name, dtype=str, keep_default_na=False)

    lots = gpd.read_file(folder / "parcels" / "parcels.shp")
    return Base(
        folder, lots[lots.geometry.notna()].reset_index(drop=True),
        table("parcels/assessor.csv"), table("permits/permits.csv"),
        table("inspections/inspections.csv"), table("wells/wells.csv"),
    )  # fmt: skip


TAX = {
    "address": "SITEADDR", "land_use": "USE", "year_built": "YEAR_BUILT", "bedrooms": "BEDRMS",
    "living_area_m2": "SQFT|ft2", "improved": "BLDG_VAL", "owner": "OWNER",
    "mail_name": "MAIL_NAME", "mail_address": "MAIL_ADDR", "mail_city": "MAIL_CITY",
    "mail_state": "MAIL_ST", "mail_zip": "MAIL_ZIP", "dwellings": "DWELL",
}  # fmt: skip
PARCELS = {"parcel_id": "PIN", "neighborhood": "NBHD", "recorded_area_m2": "ACRES|acre", **TAX}
PERMITS = {
    "permit_id": "PERMIT", "parcel_id": "PIN", "action": "ACTION", "kind": "TYPE",
    "issued": "ISSUED", "inspected": "INSPECTED", "tank_volume_l": "TANKGAL|gal",
    "design_flow_l_d": "DESFLOW|gpd", "field_area_m2": "FIELDFT2|ft2",
    "effluent_filter": "FILTER", "bedrooms": "BEDRMS", "last_pumped": "LASTPUMP",
}  # fmt: skip
VISITS = {
    "parcel_id": "PARCEL", "date": "VISITED", "reason": "REASON", "stage": "FOUND",
    "ponding_cm": "POND_IN|in", "last_pumped": "LASTPUMP",
}  # fmt: skip
WELLS = {
    "well_id": "WELL_NO", "parcel_id": "PARCEL", "use": "WELL_USE", "depth_m": "DEPTH_FT|ft",
    "casing_m": "CASING_FT|ft", "static_level_m": "STATIC_FT|ft", "screen_top_m": "SCRN_TOP|ft",
    "screen_bottom_m": "SCRN_BOT|ft", "ground_elevation_m": "GRND_EL_FT|ft",
    "vertical_datum": "DATUM", "drilled": "DRILLED", "dug": "DUG", "yield_l_d": "YIELD_GPM|gpm",
}  # fmt: skip


def named(truth: Mapping[str, str], names: Mapping[str, str]) -> dict[str, str]:
    """Rename source columns of a truth; what is renamed to nothing is left out."""
    renamed = {}
    for column, source in truth.items():
        name, _, more = source.partition("|")
        if names.get(name, name):
            renamed[column] = names.get(name, name) + (f"|{more}" if more else "")
    return renamed


def save(frame: Frame, path: Path, names: Mapping[str, str], **how: object) -> Path:
    """Rename columns, leave out those without a name, and write as CSV."""
    gone = [name for name, new in names.items() if not new and name in frame]
    frame = frame.drop(columns=gone).rename(columns=dict(names))
    path.parent.mkdir(parents=True, exist_ok=True)
    frame.to_csv(path, index=False, **how)  # type: ignore[call-overload]
    return path


def draw(lots: gpd.GeoDataFrame, path: Path, names: Mapping[str, str], **how: object) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    lots.rename(columns=dict(names)).to_file(path, **how)
    return path


def as_it_comes(base: Base, folder: Path) -> Dirty:
    del folder
    names = ("parcels", "permits", "inspections", "wells", "soils", "sewer", "flood", "water")
    truth = {"parcels": PARCELS, "permits": PERMITS, "inspections": VISITS, "wells": WELLS}
    return Dirty([base.folder / name for name in names], truth)


def short_names(base: Base, folder: Path) -> Dirty:
    """Ten-letter names, parcel numbers without signs, two-digit years, distractors."""
    lot = {"PIN": "GIS_PIN", "NBHD": "NBHDCD", "ACRES": "DEED_AC"}
    tax = {"PARCEL": "PRCL_NO", "SITEADDR": "SITUSADDR", "USE": "USECODE", "YEAR_BUILT": "YRBLT",
           "BEDRMS": "BDRMS", "SQFT": "LIVSQFT", "BLDG_VAL": "IMPRVAL", "OWNER": "OWNERNAME",
           "MAIL_NAME": "", "MAIL_ADDR": "MAILADDR", "MAIL_CITY": "MAILCITY", "MAIL_ST": "MAILST",
           "MAIL_ZIP": "MAILZIP", "DWELL": "NUMDWELL"}  # fmt: skip
    permit = {"PERMIT": "PRMTNO", "PIN": "PCLNO", "ACTION": "PRMTTYPE", "TYPE": "SYSTYPE",
              "ISSUED": "ISSDATE", "INSPECTED": "INSPDATE", "TANKGAL": "TANKSZ",
              "DESFLOW": "DESGPD", "FIELDFT2": "FLDSQFT", "FILTER": "EFFFILT",
              "LASTPUMP": "LSTPUMPDT"}  # fmt: skip
    frame = base.permits.assign(PIN=base.permits["PIN"].str.replace("-", ""))
    for name in ("ISSUED", "INSPECTED"):
        frame[name] = pd.to_datetime(frame[name], errors="coerce").dt.strftime("%d-%b-%y")
    more = base.tax.assign(EFFYR=1990, BATHS=2, LANDVAL=20000, TOTVAL=90000, ZONING="R",
                           SALEDATE="2001-05-05", OLD_PIN="9" + base.tax["PARCEL"])  # fmt: skip
    files = [
        draw(base.lots, folder / "taxparcels.shp", lot),
        save(more, folder / "cama.csv", tax),
        save(frame, folder / "osds_permits.csv", permit),
    ]
    truth = {
        "parcels": named(PARCELS, {**lot, **tax}),
        "permits": named(PERMITS, permit)
        | {"issued": "ISSDATE|%d-%b-%y", "inspected": "INSPDATE|%d-%b-%y",
           "tank_volume_l": "TANKSZ|gal"},
    }  # fmt: skip
    return Dirty(files, truth)


def camel_names(base: Base, folder: Path) -> Dirty:
    """Names of a database, units in them; wells with degrees."""
    lot = {"PIN": "ParcelNumber", "NBHD": "NeighborhoodCode", "ACRES": "TotalAcres"}
    tax = {"PARCEL": "ParcelNumber", "SITEADDR": "SiteAddress", "USE": "LandUseCode",
           "YEAR_BUILT": "YearBuilt", "BEDRMS": "BedroomCount", "SQFT": "LivingAreaSqFt",
           "BLDG_VAL": "BuildingValue", "OWNER": "OwnerName", "MAIL_NAME": "",
           "MAIL_ADDR": "MailingAddress", "MAIL_CITY": "MailingCity", "MAIL_ST": "MailingState",
           "MAIL_ZIP": "MailingZip", "DWELL": "DwellingUnits"}  # fmt: skip
    permit = {"PERMIT": "PermitNumber", "PIN": "ParcelNumber", "ACTION": "WorkType",
              "TYPE": "SystemType", "ISSUED": "DateIssued", "INSPECTED": "DateInspected",
              "TANKGAL": "SepticTankGallons", "DESFLOW": "DesignFlowGPD",
              "FIELDFT2": "DrainfieldSqFt", "FILTER": "EffluentFilter", "BEDRMS": "Bedrooms",
              "LASTPUMP": "LastPumpedDate", "LONG_": "Longitude", "LAT": "Latitude",
              "X": "", "Y": ""}  # fmt: skip
    well = {"WELL_NO": "WellNumber", "PARCEL": "ParcelNumber", "WELL_USE": "WellUse",
            "DEPTH_FT": "TotalDepthFt", "CASING_FT": "CasingDepthFt",
            "STATIC_FT": "StaticWaterLevelFt", "SCRN_TOP": "ScreenTopFt",
            "SCRN_BOT": "ScreenBottomFt", "GRND_EL_FT": "GroundElevationFt",
            "DATUM": "VerticalDatum", "DRILLED": "DateDrilled", "DUG": "DugWell",
            "YIELD_GPM": "YieldGPM"}  # fmt: skip
    files = [
        draw(base.lots, folder / "Parcels.geojson", lot, driver="GeoJSON"),
        save(base.tax, folder / "AssessorRecords.csv", tax),
        save(base.permits, folder / "SepticPermits.csv", permit),
        save(base.wells, folder / "WellLogs.csv", well),
    ]
    truth = {
        "parcels": named(PARCELS, {**lot, **tax}),
        "permits": named(PERMITS, permit),
        "wells": named(WELLS, well),
    }
    return Dirty(files, truth)


def spoken_names(base: Base, folder: Path) -> Dirty:
    """Headings with blanks and units in brackets, semicolons, day-first dates, use in words."""
    tax = {"PARCEL": "Parcel No.", "SITEADDR": "Property address", "USE": "Land use",
           "YEAR_BUILT": "Year built", "BEDRMS": "Bedrooms", "SQFT": "Living area (sq ft)",
           "BLDG_VAL": "Improvement value", "OWNER": "Owner", "MAIL_NAME": "",
           "MAIL_ADDR": "Mailing address", "MAIL_CITY": "Mailing city", "MAIL_ST": "Mailing state",
           "MAIL_ZIP": "Mailing zip", "DWELL": "Dwelling units"}  # fmt: skip
    permit = {"PERMIT": "Permit no.", "PIN": "Parcel no.", "ACTION": "Work type",
              "TYPE": "System type", "ISSUED": "Date issued", "INSPECTED": "Final inspection date",
              "TANKGAL": "Tank size (gal)", "DESFLOW": "Design flow (gpd)",
              "FIELDFT2": "Field area (sq ft)", "FILTER": "Effluent filter", "BEDRMS": "Bedrooms",
              "LASTPUMP": "Last pumped"}  # fmt: skip
    visit = {
        "PARCEL": "Parcel no.",
        "VISITED": "Date of visit",
        "REASON": "Reason",
        "FOUND": "Condition",
        "POND_IN": "Ponding (inches)",
        "LASTPUMP": "Last pumped",
    }
    words = {
        "R1": "Single Family",
        "R8": "Mobile Home",
        "S2": "Seasonal",
        "A5": "Farm",
        "A0": "Agricultural",
        "C3": "Commercial",
        "E4": "Church",
        "V0": "Vacant",
    }
    days = base.permits.copy()
    for name in ("ISSUED", "INSPECTED"):
        days[name] = pd.to_datetime(days[name], errors="coerce").dt.strftime("%d/%m/%Y")
    visits = base.visits.copy()
    visits["VISITED"] = pd.to_datetime(visits["VISITED"], format="%m/%d/%Y").dt.strftime("%d.%m.%Y")
    how = {"sep": ";", "encoding": "cp1252"}
    files = [
        draw(base.lots, folder / "parcel polygons.gpkg", {}),
        save(base.tax.assign(USE=base.tax["USE"].map(words)), folder / "tax roll.csv", tax, **how),
        save(days, folder / "septic permits.csv", permit, **how),
        save(visits, folder / "site visits.csv", visit, **how),
    ]
    truth = {
        "parcels": named(PARCELS, tax),
        "permits": named(PERMITS, permit)
        | {"issued": "Date issued|%d/%m/%Y", "inspected": "Final inspection date|%d/%m/%Y"},
        "inspections": named(VISITS, visit) | {"date": "Date of visit|%d.%m.%Y"},
    }
    return Dirty(files, truth)


def one_database(base: Base, folder: Path) -> Dirty:
    """Everything in one geopackage, other layers first; a workbook whose first sheet is words."""
    folder.mkdir(parents=True, exist_ok=True)
    path, book = folder / "county.gpkg", folder / "records.xlsx"
    gpd.read_file(base.folder / "roads/roads.geojson").to_file(path, layer="Roads")
    base.lots.to_file(path, layer="Parcels")
    gpd.read_file(base.folder / "buildings/buildings.geojson").to_file(path, layer="Buildings")
    with pd.ExcelWriter(book) as sheets:
        words = Frame({"About": ["Exported from the office's database", "Ask for the key"]})
        words.to_excel(sheets, sheet_name="Read me", index=False)
        base.tax.to_excel(sheets, sheet_name="Assessor", index=False)
        base.permits.to_excel(sheets, sheet_name="Permits", index=False)
        base.wells.to_excel(sheets, sheet_name="Wells", index=False)
    truth = {"parcels": PARCELS, "permits": PERMITS, "wells": WELLS}
    return Dirty([path, book], truth)


def all_in_the_shapes(base: Base, folder: Path) -> Dirty:
    """The assessor's columns in the shapefile itself; codes of utilities; a service column."""
    first = base.tax.drop_duplicates("PARCEL").drop(columns=["UNIT", "MAIL_NAME"])
    lots = base.lots.merge(first, left_on="PIN", right_on="PARCEL", how="left").drop(
        columns="PARCEL"
    )
    lots["SEWER"] = ["SEPTIC", "PUBLIC"] * (len(lots) // 2) + ["SEPTIC"] * (len(lots) % 2)
    truth = {"parcels": {**PARCELS, "service": "SEWER"}}
    truth["parcels"].pop("mail_name")
    return Dirty([draw(lots, folder / "cadastre.shp", {})], truth)


def metric(base: Base, folder: Path) -> Dirty:
    """Meters, liters and square meters, named so; places in meters of the parcels' own system."""
    wells = base.wells.copy()
    for name in ("DEPTH_FT", "CASING_FT", "STATIC_FT", "SCRN_TOP", "SCRN_BOT", "GRND_EL_FT"):
        wells[name] = (pd.to_numeric(wells[name], errors="coerce") * 0.3048).round(1)
    points = gpd.GeoSeries(
        gpd.points_from_xy(wells["LONGITUDE"].astype(float), wells["LATITUDE"].astype(float)),
        crs=4326,
    ).to_crs(base.lots.crs)
    wells["LONGITUDE"], wells["LATITUDE"] = points.x.round(1), points.y.round(1)
    well = {"WELL_NO": "WELL_ID", "DEPTH_FT": "DEPTH_M", "CASING_FT": "CASING_M",
            "STATIC_FT": "STATIC_M", "SCRN_TOP": "SCREEN_TOP_M", "SCRN_BOT": "SCREEN_BOTTOM_M",
            "GRND_EL_FT": "ELEVATION_M", "LONGITUDE": "EASTING", "LATITUDE": "NORTHING",
            "YIELD_GPM": ""}  # fmt: skip
    permits = base.permits.copy()
    permits["TANKGAL"] = (pd.to_numeric(permits["TANKGAL"]) * 3.785).round()
    permits["FIELDFT2"] = (pd.to_numeric(permits["FIELDFT2"]) * 0.0929).round(1)
    permit = {"TANKGAL": "TANK_LITERS", "FIELDFT2": "FIELD_AREA_M2", "DESFLOW": ""}
    files = [
        draw(base.lots, folder / "parcels.gpkg", {}),
        save(permits, folder / "permits.csv", permit),
        save(wells, folder / "wells.csv", well),
    ]
    truth = {
        "parcels": {"parcel_id": "PIN", "neighborhood": "NBHD", "recorded_area_m2": "ACRES|acre"},
        "permits": named(PERMITS, permit)
        | {"tank_volume_l": "TANK_LITERS|l", "field_area_m2": "FIELD_AREA_M2|m2"},
        "wells": {k: v.replace("|ft", "|m") for k, v in named(WELLS, well).items()},
    }
    return Dirty(files, truth)


def silent_units(base: Base, folder: Path) -> Dirty:
    """Names without a unit; parcel numbers as numbers; month or day first cannot be told."""
    well = {"DEPTH_FT": "DEPTH", "CASING_FT": "CASING", "STATIC_FT": "SWL", "GRND_EL_FT": "ELEV",
            "YIELD_GPM": "YIELD", "WELL_NO": "WELL_TAG"}  # fmt: skip
    permit = {"TANKGAL": "TANK_SIZE", "FIELDFT2": "FIELD_AREA", "DESFLOW": "FLOW"}
    permits = base.permits.assign(PIN=base.permits["PIN"].str.replace("-", "") + ".0")
    permits["ISSUED"] = pd.to_datetime(permits["ISSUED"], errors="coerce").dt.strftime("%m/05/%Y")
    files = [
        draw(base.lots, folder / "parcels.shp", {}),
        save(permits, folder / "permits.csv", permit),
        save(base.wells, folder / "wells.csv", well),
    ]
    truth = {
        "parcels": {"parcel_id": "PIN", "neighborhood": "NBHD", "recorded_area_m2": "ACRES|acre"},
        "permits": named(PERMITS, permit),
        "wells": named(WELLS, well),
    }
    return Dirty(files, truth)


def poor_names(base: Base, folder: Path) -> Dirty:
    """Names that say little: the office's own letters, with telling values."""
    permit = {"PERMIT": "NUMBER", "PIN": "LOT_REF", "ACTION": "WORK", "TYPE": "TYPE",
              "ISSUED": "DATE", "INSPECTED": "FINAL_DATE", "TANKGAL": "TANK", "DESFLOW": "GPD",
              "FIELDFT2": "SQFT", "FILTER": "FILTER", "LASTPUMP": "PUMPED"}  # fmt: skip
    visit = {"PARCEL": "PROPERTY_REF", "VISITED": "DATE", "FOUND": "STATUS", "REASON": "WHY",
             "POND_IN": "PONDING"}  # fmt: skip
    files = [
        draw(base.lots, folder / "parcels.fgb", {"PIN": "ACCOUNT"}, driver="FlatGeobuf"),
        save(base.permits, folder / "septic.csv", permit),
        save(base.visits, folder / "inspections.csv", visit),
    ]
    truth = {
        "parcels": {"parcel_id": "ACCOUNT", "neighborhood": "NBHD",
                    "recorded_area_m2": "ACRES|acre"},
        "permits": named(PERMITS, permit),
        "inspections": named(VISITS, visit),
    }  # fmt: skip
    return Dirty(files, truth)


def statewide_points(base: Base, folder: Path) -> Dirty:
    """Permit points as a state keeps them: code beside its text, two pairs of coordinates."""
    codes = {"TRENCH": "01", "BED": "02", "MOUND": "03", "PIT": "04", "ATU": "05"}
    frame = Frame(
        {"OBJECTID": range(len(base.permits)), "COUNTYNBR": "99", "FILE_": "S",
         "NAME": base.permits["NAME"], "ADD1": base.permits["ADD1"], "CITY": base.permits["CITY"],
         "TYPE": base.permits["TYPE"].map(codes), "EDESCRIPT": base.permits["TYPE"],
         "STATUS": "A", "CURAPPLY": base.permits["ISSUED"], "PERMIT": base.permits["PERMIT"],
         "X": base.permits["X"], "Y": base.permits["Y"], "LAT": base.permits["LAT"],
         "LONG_": base.permits["LONG_"], "GEORESULT": "S8", "AUTOID": range(len(base.permits))}
    )  # fmt: skip
    files = [
        draw(base.lots, folder / "parcels.shp", {}),
        save(frame, folder / "onsite_systems.csv", {}),
    ]
    truth = {
        "parcels": {"parcel_id": "PIN", "neighborhood": "NBHD", "recorded_area_m2": "ACRES|acre"},
        "permits": {"permit_id": "PERMIT"},
    }
    return Dirty(files, truth)


def permit_specification(base: Base, folder: Path) -> Dirty:
    """Column names of the open specification for building permits, of which offices take some."""
    permit = {"PERMIT": "PermitNum", "PIN": "PIN", "ACTION": "WorkClass", "TYPE": "SystemType",
              "ISSUED": "IssuedDate", "INSPECTED": "FinalDate", "ADD1": "OriginalAddress1",
              "NAME": "ApplicantName", "PHONE": "ApplicantPhone", "CITY": "Jurisdiction",
              "TANKGAL": "TankSizeGal", "DESFLOW": "DesignFlowGpd", "FIELDFT2": "FieldSqFt",
              "LASTPUMP": "LastPumped"}  # fmt: skip
    frame = base.permits.assign(StatusDate="2020-01-01", AppliedDate=base.permits["ISSUED"],
                                StatusCurrent="Final", Description="")  # fmt: skip
    files = [
        draw(base.lots, folder / "lots.gpkg", {}),
        save(frame, folder / "permits_onsite.csv", permit),
    ]
    truth = {
        "parcels": {"parcel_id": "PIN", "neighborhood": "NBHD", "recorded_area_m2": "ACRES|acre"},
        "permits": named(PERMITS, permit),
    }
    return Dirty(files, truth)


def lost_system(base: Base, folder: Path) -> Dirty:
    """Parcels without a reference system, soils with one; samples of a laboratory."""
    folder.mkdir(parents=True, exist_ok=True)
    draw(base.lots, folder / "parcels.shp", {})
    (folder / "parcels.prj").unlink()
    samples = Frame(
        {"Well_Number": base.wells["WELL_NO"], "Sample_Date": "2019-04-03",
         "Nitrate_N_mg_L": [round(0.1 + n % 90 / 10, 1) for n in range(len(base.wells))],
         "Total_Coliform": ["Absent", "Present"] * (len(base.wells) // 2)
         + ["Absent"] * (len(base.wells) % 2)}
    )  # fmt: skip
    files = [
        folder / "parcels.shp",
        base.folder / "soils" / "ZZ001",
        save(base.wells, folder / "wells.csv", {}),
        save(samples, folder / "lab_results.csv", {}),
    ]
    truth = {
        "parcels": {"parcel_id": "PIN", "neighborhood": "NBHD", "recorded_area_m2": "ACRES|acre"},
        "wells": WELLS,
        "well_samples": {"well_id": "Well_Number", "date": "Sample_Date",
                         "nitrate_mg_l": "Nitrate_N_mg_L|mg_l", "coliform": "Total_Coliform"},
    }  # fmt: skip
    return Dirty(files, truth)


SETS: dict[str, Callable[[Base, Path], Dirty]] = {
    make.__name__: make
    for make in (
        as_it_comes, short_names, camel_names, spoken_names, one_database, all_in_the_shapes,
        metric, silent_units, poor_names, statewide_points, permit_specification, lost_system,
    )
}  # fmt: skip
