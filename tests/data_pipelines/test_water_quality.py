from __future__ import annotations

import pandas as pd
import pytest

from data_pipelines.defect_log import DefectLog
from data_pipelines.portal_results import FIELDS, samples_of
from data_pipelines.water_quality import nitrate_as_n, parse_results, read_well_samples
from riskmap.contract.check import check_layer
from riskmap.contract.layers import WELL_SAMPLES
from riskmap.contract.sources import ColumnSource, Source
from riskmap.contract.units import NITRATE_TO_N

C = ColumnSource
OLD, NEW = FIELDS


def portal(write, profile: dict[str, str], *rows: dict[str, str], sign: str = ","):
    """Write a small portal file with the profile's column names."""
    fields = list(profile)
    lines = [sign.join(profile[field] for field in fields)]
    lines += [sign.join(row.get(field, "") for field in fields) for row in rows]
    return write("results.csv", "\n".join(lines) + "\n")


def result(what: str, value: str, unit: str = "mg/l", **more: str) -> dict[str, str]:
    base = {"site": "W-1", "date": "2020-05-01", "activity": "a1", "site_type": "Well"}
    return {**base, "what": what, "value": value, "unit": unit, **more}


class TestNitrateBasis:
    @pytest.mark.parametrize(
        ("row", "as_n"),
        [
            (result("Nitrate", "10", speciation="as N"), 10.0),
            (result("Nitrate", "44.268", speciation="as NO3"), 10.0),
            (result("Nitrate", "10", "mg/l as N"), 10.0),
            (result("Nitrate", "44.268", "mg/l asNO3"), 10.0),
            (result("Nitrate", "10", code="00618"), 10.0),
            (result("Nitrate", "44.268", code="71851"), 10.0),
            (result("Nitrate", "10000", "ug/l as N"), 10.0),
            (result("Inorganic nitrogen (nitrate and nitrite)", "10"), 10.0),
        ],
    )
    @pytest.mark.parametrize("profile", [OLD, NEW])
    def test_both_measures_in_both_profiles(self, write, utm, profile, row, as_n):
        path = portal(write, dict(profile), row)
        frame = read_well_samples(Source("well_samples", (path,)), utm).frame
        assert frame["nitrate_mg_l"].tolist() == pytest.approx([as_n], abs=5e-4)
        assert frame["nitrate_below_limit"].tolist() == [False]

    def test_unknown_basis_is_not_guessed(self, write, utm, found):
        path = portal(write, dict(OLD), result("Nitrate", "10"))
        reading = read_well_samples(Source("well_samples", (path,)), utm)
        assert reading.frame["nitrate_mg_l"].isna().all()
        assert found(reading.defects, "nitrate_basis_unknown") == {"1": "10"}

    def test_unknown_unit(self, write, utm, found):
        row = result("Nitrate", "10", "umol/l", speciation="as N")
        reading = read_well_samples(Source("well_samples", (portal(write, dict(OLD), row),)), utm)
        assert reading.frame["nitrate_mg_l"].isna().all()
        assert found(reading.defects, "unknown_unit") == {"1": "umol/l"}

    def test_factor(self):
        # Worked by hand: N 14.0067 / NO3 (14.0067 + 3 x 15.9994 = 62.0049).
        assert pytest.approx(14.0067 / 62.0049, rel=1e-12) == NITRATE_TO_N
        assert nitrate_as_n(pd.Series([100.0]), unit="mg_l_as_no3")[0] == pytest.approx(
            22.59, abs=0.005
        )


class TestNonDetects:
    def test_limit_is_kept_and_flagged(self, write, utm, found):
        rows = [
            result(
                "Nitrate",
                "",
                "",
                speciation="as N",
                detection="Not Detected",
                limit="0.05",
                limit_unit="mg/l",
            ),
            result("Nitrate", "<0.2", speciation="as N", site="W-2"),
            result("Nitrate", "", "", speciation="as N", detection="Not Detected", site="W-3"),
        ]
        reading = read_well_samples(
            Source("well_samples", (portal(write, dict(OLD), *rows, sign="\t"),)), utm
        )
        frame = reading.frame
        assert frame["nitrate_mg_l"].tolist()[:2] == [0.05, 0.2]
        assert frame["nitrate_mg_l"].isna().tolist() == [False, False, True]
        assert frame["nitrate_below_limit"].tolist() == [True, True, True]
        assert set(found(reading.defects, "limit_not_given")) == {"3"}
        assert check_layer(frame, WELL_SAMPLES, crs=utm).empty

    def test_county_table(self, write, utm, found):
        path = write(
            "lab.csv",
            "WELL,DAY,NO3,TC\nA,5/1/2020,44.268,absent\nB,5/1/2020,<2,present\nC,5/1/2020,ND,\n"
            ",5/1/2020,3,absent\nA,5/1/2020,44.268,absent\n",
        )
        columns = {
            "well_id": C("WELL"),
            "date": C("DAY"),
            "nitrate_mg_l": C("NO3", unit="mg_l_as_no3"),
            "coliform": C("TC"),
        }
        reading = read_well_samples(Source("well_samples", (path,), columns=columns), utm)
        frame = reading.frame
        assert frame["well_id"].tolist() == ["A", "B", "C"]
        assert frame["nitrate_mg_l"].tolist()[:2] == pytest.approx([10.0, 0.4518], abs=5e-4)
        assert frame["nitrate_below_limit"].tolist() == [False, True, True]
        assert frame["coliform"].tolist()[:2] == [False, True]
        assert set(found(reading.defects, "missing_key")) == {"4"}
        assert set(found(reading.defects, "repeated_row")) == {"5"}
        assert set(found(reading.defects, "limit_not_given")) == {"3"}
        assert check_layer(frame, WELL_SAMPLES, crs=utm).empty


class TestRows:
    def test_one_row_per_well_day_and_activity_nitrate_preferred(self, write, utm):
        rows = [
            result("Inorganic nitrogen (nitrate and nitrite)", "2.73", speciation="as N"),
            result("Nitrate", "12.0", speciation="as NO3"),
            result("Nitrate", "2.71", speciation="as N"),
            result("Escherichia coli", "490", "MPN/100mL"),
            result("Total Coliform", "0", "MPN/100mL", activity="a2"),
            result("Nitrate", "9", speciation="as N", activity_type="Quality Control Sample-Blank"),
            result("Nitrate", "8", speciation="as N", status="Rejected", activity="a3"),
            result("Nitrate", "7", speciation="as N", site_type="Stream"),
        ]
        reading = read_well_samples(Source("well_samples", (portal(write, dict(NEW), *rows),)), utm)
        frame = reading.frame
        assert frame["nitrate_mg_l"].tolist()[0] == 2.71
        assert frame["coliform"].tolist() == [True, False]
        assert len(frame) == 2
        checks = reading.defects["check"].value_counts()
        assert checks[["quality_control", "rejected_result", "not_a_well"]].tolist() == [1, 1, 1]

    def test_old_profile_takes_site_types_from_the_site_file(self, write, utm):
        sites = write(
            "sites.csv",
            "MonitoringLocationIdentifier,MonitoringLocationTypeName\nW-1,Well\nW-2,Stream\n",
        )
        rows = [result("Nitrate", "1", speciation="as N", site=site) for site in ("W-1", "W-2")]
        source = Source(
            "well_samples",
            (portal(write, {k: v for k, v in OLD.items() if k != "site_type"}, *rows),),
            attributes=sites,
            join_on=("MonitoringLocationIdentifier", "MonitoringLocationIdentifier"),
        )
        assert read_well_samples(source, utm).frame["well_id"].tolist() == ["W-1"]


class TestRealReplies:
    """Replies of the portal: all of a stream, so the layer is empty; the chemistry is real."""

    @pytest.mark.parametrize("name", ["samples_results.txt", "wqp3_results.txt"])
    def test_streams_are_left_out(self, shared_data, utm, name):
        path = shared_data / "records/water_quality_replies" / name
        reading = read_well_samples(Source("well_samples", (path,)), utm)
        assert reading.frame.empty
        assert reading.defects["check"].tolist() == ["not_a_well"]
        assert check_layer(reading.frame, WELL_SAMPLES, crs=utm).empty

    def test_old_profile_without_nitrate(self, shared_data, utm):
        path = shared_data / "records/water_quality_replies/wqp_results.txt"
        assert read_well_samples(Source("well_samples", (path,)), utm).frame.empty

    def test_nitrate_of_three_visits(self, shared_data):
        path = shared_data / "records/water_quality_replies/samples_results.txt"
        raw = parse_results(Source("well_samples", (path,)), DefectLog("well_samples"))
        samples = samples_of(raw, DefectLog("well_samples"))
        by_date = samples.dropna(subset=["nitrate_mg_l"]).set_index("date")["nitrate_mg_l"]
        # 2023-07-25 has nitrate as N (2.71), as NO3 (12.0) and nitrate plus nitrite (2.73).
        want = {"2023-07-25": 2.71, "2023-06-20": 2.91, "2023-08-22": 2.96}
        assert {str(day.date()): value for day, value in by_date.items()} == want
        assert samples["coliform"].all()

    def test_laboratory_agrees_with_itself(self, shared_data):
        # The same sample is given as N and as NO3, the latter to two digits.
        path = shared_data / "records/water_quality_replies/samples_results.txt"
        raw = parse_results(Source("well_samples", (path,)), DefectLog("well_samples"))
        nitrate = raw[raw["what"] == "Nitrate"].set_index("speciation")["value"].astype(float)
        assert nitrate["as NO3"] * NITRATE_TO_N == pytest.approx(
            nitrate["as N"], abs=0.5 * NITRATE_TO_N
        )
