from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from pyproj import CRS
from shapely.geometry import Point, box

from riskmap.contract.check import PANDAS_DTYPE, check_layer, require
from riskmap.contract.columns import Layer
from riskmap.contract.dictionary import data_dictionary
from riskmap.contract.errors import ContractError, CrsError, GeometryTypeError
from riskmap.contract.layers import LAYERS, PARCELS

UTM = CRS.from_epsg(32616)


def sound_parcels() -> gpd.GeoDataFrame:
    columns = {
        c.name: pd.Series([pd.NA, pd.NA], dtype=PANDAS_DTYPE[c.dtype])
        for c in PARCELS.columns
        if c.dtype != "number"
    }
    numbers = {c.name: [float("nan")] * 2 for c in PARCELS.columns if c.dtype == "number"}
    frame = pd.DataFrame(columns | numbers)
    frame["parcel_id"] = pd.Series(["a", "b"], dtype="string")
    return gpd.GeoDataFrame(frame, geometry=[box(0, 0, 1, 1), box(1, 0, 2, 1)], crs=UTM)


def test_sound_layer_has_no_faults() -> None:
    assert check_layer(sound_parcels(), PARCELS, crs=UTM).empty


def test_all_faults_come_together() -> None:
    parcels = sound_parcels().drop(columns="land_use")
    parcels["year_built"] = [1389.0, 1950.0]
    parcels["bedrooms"] = [3.0, -1.0]
    parcels["service"] = pd.Series(["onsite", "septic"], dtype="string")
    parcels["parcel_id"] = pd.Series(["a", "a"], dtype="string")
    parcels.index = pd.Index(["row 10", "row 11"])
    faults = check_layer(parcels, PARCELS, crs=UTM)
    found = {(f.column, f.row, f.value) for f in faults.itertuples()}
    assert found == {
        ("land_use", "(all)", ""),
        ("year_built", "row 10", "1389.0"),
        ("bedrooms", "row 11", "-1.0"),
        ("service", "row 11", "septic"),
        ("parcel_id", "row 10", "a"),
        ("parcel_id", "row 11", "a"),
    }
    with pytest.raises(ContractError, match="6 values break the contract"):
        require(parcels, PARCELS, crs=UTM)


def test_wrong_type_is_a_fault() -> None:
    parcels = sound_parcels()
    parcels["bedrooms"] = ["three", "four"]
    faults = check_layer(parcels, PARCELS, crs=UTM)
    assert set(faults["column"]) == {"bedrooms"}


def test_missing_key_is_a_fault() -> None:
    parcels = sound_parcels()
    parcels["parcel_id"] = pd.Series(["a", pd.NA], dtype="string")
    faults = check_layer(parcels, PARCELS, crs=UTM)
    assert faults[["column", "row"]].to_numpy().tolist() == [["parcel_id", "1"]]


def test_crs_comes_first() -> None:
    parcels = sound_parcels().drop(columns="land_use")
    with pytest.raises(CrsError, match="no coordinate reference system"):
        check_layer(parcels.set_crs(None, allow_override=True), PARCELS, crs=UTM)
    with pytest.raises(CrsError, match="EPSG:4326"):
        check_layer(parcels.set_crs(4326, allow_override=True), PARCELS, crs=UTM)


def test_points_do_not_pass_for_polygons() -> None:
    parcels = sound_parcels()
    parcels.geometry = [Point(0, 0), box(0, 0, 1, 1)]
    with pytest.raises(GeometryTypeError, match="1 rows hold Point where polygon"):
        check_layer(parcels, PARCELS, crs=UTM)
    with pytest.raises(GeometryTypeError, match="no shapes"):
        check_layer(pd.DataFrame(parcels), PARCELS, crs=UTM)


@pytest.mark.parametrize("layer", LAYERS.values(), ids=lambda layer: layer.name)
def test_declarations_make_sense(layer: Layer) -> None:
    names = layer.column_names
    assert len(set(names)) == len(names)
    assert layer.key is None or layer.key in names
    for column in layer.columns:
        assert column.dtype in PANDAS_DTYPE
        assert (column.low is None) == (column.high is None)
        assert not (column.domain and column.dtype != "text")
        assert column.meaning


def test_written_dictionary_is_current(repo: Path) -> None:
    written = (repo / "docs" / "layers" / "dictionary.md").read_text(encoding="utf-8")
    assert written == data_dictionary()
