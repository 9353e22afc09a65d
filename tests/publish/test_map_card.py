"""What the cards of a parcel, a well and a zone say, in a real browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from riskmap.publish.words.chance_words import chance_words

pytestmark = pytest.mark.browser


def _at_rank(full: Any, rank: int) -> str:
    return str(full.ranked.index[(full.ranked["rank"] == rank).fillna(False)][0])


class TestParcel:
    def test_points_and_marks_are_the_tables(self, page: Any, full: Any) -> None:
        parcel = _at_rank(full, 5)
        text = page.choose(parcel)
        row = full.ranked.loc[parcel]
        for factor in full.model.factors:
            assert f"{row[f'{factor.name}_points']:.1f} of" in text
        assert row["kind_evidence"] in text
        assert (row["unknown"] or "Nothing that the score asks for.") in text
        assert "Only a site visit" in text
        if pd.notna(row["age_yr"]):
            assert f"since {2026 - round(row['age_yr'])}" in text

    def test_doubt_in_numbers_and_words(self, page: Any, full: Any) -> None:
        parcel = _at_rank(full, 150)
        text = page.choose(parcel)
        row = full.ranked.loc[parcel]
        failed, low, high = (row[f"chance_failed{end}_frac"] for end in ("", "_low", "_high"))
        assert f"Chance that it has failed: {chance_words(failed)}" in text
        assert f"likely between {chance_words(low)} and {chance_words(high)}" in text
        # 1.2 - 150 / 200 = 0.45
        assert f"among the first 200 of the county: {chance_words(0.45)}" in text

    def test_what_is_on_file_stands_first(self, page: Any, full: Any) -> None:
        rows = full.ranked[full.ranked["worklist"] == "on file"]
        text = page.choose(rows.index[0])
        assert "To follow up: found failed at a visit in May 2021" in text
        assert text.index("Why this stop") < text.index("To follow up:") < text.index("How likely")
        assert "Chance that it is still failed" in text
        page.run("document.querySelector('details.ledger').open = true")
        opened = page.run("return document.getElementById('card-body').innerText")
        assert "found failed at a visit in May 2021\t+3.05\t+1.22" in opened
        # 1 / (1 + exp(-1.22)) = 0.772
        assert "exp(-1.22)) = 0.772" in opened
        assert "Chance that it has failed:" not in text

    def test_years_are_cut_off_in_words(self, page: Any, full: Any) -> None:
        table = full.ranked[full.ranked["rank"].notna()]
        long = table.index[table["years_gained_half_flow_yr"] >= 100][0]
        none = table.index[table["years_gained_half_flow_yr"] == 0][0]
        assert "100 years or more" in page.choose(long, move=False)
        assert "little gain" in page.choose(none, move=False)

    def test_a_parcel_on_sewer_is_told_of_its_site_only(self, page: Any, full: Any) -> None:
        sewered = full.ranked.index[full.ranked["service"] == "sewer"][0]
        text = page.choose(sewered)
        assert "on public sewer" in text
        assert "Sewage goes to" in text
        assert "What would help" not in text
        assert "How likely" not in text

    def test_shapes_on_the_lot_are_drawn_with_the_card(
        self, page: Any, full: Any, screenshots: Path
    ) -> None:
        parcel = _at_rank(full, 2)
        text = page.choose(parcel)
        assert "dashed, its likely treatment area" in text
        page.settle()
        page.browser.save_screenshot(str(screenshots / "map_places.png"))
        lines = "document.querySelectorAll('.leaflet-pane path[stroke-dasharray]').length"
        assert page.run(f"return {lines}") >= 2
        page.run("county.closeCard()")
        assert page.run(f"return {lines}") == 0


class TestWells:
    def test_the_worst_hit_wells_with_their_figures(self, page: Any, full: Any) -> None:
        counts = full.pairs.groupby("parcel_id").size()
        parcel = str(counts.idxmax())
        text = page.choose(parcel)
        mine = full.pairs[full.pairs["parcel_id"] == parcel]
        first = mine.sort_values("nitrate_added_mg_l", ascending=False).head(3)
        for _, pair in first.iterrows():
            assert f"Well {pair['well_id']}" in text
        assert text.count("adds ") >= 3
        far = mine.drop(first.index)
        assert not any(f"Well {well}" in text for well in far["well_id"])

    def test_a_parcel_without_pairs_says_so_with_a_caution(self, page: Any, full: Any) -> None:
        scored = full.ranked.index[full.ranked["rank"].notna()]
        alone = scored.difference(full.pairs["parcel_id"])
        text = page.choose(str(alone[0]))
        assert "None on record" in text
        assert "Wells that are not on record are" in text

    def test_a_wells_card_names_the_parcels_that_add_most(
        self, page: Any, full: Any, screenshots: Path
    ) -> None:
        well = str(full.pairs.groupby("well_id")["nitrate_added_mg_l"].sum().idxmax())
        parcel = str(full.pairs.loc[full.pairs["well_id"] == well, "parcel_id"].iloc[0])
        page.choose(parcel)
        row = page.run(
            """const ids = county.layers.wells.columns.well_id;
            for (let i = 0; i < county.layers.wells.shapes.count; i++)
              if (ids.word(i) === arguments[0]) return i;""",
            well,
        )
        page.browser.execute_async_script(
            "county.showWell(arguments[0], true).then(() => arguments[1]())", row
        )
        page.settle()
        page.browser.save_screenshot(str(screenshots / "map_well.png"))
        text = page.browser.find_element("id", "card-body").text
        mine = full.pairs[full.pairs["well_id"] == well]
        worst = mine.sort_values("nitrate_added_mg_l", ascending=False).head(5)
        for name in worst["parcel_id"]:
            assert str(name) in text
        risk = full.layers["wells"].set_index("well_id").loc[well]
        number = page.run(
            "return county.layers.wells.columns.well_risk_frac.number(arguments[0])", row
        )
        assert number == pytest.approx(risk["well_risk_frac"], abs=0.0051)
        assert "Only a laboratory sample" in text
        button = page.browser.find_elements("css selector", "#card .pairs button")[0]
        button.click()
        page.wait_for("document.getElementById('card').getAttribute('aria-label') === 'Parcel'")
        assert page.errors() == []


class TestZones:
    def test_outline_label_card_and_filter(self, page: Any, full: Any, screenshots: Path) -> None:
        zones = full.layers["zones"]
        page.run("document.querySelector('[data-layer=zones]').click()")
        page.settle()
        tags = [e.text for e in page.browser.find_elements("css selector", ".zone-label")]
        assert sorted(tags) == sorted(zones["zone_id"])
        page.browser.save_screenshot(str(screenshots / "map_zones.png"))
        page.browser.find_element("css selector", ".zone-label[title^='Zone D01']").send_keys(
            "\ue007"
        )
        text = page.browser.find_element("id", "card-body").text
        assert "Zone D01: dense old systems" in text
        assert zones["why"].iloc[2] in text
        page.browser.find_element("css selector", "#card .buttons button").click()
        got = page.run("return county.facts.parcel_id.lines().filter((id, i) => county.passes[i])")
        places = full.ranked.geometry.representative_point()
        inside = places.within(zones.geometry.iloc[2]) & ~places.within(zones.geometry.iloc[1])
        inside &= ~places.within(zones.geometry.iloc[0])
        assert sorted(got) == sorted(full.ranked.index[inside])
        assert len(got) > 5
        assert page.errors() == []

    def test_a_parcels_card_leads_to_its_zone(self, page: Any, full: Any) -> None:
        zone = full.layers["zones"].iloc[3]
        inside = full.ranked.geometry.representative_point().within(zone.geometry)
        page.choose(str(full.ranked.index[inside][0]))
        page.browser.find_element("css selector", "#card dd button.plain").click()
        assert "N01: high predicted nitrate" in page.browser.find_element("id", "card-body").text
