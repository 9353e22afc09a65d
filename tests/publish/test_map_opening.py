"""The map opens in a real browser, from disk, without a network, and holds what the table holds."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.action.addresses import delivery_line

pytestmark = pytest.mark.browser


class TestOpening:
    def test_opens_from_disk_without_network_or_error(self, page: Any, screenshots: Path) -> None:
        assert page.browser.find_elements("css selector", "canvas.leaflet-tile")
        page.browser.save_screenshot(str(screenshots / "map.png"))
        urls = page.requests()
        assert any(url.endswith("data/facts.js") for url in urls)
        outside = [u for u in urls if not u.startswith(("file:", "data:", "blob:", "about:"))]
        assert outside == []
        late = ("data/details", "data/threats", "data/places")
        assert not any(name in url for name in late for url in urls)
        assert page.errors() == []

    def test_the_county_fills_the_view(self, page: Any) -> None:
        share = page.run(
            """const b = L.latLngBounds(county.plan.bounds), m = county.map, s = m.getSize();
            const p = m.latLngToContainerPoint(b.getNorthWest());
            const q = m.latLngToContainerPoint(b.getSouthEast());
            const share = Math.max((q.x - p.x) / s.x, (q.y - p.y) / s.y);
            return [share, p.x, p.y, s.x - q.x, s.y - q.y]"""
        )
        assert share[0] > 0.93
        assert min(share[1:]) >= 0

    def test_every_parcel_arrives_with_its_values(self, page: Any, full: Any) -> None:
        page.read_details()
        rows = page.run(
            """return county.facts.parcel_id.lines().map((id, i) => [id,
            county.scores.current.priority[i], county.facts.rank.number(i),
            county.facts.address.word(i), county.facts.age_yr.number(i),
            county.facts.kind_evidence.word(i), county.facts.well_distance_m.number(i),
            county.facts.stage.word(i), county.facts["said:chance_failed_high_frac"].number(i)])"""
        )
        names = ["id", "priority", "rank", "address", "age", "mark", "well_ft", "stage", "high"]
        got = pd.DataFrame(rows, columns=names).set_index("id")
        want = full.ranked.loc[got.index]
        assert len(got) == len(full.ranked)
        assert (got["address"] == want["address"]).all()
        served = want["service"].isin(["onsite", "unknown"])
        assert (got.loc[served, "mark"] == want.loc[served, "kind_evidence"]).all()
        assert (got["stage"] == want["stage"].fillna("")).all()
        on = want["rank"].notna()
        assert on.sum() > 300
        assert np.allclose(
            got.loc[on, "priority"].astype(float), want.loc[on, "priority"], atol=0.0501
        )
        assert (got.loc[on, "rank"].astype(int) == want.loc[on, "rank"].astype(int)).all()
        assert got.loc[~on, "rank"].isna().all()
        # Chances are given to a tenth of a percent.
        high = want.loc[on, "chance_failed_high_frac"]
        assert np.allclose(got.loc[on, "high"].astype(float), high, atol=0.00051)
        assert np.array_equal(
            got["age"].astype(float), want["age_yr"].astype(float).round(), equal_nan=True
        )
        feet = (want["well_distance_m"] / 0.3048)[served]
        got_feet = got.loc[served, "well_ft"].astype(float)
        assert np.allclose(got_feet, feet, rtol=0.006, atol=0.5, equal_nan=True)

    def test_shapes_are_within_a_pixel_of_zoom_19(
        self, page: Any, ranked: gpd.GeoDataFrame
    ) -> None:
        rows = page.run(
            """return county.facts.parcel_id.lines().map((id, i) =>
            [id, county.parcels.rings(i).map((r) => r.map((p) => [p.lng, p.lat]))])"""
        )
        ids = [row[0] for row in rows]
        back = gpd.GeoSeries([shapely.Polygon(row[1][0]) for row in rows], index=ids, crs=4326)
        back = back.to_crs(ranked.crs)
        want = ranked.geometry.loc[ids]
        # Half a pixel of 0.22 m each way, and corners within 0.15 m of a line may be left out.
        assert shapely.hausdorff_distance(back.values, want.values).max() < 0.35
        assert np.allclose(back.area, want.area, rtol=0.02)


def found_parcels(page: Any, typed: str) -> list[str]:
    return page.run(
        "return county.find(arguments[0]).filter((hit) => hit.kind === 'parcel')"
        ".map((hit) => county.facts.parcel_id.word(hit.row))",
        typed,
    )


class TestFinding:
    def test_search_by_number_and_click_through(
        self, page: Any, full: Any, screenshots: Path
    ) -> None:
        ranked = full.ranked
        parcel = ranked["rank"].astype(float).idxmin()
        box = page.browser.find_element("id", "search")
        box.send_keys(parcel)
        page.wait_for("document.querySelectorAll('#search-results [role=option]').length === 1")
        box.send_keys("\ue015", "\ue007")  # arrow down, Enter
        page.wait_for("!document.getElementById('card').hidden")
        text = page.browser.find_element("id", "card").text
        assert ranked.loc[parcel, "address"] in text
        assert f"Rank 1 of {int(ranked['rank'].notna().sum())}" in text
        assert ranked.loc[parcel, "reason_1"] in text
        page.settle()
        page.browser.save_screenshot(str(screenshots / "map_card.png"))
        assert f"parcel={parcel}" in page.browser.current_url
        assert page.errors() == []

    def test_search_by_address(self, page: Any, ranked: gpd.GeoDataFrame) -> None:
        address = ranked["address"].iloc[123]
        assert ranked.index[123] in found_parcels(page, address.upper())
        assert page.run("return county.find('no such place')") == []

    def test_what_letters_print_is_found(self, page: Any, ranked: gpd.GeoDataFrame) -> None:
        """USPS Publication 28: the form of an address that letters and labels carry."""
        some = ranked["address"].dropna().drop_duplicates(keep=False).iloc[::40]
        for parcel, address in some.items():
            assert found_parcels(page, delivery_line(address))[0] == parcel
            assert found_parcels(page, parcel.replace("-", ""))[0] == parcel

    def test_a_slip_of_one_letter_is_forgiven(self, page: Any, ranked: gpd.GeoDataFrame) -> None:
        address = ranked["address"].iloc[123]
        number, name, *rest = address.split()
        slip = " ".join([number, name[0] + name[2] + name[1] + name[3:], *rest])
        assert ranked.index[123] in found_parcels(page, slip)

    def test_wells_and_neighborhoods_are_found(self, page: Any, ranked: gpd.GeoDataFrame) -> None:
        place = ranked["neighborhood"].dropna().iloc[0]
        (hit, *_) = page.run("return county.find(arguments[0])", place)
        assert hit["kind"] == "neighborhood"
        well = page.run("return county.layers.wells.columns.well_id.word(0)")
        kinds = {hit["kind"] for hit in page.run("return county.find(arguments[0])", well)}
        assert "well" in kinds

    def test_every_click_finds_the_parcel_that_geometry_finds(
        self, page: Any, ranked: gpd.GeoDataFrame
    ) -> None:
        rng = np.random.default_rng(7)
        west, south, east, north = ranked.total_bounds
        points = gpd.GeoSeries(
            shapely.points(rng.uniform(west, east, 1500), rng.uniform(south, north, 1500)),
            crs=ranked.crs,
        )
        want = gpd.sjoin(
            gpd.GeoDataFrame(geometry=points), ranked[["geometry"]].reset_index(), how="left"
        )["parcel_id"]
        places = points.to_crs(4326)
        got = page.run(
            """return arguments[0].map((p) => { const q = county.toPixels(L.latLng(p[1], p[0]));
            const i = county.parcels.at(q.x, q.y);
            return i < 0 ? null : county.facts.parcel_id.word(i); })""",
            [[p.x, p.y] for p in places],
        )
        got = pd.Series(got, dtype=object)
        differs = ~((got == want) | (got.isna() & want.isna()))
        edges = ranked.boundary.union_all()
        assert (shapely.distance(points[differs].values, edges) < 0.4).all()
        assert differs.sum() < 30

    def test_a_click_on_the_map_opens_the_card(self, page: Any) -> None:
        from selenium.webdriver.common.action_chains import ActionChains

        page.run("county.map.fitBounds(county.parcels.box(400), {animate: false})")
        page.settle()
        at = page.run(
            """const [x, y] = county.parcels.middle(400);
            const p = county.map.latLngToContainerPoint(county.toDegrees(x, y));
            const box = county.map.getContainer().getBoundingClientRect();
            return [p.x + box.left, p.y + box.top, county.parcels.at(x, y)]"""
        )
        chain = ActionChains(page.browser)
        chain.w3c_actions.pointer_action.move_to_location(int(at[0]), int(at[1]))
        chain.w3c_actions.pointer_action.click()
        chain.perform()
        page.wait_for("!document.getElementById('card').hidden")
        assert page.run("return county.state.parcel") == at[2]
        page.run("document.getElementById('card-close').click()")
        page.wait_for("document.getElementById('card').hidden")
