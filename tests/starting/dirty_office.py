"""More dirty sets: the habits of offices' programs rather than of their names."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pandas as pd

from tests.starting.dirty import PARCELS, PERMITS, VISITS, Base, Dirty, draw, named, save


def office_dirt(base: Base, folder: Path) -> Dirty:
    """An archive in an archive, titles above names, day numbers, several date forms, UTF-16."""
    folder.mkdir(parents=True, exist_ok=True)
    draw(base.lots, folder / "lots" / "parcels.shp", {})
    inner, outer = folder / "parcels_zip.zip", folder / "parcels.zip"
    for path, files in ((inner, sorted((folder / "lots").iterdir())), (outer, [inner])):
        with zipfile.ZipFile(path, "w") as archive:
            for file in files:
                archive.write(file, file.name)
    permits = base.permits.copy()
    issued = pd.to_datetime(permits["ISSUED"], errors="coerce")
    days = (issued - pd.Timestamp("1899-12-30")).dt.days
    permits["ISSUED"] = days.astype("Int64").astype("string").fillna("")
    final = pd.to_datetime(permits["INSPECTED"], errors="coerce")
    ways = [final.dt.strftime(way) for way in ("%Y-%m-%d", "%m/%d/%Y", "%b %d, %Y")]
    permits["INSPECTED"] = [ways[n % 3].iloc[n] for n in range(len(permits))]
    permits["TANKGAL"] = permits["TANKGAL"].where(
        permits["TANKGAL"].eq(""), permits["TANKGAL"] + " gal"
    )
    book = folder / "office records.xlsx"
    with pd.ExcelWriter(book, engine="xlsxwriter") as sheets:
        for name, table in (("Tax roll", base.tax), ("Permits", permits)):
            table.to_excel(sheets, sheet_name=name, index=False, startrow=3)
            sheets.sheets[name].write(0, 0, f"{name} of the invented county")
            sheets.sheets[name].write(1, 0, "For the health office only")
    save(base.visits, folder / "visits.csv", {}, encoding="utf-16")
    truth = {"parcels": PARCELS, "permits": PERMITS, "inspections": VISITS}
    return Dirty([outer, book, folder / "visits.csv"], truth)


def shapes_by_numbers(base: Base, folder: Path) -> Dirty:
    """Polygons whose names say nothing: only their numbers join the roll. Dates of two forms."""
    lot = {"PIN": "K_TXT", "NBHD": "SUBDIV", "ACRES": "GIS_AC"}
    draw(base.lots, folder / "download_7.gpkg", lot, driver="GPKG")
    tax = {"PARCEL": "Parcel Number", "YEAR_BUILT": "Yr Blt", "BEDRMS": "Bed Rms"}
    roll = base.tax.assign(PARCEL=base.tax["PARCEL"].str.replace("-", ""))
    save(roll, folder / "roll.csv", tax)
    permits = base.permits.copy()
    issued = pd.to_datetime(permits["ISSUED"], errors="coerce")
    ways = [issued.dt.strftime(way) for way in ("%m/%d/%Y", "%d-%b-%y")]
    permits["ISSUED"] = [ways[n % 2].iloc[n] for n in range(len(permits))]
    save(permits, folder / "permits.csv", {})
    truth = {"parcels": named(PARCELS, {**lot, **tax}), "permits": PERMITS}
    files = [folder / name for name in ("download_7.gpkg", "roll.csv", "permits.csv")]
    return Dirty(files, truth)
