"""Values kept as files come back exactly; what has no exact form is refused, never pickled."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas.testing import assert_geodataframe_equal
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from riskmap.contract.grid import Grid
from riskmap.keeping.values import read_value, write_value
from riskmap.ranking.draws import Plan
from riskmap.stages.drift import Earlier

INDEX = pd.Index(["p1", "p2", "p3"], name="parcel_id")


def again(value: Any, folder: Path) -> Any:
    write_value(value, folder, "x")
    return read_value(folder, "x")


def columns() -> dict[str, Any]:
    return {
        "number": [1.5, np.nan, -np.inf],
        "float32": np.array([1.0, 2.0, np.nan], np.float32),
        "whole": [1, 2, 3],
        "uint16": np.array([1, 2, 65535], np.uint16),
        "whole_or_not": pd.array([1, None, 3], dtype="Int64"),
        "flag": [True, False, True],
        "flag_or_not": pd.array([True, None, False], dtype="boolean"),
        "text": pd.array(["a", None, "é"], dtype="string"),
        "object_none": np.array(["x", None, "z"], object),
        "object_nan": np.array(["x", np.nan, "z"], object),
        "object_both": np.array(["x", None, np.nan], object),
        "mixed": np.array([[1, "a"], pd.NA, True], object),
        "day": pd.to_datetime(["2020-01-01", None, "2021-02-03"]),
        "class": pd.Categorical(["u", "v", None], categories=["v", "u"], ordered=True),
    }


class TestTables:
    @pytest.mark.parametrize("name", list(columns()))
    def test_every_kind_of_column(self, name: str, tmp_path: Path) -> None:
        table = pd.DataFrame({name: columns()[name]}, index=INDEX)
        back = again(table, tmp_path)
        pd.testing.assert_frame_equal(back, table, check_exact=True)
        kinds = [[type(v) for v in t[name].astype(object)] for t in (back, table)]
        assert kinds[0] == kinds[1]

    @pytest.mark.parametrize(
        "index",
        [
            pd.RangeIndex(3),
            pd.RangeIndex(10, 40, 10, name="k"),
            pd.Index([3, 1, 2], name="n"),
            pd.Index(pd.array(["a", "b", "c"], dtype="string"), name="parcel_id"),
            pd.MultiIndex.from_tuples([("a", 1), ("a", 2), ("b", 1)], names=["parcel", "factor"]),
        ],
    )
    def test_every_kind_of_index(self, index: pd.Index, tmp_path: Path) -> None:
        table = pd.DataFrame({"a": [1.0, 2.0, 3.0], "parcel_id": list("xyz")}, index=index)
        back = again(table, tmp_path)
        pd.testing.assert_frame_equal(back, table)
        assert isinstance(back.index, type(index))

    @pytest.mark.parametrize(
        "table", [pd.DataFrame(), pd.DataFrame(columns=["a", "b"]), pd.DataFrame(index=INDEX)]
    )
    def test_nothing_in_it(self, table: pd.DataFrame, tmp_path: Path) -> None:
        pd.testing.assert_frame_equal(again(table, tmp_path), table)

    def test_same_label_twice(self, tmp_path: Path) -> None:
        table = pd.DataFrame([[1, 2.0]], columns=["a", "a"])
        pd.testing.assert_frame_equal(again(table, tmp_path), table)

    def test_shapes_are_geoparquet_that_others_read(self, tmp_path: Path) -> None:
        shapes = [shapely.Point(1 / 3, 2, 7), None, shapely.box(0, 0, 1, 1)]
        table = gpd.GeoDataFrame(columns(), geometry=shapes, index=INDEX, crs="EPSG:32616")
        back = again(table, tmp_path)
        assert_geodataframe_equal(back, table)
        assert back.crs.srs == "EPSG:32616"
        assert shapely.equals_exact(back.geometry.iloc[0], shapes[0])
        assert back.geometry.iloc[0].has_z
        read = gpd.read_parquet(tmp_path / "x.0.parquet")
        assert read.crs == table.crs
        assert read.geometry.iloc[2].equals(shapes[2])

    def test_columns_can_be_written_to(self, tmp_path: Path) -> None:
        back = again(pd.DataFrame({"a": [1.0, 2.0]}), tmp_path)
        back["a"].to_numpy()[0] = 5.0  # a read-only array would have kernels compiled once more

    def test_a_column_without_an_exact_form_is_refused(self, tmp_path: Path) -> None:
        table = pd.DataFrame({"a": pd.date_range("2020", periods=2, tz="UTC")})
        with pytest.raises(TypeError, match="cannot be kept"):
            again(table, tmp_path)


@dataclass(frozen=True)
class Foreign:
    value: int


PLAIN = (
    st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.dates()
    | st.datetimes()
)  # fmt: skip
TREES = st.recursive(
    PLAIN,
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.lists(inner, max_size=3).map(tuple)
        | st.dictionaries(st.text() | st.integers(), inner, max_size=3)
    ),
    max_leaves=12,
)


def same(one: Any, other: Any) -> bool:
    if type(one) is not type(other):
        return False
    if isinstance(one, float):
        return (math.isnan(one) and math.isnan(other)) or one == other
    if isinstance(one, list | tuple):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, dict):
        return list(one) == list(other) and all(same(one[k], other[k]) for k in one)
    return bool(one == other)


class TestTrees:
    @given(TREES)
    @settings(max_examples=200, deadline=None)
    def test_plain_things_in_any_depth(self, tmp_path_factory: Any, tree: Any) -> None:
        assert same(again(tree, tmp_path_factory.mktemp("tree")), tree)

    def test_records_of_this_project(self, tmp_path: Path) -> None:
        grid = Grid(np.array([[1.0, np.nan]]), 0.0, 5.0, 1.0, 1.0, CRS("EPSG:32616"))
        back = again({"grid": grid, 3: (grid,)}, tmp_path)
        assert np.array_equal(back["grid"].values, grid.values, equal_nan=True)
        assert back["grid"].crs == grid.crs
        assert isinstance(back[3][0], Grid)

    def test_named_tuples_of_arrays(self, tmp_path: Path) -> None:
        plan = Plan(*(np.full((2, 2), place) for place in range(len(Plan._fields))))
        back = again(plan, tmp_path)
        assert isinstance(back, Plan)
        assert all(np.array_equal(a, b) for a, b in zip(plan, back, strict=True))

    def test_moments_words_and_scalars(self, tmp_path: Path) -> None:
        value = [
            pd.Timestamp("2020-02-03 04:05:06.789"), pd.NA, pd.NaT, np.float32(0.1), np.int8(-3),
            np.bool_(True), Path("a/b"), frozenset({"b", "a"}), datetime(2020, 1, 2, 3),
            date(2020, 1, 2), np.array(["a", None], object), np.array([True, False]),
            pd.Series([1, None], name="s", index=[4, 5]), INDEX,
        ]  # fmt: skip
        back = again(value, tmp_path)
        assert [type(v) for v in back] == [type(v) for v in value]
        assert back[:2] == value[:2]
        assert back[3:10] == value[3:10]
        assert back[10].tolist() == ["a", None]
        pd.testing.assert_series_equal(back[12], value[12])
        pd.testing.assert_index_equal(back[13], value[13])

    @pytest.mark.parametrize("value", [len, object(), Foreign(1), (x for x in "a"), int])
    def test_what_has_no_exact_form_is_refused(self, value: object, tmp_path: Path) -> None:
        with pytest.raises(TypeError):
            write_value([value], tmp_path, "x")

    def test_a_file_that_names_a_foreign_type_is_refused(self, tmp_path: Path) -> None:
        tree = {"is": "record", "type": "subprocess:Popen", "of": {"args": ["true"]}}
        (tmp_path / "x.json").write_text(json.dumps(tree), encoding="utf-8")
        with pytest.raises(ValueError, match="not of this project"):
            read_value(tmp_path, "x")

    def test_the_same_value_gives_the_same_bytes(self, tmp_path: Path) -> None:
        table = gpd.GeoDataFrame(columns(), geometry=[None] * 3, index=INDEX, crs=32616)
        value = Earlier(table, None, date(2020, 1, 1), 0.5)  # type: ignore[arg-type]
        files = []
        for name in ("one", "two"):
            folder = tmp_path / name
            folder.mkdir()
            written = write_value([value, np.arange(5.0)], folder, "x")
            files.append({path.name: path.read_bytes() for path in written})
        assert files[0] == files[1]
        assert {Path(name).suffix for name in files[0]} == {".json", ".npz", ".parquet"}
