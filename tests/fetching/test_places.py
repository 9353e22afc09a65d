"""The county to fetch for: by name, by code, by an outline."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from riskmap.contract.errors import FetchError
from riskmap.fetching.places import counties, county_place, outline_place
from riskmap.fetching.services import SERVICES
from riskmap.starting.open_sources import OPEN_SOURCES


def test_the_pages_say_what_is_fetched() -> None:
    assert {name for name, source in OPEN_SOURCES.items() if source.fetched} == set(SERVICES)


class TestPlaces:
    def test_every_way_to_name_a_county(self) -> None:
        for said in ("Chittenden, VT", "chittenden county, Vermont", "50007"):
            assert county_place(said).codes == ("50007",)
        assert county_place("St. Louis, MN").codes == ("27137",)

    @pytest.mark.parametrize(
        ("said", "answer"),
        [("Chittendon, VT", "Near: Chittenden, VT"), ("99999", "five-digit code"),
         ("Baltimore, MD", "24005 .*24510")],
    )  # fmt: skip
    def test_what_is_not_one_county(self, said: str, answer: str) -> None:
        with pytest.raises(FetchError, match=answer):
            county_place(said)

    def test_an_outline_tells_its_counties(self, tmp_path: Path) -> None:
        own = counties().set_index("code").loc[["50007"]]
        own.to_file(tmp_path / "own.gpkg")
        place = outline_place(tmp_path / "own.gpkg")
        assert place.codes == ("50007",)
        west, south, east, north = own.total_bounds
        assert place.box == pytest.approx((west - 0.03, south - 0.03, east + 0.03, north + 0.03))

    def test_an_outline_at_sea(self, tmp_path: Path) -> None:
        frame = gpd.GeoDataFrame(geometry=[shapely.box(-40, 30, -39, 31)], crs=4326)
        frame.to_file(tmp_path / "sea.gpkg")
        with pytest.raises(FetchError, match="in no county"):
            outline_place(tmp_path / "sea.gpkg")

    def test_codes_are_those_of_the_census(self) -> None:
        """Figures from memory: 3,144 counties and equivalents in 50 states and DC in 2023."""
        table = counties()
        assert table["code"].is_unique
        assert int((table["code"].str[:2].astype(int) < 60).sum()) in range(3142, 3146)
        assert table["state"].nunique() == 56
