from __future__ import annotations

import datetime
from pathlib import Path

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pytest

from riskmap.publish.lists.sampling_list import RESULTS, sampling_table, write_sampling_list
from riskmap.publish.words.imprint import Imprint

TODAY = datetime.date(2026, 6, 1)
OURS = Imprint("N", TODAY)


@pytest.fixture(scope="module")
def county(ranked: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    middle = ranked.geometry.representative_point()
    return ranked.assign(x_m=middle.x, y_m=middle.y)


@pytest.fixture(scope="module")
def wells(county: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    some = county.iloc[::9]
    return gpd.GeoDataFrame(
        {
            "well_id": [f"W{n:03d}" for n in range(len(some))],
            "use": ["domestic", "public", None, "irrigation"] * (len(some) // 4),
            "depth_m": np.where(np.arange(len(some)) % 5 == 0, np.nan, 30.48),
        },
        geometry=some.geometry.representative_point().to_list(),
        crs=county.crs,
    )


SAMPLES = pd.DataFrame(
    {
        "well_id": ["W001", "W002", "W002"],
        "date": ["2026-02-01", "2019-01-01", "2025-05-05"],
        "nitrate_mg_l": [12.0, 1.0, 6.25],
        "coliform": pd.array([False, True, False], "boolean"),
    }
)


def test_wells_with_bad_samples_lead(county: gpd.GeoDataFrame, wells: gpd.GeoDataFrame) -> None:
    table = sampling_table(county, wells, date=TODAY, samples=SAMPLES)
    assert table["well_id"].head(2).tolist() == ["W001", "W002"]
    assert table["last_nitrate_mg_l"].head(2).tolist() == [12.0, 6.25]
    assert table["last_sample"].head(2).tolist() == ["2026-02-01", "2025-05-05"]
    assert table["last_coliform"].head(2).tolist() == ["not found", "not found"]
    assert len(table) == (wells["use"] != "irrigation").sum()
    rest = table["risk"].iloc[2:]
    assert rest.is_monotonic_decreasing


def test_where_and_whose(county: gpd.GeoDataFrame, wells: gpd.GeoDataFrame) -> None:
    owners = pd.DataFrame({"parcel_id": county.index, "owner": "O " + county.index.astype(str)})
    far = gpd.GeoDataFrame(
        {"well_id": ["FAR"], "use": ["domestic"]},
        geometry=gpd.points_from_xy([county.total_bounds[2] + 5000], [county.total_bounds[3]]),
        crs=county.crs,
    )
    both = pd.concat([wells, far], ignore_index=True)
    table = sampling_table(county, both, date=TODAY, parcels=owners).set_index("well_id")
    parcel_id = county.index[9 * 4]
    assert table.loc["W004", "parcel_id"] == parcel_id
    assert table.loc["W004", "owner"] == f"O {parcel_id}"
    assert pd.isna(table.loc["FAR", "parcel_id"])
    assert table.loc["FAR", "systems_near"] == 0
    degrees = wells.geometry.to_crs(4326).iloc[4]
    assert table.loc["W004", ["latitude", "longitude"]].tolist() == pytest.approx(
        [degrees.y, degrees.x], abs=1e-6
    )


def test_without_private_columns_no_owner(
    county: gpd.GeoDataFrame, wells: gpd.GeoDataFrame
) -> None:
    assert sampling_table(county, wells, date=TODAY)["owner"].isna().all()


def test_files_in_the_units_people_read(
    tmp_path: Path, county: gpd.GeoDataFrame, wells: gpd.GeoDataFrame
) -> None:
    us = write_sampling_list(tmp_path / "us", county, wells, OURS, samples=SAMPLES)
    meters = Imprint("N", TODAY, "si")
    si = write_sampling_list(tmp_path / "si", county, wells, meters, samples=SAMPLES)
    assert us[0] == tmp_path / "us" / "lists" / "well_sampling.csv"
    feet, meter = pd.read_csv(us[0]), pd.read_csv(si[0])
    assert set(feet["depth_ft"].dropna()) == {100.0}  # 30.48 m, exactly 100 ft
    assert meter["depth_m"].dropna().unique() == pytest.approx([30.0])
    assert feet["well_id"].tolist() == meter["well_id"].tolist()
    again = write_sampling_list(tmp_path / "b", county, wells, OURS, samples=SAMPLES)
    assert [path.read_bytes() for path in again] == [path.read_bytes() for path in us]


def test_workbook_is_made_to_be_worked_in(
    tmp_path: Path, county: gpd.GeoDataFrame, wells: gpd.GeoDataFrame
) -> None:
    hostile = wells.assign(well_id=[f"={well_id}" for well_id in wells["well_id"]])
    table, book = write_sampling_list(tmp_path, county, hostile, Imprint("=N", TODAY))
    assert pd.read_csv(table)["well_id"].str.startswith("'=W").all()
    workbook = openpyxl.load_workbook(book)
    page = workbook["Well sampling"]
    assert page.freeze_panes == "D2"
    assert page.auto_filter.ref
    heads = [cell.value for cell in page[1]]
    assert heads[-len(RESULTS) :] == [result.title for result in RESULTS]
    assert "Depth (ft)" in heads
    assert not any(cell.data_type == "f" for row in page.iter_rows() for cell in row)
    notes = " ".join(str(cell.value) for cell in workbook["Notes"]["B"] if cell.value)
    for words in ("boiling does not take nitrate out", "certified laboratory", "229 m"):
        assert words in notes


def test_no_wells_no_list(
    tmp_path: Path, county: gpd.GeoDataFrame, wells: gpd.GeoDataFrame
) -> None:
    assert write_sampling_list(tmp_path, county, wells.iloc[:0], OURS) == []
