from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import shapely
from pyproj import CRS

from data_pipelines.soil_survey import read_soil_survey

Make = Callable[..., Any]


def test_two_areas_add_up(
    tmp_path: Path, tiny: Make, put_tables: Make, put_shapefile: Make, faults: Make
) -> None:
    for prefix, area in (("1", "ZZ001"), ("2", "ZZ002")):
        put_tables(tmp_path / area, tiny(prefix, area))
        put_shapefile(tmp_path / area, area=area, mukeys=(f"{prefix}0",),
                      shapes=[shapely.box(int(prefix), 0, int(prefix) + 1, 1)])  # fmt: skip
    survey = read_soil_survey([tmp_path / "ZZ001", tmp_path / "ZZ002"])
    assert survey.soil_mapunits["area_symbol"].tolist() == ["ZZ001", "ZZ002"]
    assert survey.soil_components["cokey"].tolist() == ["101", "102", "201", "202"]
    assert survey.soil_units is not None
    assert survey.soil_units["area_symbol"].tolist() == ["ZZ001", "ZZ002"]
    assert faults(survey.defects).empty
    both = read_soil_survey([tmp_path])  # the folder that holds both
    assert both.soil_components["cokey"].tolist() == ["101", "102", "201", "202"]


def test_a_map_unit_in_two_areas_is_kept_once(
    tmp_path: Path, tiny: Make, put_tables: Make, faults: Make
) -> None:
    """The second copy is of another vintage: same map unit key, new component keys."""
    put_tables(tmp_path / "a", tiny())
    newer = tiny("2", "ZZ002")
    newer["mapunit"][0][-1] = "10"
    newer["muaggatt"][0][-1] = "10"
    for row in newer["component"]:
        row[-2] = "10"
    put_tables(tmp_path / "b", newer)
    survey = read_soil_survey([tmp_path / "a", tmp_path / "b"])
    assert survey.soil_mapunits["mukey"].tolist() == ["10"]
    assert survey.soil_components["cokey"].tolist() == ["101", "102"]
    assert survey.soil_components["comppct"].sum() == 100
    for name in ("soil_horizons", "soil_months", "soil_interpretations"):
        assert set(getattr(survey, name)["cokey"]) == {"101"}
    found = faults(survey.defects)
    assert found["check"].tolist() == ["map unit in two sources"]
    assert found["row"].tolist() == ["10"]


def test_the_same_area_twice_changes_nothing(tiny_area: Path, faults: Make) -> None:
    once, twice = read_soil_survey([tiny_area]), read_soil_survey([tiny_area, tiny_area])
    assert len(twice.soil_components) == len(once.soil_components)
    assert twice.soil_units is not None
    assert len(twice.soil_units) == 1
    assert set(faults(twice.defects)["check"]) == {"map unit in two sources", "polygon twice"}


def test_a_map_unit_across_an_edge_keeps_both_polygons(
    tmp_path: Path, tiny: Make, put_tables: Make, put_shapefile: Make
) -> None:
    for place, area in enumerate(("ZZ001", "ZZ002")):
        put_tables(tmp_path / area, tiny(area=area))
        put_shapefile(tmp_path / area, area=area, shapes=[shapely.box(place, 0, place + 1, 1)])
    survey = read_soil_survey([tmp_path / "ZZ001", tmp_path / "ZZ002"])
    assert survey.soil_units is not None
    assert survey.soil_units["mukey"].tolist() == ["10", "10"]
    assert len(survey.soil_mapunits) == 1


def test_areas_in_different_systems_meet_in_the_first(
    tmp_path: Path, tiny: Make, put_tables: Make, put_shapefile: Make, faults: Make
) -> None:
    put_tables(tmp_path / "ZZ001", tiny())
    put_shapefile(tmp_path / "ZZ001")
    put_tables(tmp_path / "ZZ002", tiny("2", "ZZ002"))
    put_shapefile(tmp_path / "ZZ002", area="ZZ002", mukeys=("20",), crs="EPSG:32615",
                  shapes=[shapely.box(499_000, 4_000_000, 501_000, 4_002_000)])  # fmt: skip
    survey = read_soil_survey([tmp_path / "ZZ001", tmp_path / "ZZ002"])
    assert survey.soil_units is not None
    assert survey.soil_units.crs == CRS("EPSG:4326")
    # zone 15 north has its central meridian, easting 500 km, at 93 degrees west
    assert survey.soil_units.geometry.iloc[1].centroid.x == pytest.approx(-93.0, abs=1e-6)
    assert faults(survey.defects)["check"].tolist() == ["other system"]
