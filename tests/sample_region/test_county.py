"""The invented county: the same every time, whole, dirty where meant, believable in its figures."""

from __future__ import annotations

import csv
import hashlib
import re
import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely

from sample_region.make import make_county

PARCELS = 400
EMPTY = {"chtexmod.txt", "chfrags.txt", "chtext.txt", "ctext.txt", "mutext.txt"}


@pytest.fixture(scope="module")
def county(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("county")
    make_county(folder, parcels=PARCELS, seed=11)
    return folder


def _text(path: Path) -> pd.DataFrame:
    return pd.read_csv(path, dtype=str, keep_default_na=False)


def _files(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def _parcels(folder: Path) -> gpd.GeoDataFrame:
    return gpd.read_file(folder / "parcels" / "parcels.shp")


class TestDeterminism:
    def test_same_seed_same_bytes(self, county: Path, tmp_path: Path) -> None:
        make_county(tmp_path, parcels=PARCELS, seed=11)
        assert _files(tmp_path) == _files(county)

    def test_other_seed_other_county(self, county: Path, tmp_path: Path) -> None:
        make_county(tmp_path, parcels=PARCELS, seed=12)
        other, this = _files(tmp_path), _files(county)
        assert other["parcels/parcels.shp"] != this["parcels/parcels.shp"]
        assert other["truth.csv"] != this["truth.csv"]

    def test_no_day_of_writing_in_the_headers(self, county: Path) -> None:
        for path in county.rglob("*.dbf"):
            assert path.read_bytes()[1:4] == bytes([126, 6, 1]), path.name


class TestWholeness:
    def test_no_file_is_empty_but_those_meant(self, county: Path) -> None:
        empty = {
            path.name for path in county.rglob("*") if path.is_file() and not path.stat().st_size
        }
        assert empty == EMPTY

    def test_parcels_do_not_overlap(self, county: Path) -> None:
        shapes = shapely.make_valid(_parcels(county).geometry.to_numpy())
        first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
        keep = first < second
        first, second = first[keep], second[keep]
        shared = shapely.area(shapely.intersection(shapes[first], shapes[second]))
        area = shapely.area(shapes)
        assert len(shared) > 100
        assert (shared / np.minimum(area[first], area[second])).max() < 1e-6

    def test_soil_covers_every_parcel_without_gap_or_overlap(self, county: Path) -> None:
        soil = gpd.read_file(county / "soils/ZZ001/spatial/soilmu_a_zz001.shp")
        assert soil.crs.to_epsg() == 4326
        assert soil.geometry.is_valid.all()
        assert shapely.coverage_is_valid(soil.geometry.to_numpy())
        whole = shapely.union_all(soil.to_crs(32616).geometry.to_numpy())
        assert shapely.get_num_interior_rings(whole) == 0
        assert shapely.covers(whole, shapely.make_valid(_parcels(county).geometry.to_numpy())).all()

    def test_soil_keys_join(self, county: Path) -> None:
        soil = gpd.read_file(county / "soils/ZZ001/spatial/soilmu_a_zz001.shp")
        tabular = county / "soils/ZZ001/tabular"
        keys = {row[-1] for row in _rows(tabular / "mapunit.txt")}
        assert set(soil.MUKEY) <= keys
        components = {row[-1]: row for row in _rows(tabular / "comp.txt")}
        assert {row[-2] for row in components.values()} == keys
        assert {row[-2] for row in _rows(tabular / "chorizon.txt")} <= set(components)

    def test_component_percentages_add_up(self, county: Path) -> None:
        total: dict[str, int] = {}
        for row in _rows(county / "soils/ZZ001/tabular/comp.txt"):
            total[row[-2]] = total.get(row[-2], 0) + int(row[1])
        assert set(total.values()) == {100}

    def test_every_layer_file_exists(self, county: Path) -> None:
        region = tomllib.loads((county / "region.toml").read_text(encoding="utf-8"))
        for layer in region["layers"].values():
            names = [*layer.get("files", []), layer.get("file"), layer.get("attributes")]
            for name in filter(None, names):
                assert (county / name).exists(), name

    def test_truth_is_no_layer(self, county: Path) -> None:
        region = (county / "region.toml").read_text(encoding="utf-8")
        assert "truth" not in re.sub(r"#.*", "", region)

    def test_elevation_lies_under_every_parcel(self, county: Path) -> None:
        with rasterio.open(county / "terrain" / "dem_10m.tif") as file:
            assert file.crs.to_epsg() == 32616
            assert file.res == (10.0, 10.0)
            west, south, east, north = _parcels(county).total_bounds
            assert file.bounds.left < west
            assert file.bounds.bottom < south
            assert file.bounds.right > east
            assert file.bounds.top > north
            assert not (file.read(1) == file.nodata).any()


class TestDistributionForms:
    """Held against the real exports: the tables' own metadata and the column names."""

    @pytest.mark.parametrize(
        "table",
        [
            "legend",
            "mapunit",
            "component",
            "chorizon",
            "comonth",
            "cosoilmoist",
            "corestrictions",
            "chtexturegrp",
            "chtexture",
            "muaggatt",
            "sacatalog",
        ],
    )
    def test_soil_columns_as_in_a_real_export(
        self, county: Path, shared_data: Path, table: str
    ) -> None:
        real = shared_data / "soil_survey/ar017_county/tabular"
        mine = county / "soils/ZZ001/tabular"
        assert _columns(mine, table) == _columns(real, table)
        stem = {row[0]: row[4] for row in _rows(mine / "mstab.txt")}[table]
        assert stem == {row[0]: row[4] for row in _rows(real / "mstab.txt")}[table]
        width = {len(row) for row in _rows(mine / f"{stem}.txt")}
        assert width == {len(_columns(real, table))}

    def test_words_of_the_survey_are_the_real_ones(self, county: Path, shared_data: Path) -> None:
        mine = county / "soils/ZZ001/tabular"
        real = [path for path in (shared_data / "soil_survey").rglob("tabular") if path.is_dir()]
        for table, column in (
            ("component", "drainagecl"),
            ("component", "hydgrp"),
            ("component", "compkind"),
            ("comonth", "flodfreqcl"),
            ("comonth", "ponddurcl"),
            ("cosoilmoist", "soimoiststat"),
        ):
            known = set().union(*(_values(folder, table, column) for folder in real))
            assert _values(mine, table, column) <= known, column

    def test_portal_columns_are_real(self, county: Path, shared_data: Path) -> None:
        folder = shared_data / "records/water_quality_replies"
        for mine, real in (("result.csv", "wqp_results.txt"), ("station.csv", "wqp_sites.txt")):
            with (folder / real).open(encoding="utf-8") as file:
                known = next(csv.reader(file))
            assert set(_text(county / "water_quality" / mine).columns) <= set(known)

    def test_rdb_columns_as_in_a_real_reply(self, county: Path, shared_data: Path) -> None:
        real = shared_data / "records/water_levels_replies/waterservices_gwlevels.txt"
        assert _rdb_head(county / "water_levels/levels.txt") == _rdb_head(real)

    def test_streams_carry_a_measure(self, county: Path) -> None:
        assert (county / "water/flowline.shp").read_bytes()[32:36] == (23).to_bytes(4, "little")


class TestDirt:
    def test_years_built(self, default_county: Path) -> None:
        year = _text(default_county / "parcels" / "assessor.csv").YEAR_BUILT
        assert (year == "1389").sum() >= 3
        assert (year == "0").sum() > 100
        assert (year == "").sum() > 50

    def test_condominiums_repeat_their_key(self, default_county: Path) -> None:
        roll = _text(default_county / "parcels" / "assessor.csv")
        units = roll[roll.UNIT != ""]
        assert len(units) >= 6
        assert units.PARCEL.isin(roll[roll.UNIT == ""].PARCEL).all()

    def test_parcels_in_two_pieces_and_one_invalid(self, default_county: Path) -> None:
        parcels = _parcels(default_county)
        assert parcels.PIN.duplicated().sum() >= 2
        assert 1 <= (~parcels.geometry.is_valid).sum() <= 10

    def test_permits(self, default_county: Path) -> None:
        permits = _text(default_county / "permits" / "permits.csv")
        assert permits.ISSUED.str.startswith("0407").any()
        assert (permits.ISSUED == "2019-02-30").any()
        assert permits.duplicated().any()
        assert permits[~permits.duplicated()].PERMIT.duplicated().any()
        assert (permits.PIN == "").any()
        years = permits.ISSUED[~permits.ISSUED.str.startswith("0")].str[:4].astype(int)
        assert years.min() >= 1966
        inspected = pd.to_numeric(permits.INSPECTED.str[:4])[years.index]
        assert (inspected > years).sum() > 50
        assert set(permits.ACTION) == {"NEW", "REPAIR", "ALTERATION", "EVALUATION"}

    def test_coordinate_pairs_disagree(self, default_county: Path) -> None:
        permits = _text(default_county / "permits" / "permits.csv")
        text = permits[permits.X.str.strip() != ""]
        apart = (text.X.astype(float) - text.LONG_.astype(float)).abs()
        assert 0.01 < (apart > 0.003).mean() < 0.2
        assert (permits.X.str.len() == 20).all()

    def test_older_permits_are_missing_more_often(self, default_county: Path) -> None:
        permits = _text(default_county / "permits" / "permits.csv")
        truth = _text(default_county / "truth.csv")
        held = truth.parcel_id.isin(permits.PIN)
        since = truth.true_installed.astype(int)
        assert held[since > 2005].mean() > held[since < 1975].mean() + 0.3

    def test_wells(self, default_county: Path) -> None:
        wells = pd.read_csv(default_county / "wells" / "wells.csv")
        assert (wells.STATIC_FT < 0).any()
        assert (wells.DUG == "Y").any()
        assert set(wells.DATUM) == {"NGVD29", "NAVD88"}


class TestFigures:
    def test_counts(self, default_county: Path) -> None:
        parcels = _parcels(default_county).PIN.nunique()
        onsite = len(_text(default_county / "truth.csv"))
        assert 3900 < parcels < 4500
        assert 2800 < onsite < 3200
        size = sum(path.stat().st_size for path in default_county.rglob("*") if path.is_file())
        assert size < 40e6

    def test_prevalence(self, default_county: Path) -> None:
        stage = _text(default_county / "truth.csv").stage.value_counts(normalize=True)
        assert 0.05 < stage["failed"] < 0.12
        assert 0.10 < stage["stressed"] < 0.20

    def test_truth_has_physics(self, default_county: Path) -> None:
        truth = pd.read_csv(default_county / "truth.csv")
        high = truth.flow_l_d / truth.field_area_m2
        wet = truth.separation_cm < 20
        assert (
            truth.failed[high > high.median()].mean()
            > 3 * truth.failed[high <= high.median()].mean()
        )
        assert truth.failed[wet].mean() > truth.failed[~wet].mean()
        assert (truth.years_to_failure[truth.failed == 1] == 0).all()

    def test_complaints_are_biased_and_audits_are_not(self, default_county: Path) -> None:
        visits = _text(default_county / "inspections" / "inspections.csv")
        failed = (visits.FOUND == "FAILED").groupby(visits.REASON).mean()
        assert failed["COMPLAINT"] > 0.5
        assert 0.03 < failed["AUDIT"] < 0.15

    def test_nitrate(self, default_county: Path) -> None:
        results = _text(default_county / "water_quality" / "result.csv")
        nitrate = results[results.CharacteristicName == "Nitrate"]
        value = pd.to_numeric(nitrate.ResultMeasureValue)
        as_ion = nitrate["ResultMeasure/MeasureUnitCode"] == "mg/l asNO3"
        value = value.where(~as_ion, value * 14.0067 / 62.0049)
        assert 0.02 < (value > 10).mean() < 0.10
        assert nitrate.ResultDetectionConditionText.eq("Not Detected").any()

    def test_scale(self, county: Path, default_county: Path) -> None:
        small, large = (len(_text(f / "truth.csv")) for f in (county, default_county))
        assert PARCELS * 0.8 < small < PARCELS * 1.5
        assert large > 5 * small

    def test_too_small_is_refused(self, tmp_path: Path) -> None:
        with pytest.raises(ValueError, match="at least 100"):
            make_county(tmp_path, parcels=20)

    def test_nobody_real(self, default_county: Path) -> None:
        roll = _text(default_county / "parcels" / "assessor.csv")
        assert roll.OWNER.str.fullmatch(r"OWNER \d{5}").all()
        permits = _text(default_county / "permits" / "permits.csv")
        assert permits.NAME.str.fullmatch(r"OWNER \d{5}").all()
        assert permits.PHONE.str.startswith("000-555-01").all()


def _rows(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file, delimiter="|"))


def _columns(tabular: Path, table: str) -> list[tuple[str, str]]:
    rows = [row for row in _rows(tabular / "mstabcol.txt") if row[0] == table]
    return [(row[2], row[5]) for row in sorted(rows, key=lambda row: int(row[1]))]


def _values(tabular: Path, table: str, column: str) -> set[str]:
    stem = {row[0]: row[4] for row in _rows(tabular / "mstab.txt")}[table]
    place = [name for name, _ in _columns(tabular, table)].index(column)
    path = tabular / f"{stem}.txt"
    return {row[place] for row in _rows(path)} | {""} if path.exists() else {""}


def _rdb_head(path: Path) -> list[str]:
    lines = path.read_text(encoding="utf-8").splitlines()
    return next(line for line in lines if not line.startswith("#")).split("\t")
