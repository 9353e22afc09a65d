from __future__ import annotations

import geopandas as gpd
import pandas as pd
from shapely.geometry import Point, box

from data_pipelines import flags


def test_every_named_flag_is_a_function_and_has_a_meaning():
    assert all(callable(getattr(flags, name)) for name in flags.FLAGS)
    assert all(flags.FLAGS.values())


def test_years_and_depths():
    years = pd.Series([0.0, 407.0, 1389.0, 1849.0, 1850.0, None])
    assert flags.year_before_1850(years).tolist() == [True] * 4 + [False] * 2
    assert flags.depth_over_200_m(pd.Series([200.0, 200.1, None])).tolist() == [False, True, False]


def test_duplicate_parcels_leave_blanks_alone():
    ids = pd.Series(["A", "B", "A", None, None])
    assert flags.duplicate_parcel(ids).tolist() == [True, False, True, False, False]


def test_well_in_the_lake():
    wells = gpd.GeoSeries([Point(5, 5), Point(15, 5), Point(10, 5)], index=["a", "b", "c"])
    lakes = gpd.GeoSeries([box(0, 0, 10, 10), box(4, 4, 6, 6)])
    assert flags.well_in_waterbody(wells, lakes).to_dict() == {"a": True, "b": False, "c": False}


def test_pairs_apart():
    zero = pd.Series([0.0, 0.0, 0.0])
    distance = flags.pair_distance_m(
        zero, zero, pd.Series([30.0, 60.0, None]), pd.Series([40.0, 80.1, 0])
    )
    assert distance.tolist()[0] == 50.0
    assert flags.pairs_apart(distance).tolist() == [False, True, False]


def test_depths_that_contradict_each_other():
    depth = pd.Series([30.0, 30.0, None])
    deeper = pd.Series([31.0, 30.0, 31.0])
    for check in (flags.casing_below_bottom, flags.screen_below_bottom, flags.level_below_bottom):
        assert check(deeper, depth).tolist() == [True, False, False]
    assert flags.flowing(pd.Series([-0.1, 0.0, None])).tolist() == [True, False, False]


def test_dates():
    issued = pd.Series(pd.to_datetime(["1999-11-01", "2000-03-01", None]))
    inspected = pd.Series(pd.to_datetime(["2000-03-01", "1999-11-01", "2000-01-01"]))
    assert flags.inspected_before_issue(issued, inspected).tolist() == [False, True, False]
    assert flags.inspected_in_later_year(issued, inspected).tolist() == [True, False, False]


def test_datum():
    datum = pd.Series(["NAVD88", "NGVD29", None, "NAVD88"], dtype="string")
    assert flags.datum_differs(datum).tolist() == [False, True, False, False]
    assert not flags.datum_differs(pd.Series([None, None], dtype="string")).any()
