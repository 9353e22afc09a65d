"""A season planned on a small county: who goes where, what it finds, and what is written."""

from __future__ import annotations

import datetime
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import icalendar
import numpy as np
import openpyxl
import pandas as pd
import pytest
from pypdf import PdfReader

from riskmap.action.aims import on_file_as_failed
from riskmap.action.season import PRIZE, TICKS
from riskmap.action.settings import Appointment, Inspector
from riskmap.contract.errors import RegionError
from riskmap.contract.visits import QUESTIONS
from riskmap.outcomes.log import visits
from riskmap.region.sections import Region
from riskmap.season.plan_folder import write_plan
from riskmap.season.planning import SeasonPlan, plan
from riskmap.season.recording import record
from riskmap.stages.progress import Progress
from riskmap.stages.result import Result
from tests.season.filling import TODAY

DAYS = 3


def with_season(result: Result, **changes: Any) -> Result:
    season = replace(result.region.season, search_rounds=300, **changes)
    region = replace(result.region, season=season)
    return Result(region, result.things)


@pytest.fixture(scope="module")
def planned(assessed: Result) -> SeasonPlan:
    return plan(with_season(assessed), inspectors=2, days=DAYS)


@pytest.fixture(scope="module")
def folder(planned: SeasonPlan, assessed: Result, tmp_path_factory) -> Path:
    out = tmp_path_factory.mktemp("plan") / "season_plan"
    write_plan(planned, assessed, out, Progress())
    return out


class TestPlan:
    def test_every_day_keeps_its_hours(self, planned: SeasonPlan) -> None:
        assert len(planned.days) == 2 * DAYS
        assert (planned.days["back_min"] <= planned.days["ends_min"] + 1).all()
        for _, day in planned.stops.groupby("day"):
            ends = day["begins_min"] + day["service_min"]
            assert (day["begins_min"].iloc[1:].to_numpy() >= ends.iloc[:-1].to_numpy()).all()
            drive = day["begins_min"].iloc[1:].to_numpy() - ends.iloc[:-1].to_numpy()
            assert drive == pytest.approx(day["leg_min"].iloc[1:].to_numpy(), abs=1e-6)

    def test_nobody_is_visited_twice(self, planned: SeasonPlan) -> None:
        assert planned.stops.index.is_unique

    def test_it_finds_more_than_the_simple_ways(
        self, planned: SeasonPlan, assessed: Result
    ) -> None:
        """Less what it weighs the driving at, which the simple ways do not weigh."""
        free = with_season(assessed, together_min=0.0)
        compared = plan(free, inspectors=2, days=DAYS).compared
        minutes = compared["way_m"] / (1000 * free.region.season.speed_km_h / 60)
        worth = compared["expected"] - minutes * TICKS / PRIZE
        assert worth["this plan"] >= worth.max() - 1e-9
        expected = planned.compared["expected"]
        assert expected["this plan"] > expected["nearest first"]
        assert (planned.compared["hours"] <= 2 * DAYS * 7.5 + 1e-6).all()

    def test_ways_are_by_road_and_longer_than_straight_lines(self, planned: SeasonPlan) -> None:
        day = planned.stops[planned.stops["day"] == 1]
        points = day[["x_m", "y_m"]].to_numpy(float)
        straight = np.hypot(*np.diff(points, axis=0).T)
        assert (day["leg_m"].iloc[1:].to_numpy() >= straight - 1e-6).all()
        assert planned.stops["road"].str.len().gt(0).all()

    def test_the_audit_is_drawn_at_random_from_all(self, planned: SeasonPlan) -> None:
        audits = planned.stops[planned.stops["visit"] == "audit"]
        assert 0 < len(audits) <= planned.drawn
        assert planned.frame > 300

    def test_follow_ups_are_of_systems_on_file_as_failed(self, planned: SeasonPlan) -> None:
        follow = planned.stops[planned.stops["visit"] == "follow-up"]
        assert on_file_as_failed(follow).all()
        assert not on_file_as_failed(planned.stops.query("visit == 'list'")).any()

    def test_urgent_days_come_first(self, planned: SeasonPlan) -> None:
        mean = planned.stops.groupby(["date"])["rank"].mean()
        assert mean.is_monotonic_increasing

    def test_what_is_high_on_the_list_and_left_out_has_a_reason(self, planned: SeasonPlan) -> None:
        assert planned.left_out["why"].str.len().gt(20).all()
        assert not set(planned.left_out["parcel_id"]) & set(planned.stops.index)

    def test_the_same_county_gives_the_same_plan(
        self, planned: SeasonPlan, assessed: Result
    ) -> None:
        again = plan(with_season(assessed), inspectors=2, days=DAYS)
        pd.testing.assert_frame_equal(again.stops, planned.stops)

    def test_truth_is_counted_where_it_is_told(self, assessed: Result) -> None:
        truly = pd.Series(1.0, index=assessed.parcels.index)
        compared = plan(with_season(assessed), days=1, failed=truly).compared
        follow = compared["stops"] - compared["found"]
        assert (follow >= 0).all()
        assert (compared["found"] > 0).all()


class TestWhoAndWhen:
    def test_inspectors_with_places_hours_and_days_off(self, assessed: Result) -> None:
        parcels = assessed.parcels
        first = datetime.date(2026, 6, 8)
        people = (
            Inspector("North", x_m=float(parcels["x_m"].max()), y_m=float(parcels["y_m"].max()),
                      ends_h=12.0),
            Inspector("South", days_off=(first,)),
        )  # fmt: skip
        season = plan(with_season(assessed, inspectors=people, begins=first), days=2)
        days = season.days.groupby("inspector")["date"].agg(list)
        assert days["North"] == [first, datetime.date(2026, 6, 9)]
        assert days["South"] == [datetime.date(2026, 6, 9)]
        assert season.days.set_index("inspector").loc["North", "back_min"].max() <= 12 * 60 + 1
        assert season.days["office_x_m"].nunique() == 2

    def test_nobody_works_at_the_weekend_or_on_a_day_off(self, assessed: Result) -> None:
        off = datetime.date(2026, 6, 3)
        season = plan(with_season(assessed, days_off=(off,)), days=5)
        assert {date.weekday() for date in season.days["date"]} <= set(range(5))
        assert off not in set(season.days["date"])

    def test_an_appointment_is_kept(self, assessed: Result, listed: pd.DataFrame) -> None:
        parcel = str(listed.sort_values("rank").dropna(subset="rank").index[200])
        day = datetime.date(2026, 6, 3)
        promised = Appointment(parcel, day, from_h=13.0, to_h=14.0)
        season = plan(with_season(assessed, appointments=(promised,)), inspectors=2, days=3)
        stop = season.stops.loc[parcel]
        assert stop["date"] == day
        assert 13 * 60 <= stop["begins_min"] <= 14 * 60

    @pytest.mark.parametrize("person", ["Inspector 1", "Inspector 2"])
    def test_an_appointment_is_kept_by_who_was_promised(
        self, assessed: Result, listed: pd.DataFrame, person: str
    ) -> None:
        ranked = listed.sort_values("rank").dropna(subset="rank").index
        day = datetime.date(2026, 6, 3)
        promised = Appointment(str(ranked[150]), day, from_h=10.0, to_h=11.0, inspector=person)
        anybody = Appointment(str(ranked[160]), day, from_h=13.0, to_h=14.0)
        season = plan(with_season(assessed, appointments=(promised, anybody)), inspectors=2, days=3)
        stops = season.stops.loc[[promised.parcel, anybody.parcel]]
        assert stops["date"].eq(day).all()
        assert stops["inspector"].iloc[0] == person
        assert 10 * 60 <= stops["begins_min"].iloc[0] <= 11 * 60
        assert 13 * 60 <= stops["begins_min"].iloc[1] <= 14 * 60

    def test_a_re_visit_is_planned(self, assessed: Result, listed: pd.DataFrame) -> None:
        parcel = str(listed.sort_values("rank").dropna(subset="rank").index[-1])
        season = plan(with_season(assessed, revisits=(parcel,)), days=2)
        assert season.stops.loc[parcel, "visit"] == "re-visit"
        assert season.stops.loc[parcel, "service_min"] == 25

    def test_who_was_visited_since_is_left_out(
        self, own: Region, assessed: Result, planned: SeasonPlan, tmp_path: Path
    ) -> None:
        from riskmap.outcomes.log import log_state

        done = planned.stops.index[0]
        table = tmp_path / "done.csv"
        table.write_text(f"Parcel,Visited on,Found,By\n{done},2026-07-02,sound,A\n")
        record(own, [table], today=TODAY)
        region = replace(own, outcomes=log_state(own.log_place))
        season = plan(with_season(Result(region, assessed.things)), inspectors=2, days=DAYS)
        assert done not in season.stops.index
        assert "1 systems were visited since" in season.notes[0]

    @pytest.mark.parametrize(
        ("changes", "given", "words"),
        [
            ({"appointments": (Appointment("X", datetime.date(2026, 12, 24)),)}, {}, "no working"),
            ({"appointments": (Appointment("{first}", datetime.date(2026, 6, 2),
                                           inspector="Inspector 3"),)}, {"inspectors": 2},
             "with 'Inspector 3', who does not go out this season.*Inspector"),
            ({"appointments": (Appointment("{first}", datetime.date(2026, 6, 2), inspector="A"),),
              "inspectors": (Inspector("A", days_off=(datetime.date(2026, 6, 2),)),)},
             {}, "with A on 2026-06-02, a day off"),
            ({"revisits": ("no-such",)}, {}, "'no-such' is not in the parcels layer"),
            ({"inspectors": (Inspector("A", begins_h=16.0),)}, {}, "inspector A has no hours"),
            ({"inspectors": (Inspector("A", days_off=(datetime.date(2026, 6, 2),)),)},
             {"days": 1}, "inspector A has no working day"),
            ({"inspectors": (Inspector("A"),)}, {"inspectors": 2}, "names 1 inspectors, not 2"),
            ({}, {"days": 0}, "at least one inspector and one day"),
        ],
    )  # fmt: skip
    def test_a_season_that_cannot_be(
        self, assessed: Result, changes: dict[str, Any], given: dict[str, Any], words: str
    ) -> None:
        first = str(assessed.parcels["rank"].idxmin())
        promised = tuple(
            replace(one, parcel=one.parcel.format(first=first))
            for one in changes.get("appointments", ())
        )
        with pytest.raises(RegionError, match=words):
            plan(with_season(assessed, **changes | {"appointments": promised}), **given)


class TestFolder:
    def test_routes_are_read_by_a_map_program(self, folder: Path, planned: SeasonPlan) -> None:
        routes = gpd.read_file(folder / "routes.geojson")
        lines = routes[routes.geom_type == "LineString"]
        assert len(lines) == len(planned.days)
        assert (routes.geom_type == "Point").sum() == len(planned.stops)

    def test_gpx_is_read_by_gdal_in_driving_order(self, folder: Path, planned: SeasonPlan) -> None:
        path = sorted((folder / "gpx").glob("*.gpx"))[0]
        points = gpd.read_file(path, layer="route_points")
        day = planned.stops[planned.stops["day"] == 1]
        assert [name.split()[1] for name in points["name"]] == day.index.tolist()
        assert points.geometry.x.to_numpy() == pytest.approx(day["longitude"].to_numpy(), abs=1e-6)

    def test_calendars_are_read_by_another_program(self, folder: Path, planned: SeasonPlan) -> None:
        begun = []
        for path in (folder / "calendars").glob("*.ics"):
            content = path.read_bytes()
            assert all(len(line) <= 75 for line in content.split(b"\r\n"))
            events = icalendar.Calendar.from_ical(content).walk("VEVENT")
            begun += [event.decoded("dtstart") for event in events]
            assert len({str(event["uid"]) for event in events}) == len(events)
        assert len(begun) == len(planned.stops)
        assert min(begun).hour >= 8
        assert {moment.date() for moment in begun} == set(planned.stops["date"])

    def test_a_workbook_a_day_can_be_filled_in_and_recorded(
        self, folder: Path, planned: SeasonPlan, own: Region
    ) -> None:
        path = sorted((folder / "days").glob("*.xlsx"))[0]
        book = openpyxl.load_workbook(path)
        page = book["Visits"]
        places = {str(cell.value): cell.column for cell in page[1]}
        assert {q.label for q in QUESTIONS} <= {title.split(" (")[0] for title in places}
        page.cell(2, places["Visited on"]).value = datetime.date(2026, 7, 1)
        page.cell(2, places["Found"]).value = "failed"
        book.save(path)
        (done,) = record(own, [path], by="AB", today=TODAY)
        day = planned.stops[planned.stops["day"] == 1]
        assert (done.new, done.blank, done.run) == (1, len(day) - 1, planned.run)
        told = visits(own.log_place)
        assert told["parcel_id"].tolist() == [day.index[0]]
        assert told["visit"].tolist() == [day["visit"].iloc[0]]

    def test_the_paper_asks_the_same(self, folder: Path, planned: SeasonPlan) -> None:
        pages = [page.extract_text() for page in PdfReader(folder / "sheets/day_sheets.pdf").pages]
        stop = next(page for page in pages if "What you found" in page)
        for question in QUESTIONS:
            assert question.label in stop or question.name == "found"
        assert f"run {planned.run}" in " ".join(pages[0].split())
        assert len(pages) == len(planned.stops) + len(planned.days)

    def test_the_tables_and_the_page(self, folder: Path, planned: SeasonPlan) -> None:
        stops = pd.read_csv(folder / "stops.csv", dtype={"parcel_id": str})
        assert stops["parcel_id"].tolist() == planned.stops.index.tolist()
        assert stops["latitude"].between(40, 50).all()
        content = json.loads((folder / "plan.json").read_text())
        assert content["run"] == planned.run
        assert content["ways_compared"]["this plan"]["stops"] == len(planned.stops)
        page = (folder / "index.html").read_text()
        assert page.count("<polyline") == len(planned.days)
        assert "http" not in page.replace("http-equiv", "")
