from __future__ import annotations

import csv
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
import shapely

Rows = Sequence[Sequence[object]]
COLUMNS: dict[str, list[str]] = {
    "legend": ["areasymbol", "areaname", "lkey"],
    "mapunit": ["musym", "muname", "lkey", "mukey"],
    "muaggatt": ["musym", "muname", "engstafdcd", "engstafll", "engstafml", "mukey"],
    "component": [
        "comppct_r", "compname", "compkind", "majcompflag", "localphase", "slope_l", "slope_r",
        "slope_h", "hydricrating", "drainagecl", "totalsub_r", "hydgrp", "taxorder", "taxgrtgroup",
        "taxsubgrp", "mukey", "cokey",
    ],
    "chorizon": [
        "hzname", "hzdept_r", "hzdepb_r", "fraggt10_r", "frag3to10_r", "sandtotal_r",
        "silttotal_r", "claytotal_r", "om_r", "dbthirdbar_r", "ksat_l", "ksat_r", "ksat_h",
        "cokey", "chkey",
    ],
    "corestrictions": ["reskind", "reshard", "resdept_r", "resdepb_r", "cokey", "corestrictkey"],
    "comonth": [
        "monthseq", "month", "flodfreqcl", "floddurcl", "pondfreqcl", "ponddurcl", "cokey",
        "comonthkey",
    ],
    "cosoilmoist": [
        "soimoistdept_r", "soimoistdepb_r", "soimoiststat", "comonthkey", "cosoilmoistkey",
    ],
    "cointerp": [
        "cokey", "mrulekey", "mrulename", "rulename", "ruledepth", "interphr", "interphrc",
        "cointerpkey",
    ],
    "chtexturegrp": ["texture", "rvindicator", "chkey", "chtgkey"],
    "chtexture": ["texcl", "lieutex", "chtgkey", "chtkey"],
    "chtexturemod": ["texmod", "chtkey", "chtexmodkey"],
}  # fmt: skip
STEMS = {"component": "comp", "corestrictions": "crstrcts", "comonth": "cmonth",
         "cosoilmoist": "csmoist", "cointerp": "cinterp", "chtexturegrp": "chtexgrp",
         "chtexture": "chtextur", "chtexturemod": "chtexmod"}  # fmt: skip


def tiny_tables(prefix: str = "1", area: str = "ZZ001") -> dict[str, list[list[object]]]:
    """One map unit with two components, all keys starting with `prefix`."""
    mukey, cokey, minor = f"{prefix}0", f"{prefix}01", f"{prefix}02"
    return {
        "legend": [[area, "Nowhere County", f"{prefix}9"]],
        "mapunit": [["Aa", 'Able "upland" loam, 3 to 8\npercent slopes', f"{prefix}9", mukey]],
        "muaggatt": [["Aa", "Able", "Somewhat limited", "Not rated", "Not rated", mukey]],
        "component": [
            [85, "Able", "Series", "Yes", "", 3, 12, 15, "No", "Well drained", "", "B", "Alfisols",
             "Hapludalfs", "Typic Hapludalfs", mukey, cokey],
            [15, "Unnamed", "", "No ", "", "", "", "", "No", "", "", "", "", "", "", mukey, minor],
        ],
        "chorizon": [
            ["Bt", 20, 90, 0, 0, 30, 40, 30, 0.5, 1.5, 4, 9.17, 14, cokey, f"{prefix}12"],
            ["Ap", 0, 20, 0, 0, 40, 40, 20, 2, 1.4, 4, 9.17, 14, cokey, f"{prefix}11"],
        ],
        "corestrictions": [],
        "comonth": [[4, "April", "None", "", "None", "", cokey, f"{prefix}31"]],
        "cosoilmoist": [
            [0, 150, "Moist", f"{prefix}31", f"{prefix}41"],
            [150, 200, "Wet", f"{prefix}31", f"{prefix}42"],
        ],
        "cointerp": [
            [cokey, 208, "ENG - Septic Tank Absorption Fields",
             "ENG - Septic Tank Absorption Fields", 0, 0.633, "Somewhat limited", f"{prefix}51"],
            [cokey, 1, "ENG - Daily Cover for Landfill", "x", 0, 1, "Poor", f"{prefix}52"],
        ],
        "chtexturegrp": [["SIL", "No ", f"{prefix}12", f"{prefix}61"],
                         ["L", "Yes", f"{prefix}12", f"{prefix}62"]],
        "chtexture": [["Loam", "", f"{prefix}62", f"{prefix}71"]],
        "chtexturemod": [],
    }  # fmt: skip


def _field(value: object) -> str:
    if isinstance(value, str) and value:
        return '"' + value.replace('"', '""') + '"'
    return str(value)


def _write(file: Path, rows: Rows) -> None:
    lines = ["|".join(_field(value) for value in row) + "\n" for row in rows]
    file.write_text("".join(lines), encoding="utf-8", newline="")


def write_tables(
    folder: Path,
    tables: Mapping[str, Rows],
    *,
    names: tuple[str, str] = ("mstab", "mstabcol"),
    stems: Mapping[str, str] = STEMS,
) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    _write(
        folder / f"{names[0]}.txt",
        [[table, "x", "y", 'described ""here""', stems.get(table, table)] for table in COLUMNS],
    )
    columns = [
        [table, place, name, name, name, "String"]
        for table, listed in COLUMNS.items()
        for place, name in enumerate(listed, start=1)
    ]
    # the survey does not promise the order of this table, only its sequence numbers
    _write(folder / f"{names[1]}.txt", columns[::-1])
    for table, rows in tables.items():
        _write(folder / f"{stems.get(table, table)}.txt", rows)
    return folder


def write_shapefile(
    folder: Path,
    *,
    area: str = "ZZ001",
    mukeys: Sequence[str] = ("10",),
    shapes: Sequence[shapely.Geometry] | None = None,
    crs: str | None = "EPSG:4326",
) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    shapes = shapes or [
        shapely.box(-90 + place, 34, -89.5 + place, 34.5) for place in range(len(mukeys))
    ]
    data = {"AREASYMBOL": area, "SPATIALVER": 1, "MUSYM": "Aa", "MUKEY": list(mukeys)}
    file = folder / f"soilmu_a_{area.lower()}.shp"
    gpd.GeoDataFrame(data, geometry=list(shapes), crs=crs).to_file(file)
    return file


@pytest.fixture
def tiny() -> Callable[..., dict[str, list[list[object]]]]:
    return tiny_tables


@pytest.fixture
def put_tables() -> Callable[..., Path]:
    return write_tables


@pytest.fixture
def put_shapefile() -> Callable[..., Path]:
    return write_shapefile


@pytest.fixture
def put_csv() -> Callable[..., Path]:
    """Write the tiny area as one CSV file a table, column names in capitals."""

    def write(folder: Path, sign: str = ",", tables: Mapping[str, Rows] | None = None) -> Path:
        folder.mkdir()
        for table, rows in (tables or tiny_tables()).items():
            with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as stream:
                head = [name.upper() for name in COLUMNS[table]]
                csv.writer(stream, delimiter=sign).writerows([head, *rows])
        return folder

    return write


@pytest.fixture
def faults() -> Callable[[pd.DataFrame], pd.DataFrame]:
    """Defects but for the counts that every survey has: minor components that are only named."""
    return lambda defects: defects[~defects["check"].isin(["no horizons", "no months"])]


@pytest.fixture
def columns() -> dict[str, list[str]]:
    return COLUMNS


@pytest.fixture
def tiny_area(tmp_path: Path) -> Path:
    """A whole small survey area: tables and shapefile."""
    area = tmp_path / "ZZ001"
    write_tables(area / "tabular", tiny_tables())
    write_shapefile(area / "spatial")
    return area
