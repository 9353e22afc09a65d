from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.contract.layers import INSPECTIONS, PERMITS
from riskmap.contract.rules import Rules
from riskmap.inventory.permits import match_permits
from riskmap.inventory.systems import describe_systems, neighborhood_years

TODAY = date(2024, 7, 1)


def permits(*rows: dict[str, object]) -> pd.DataFrame:
    blank = {
        column.name: {"date": pd.NaT, "number": np.nan}.get(column.dtype)
        for column in PERMITS.columns
    }
    table = pd.DataFrame(
        [blank | {"permit_id": f"n{n}"} | row for n, row in enumerate(rows)], columns=list(blank)
    )
    for name in ("issued", "inspected", "last_pumped"):
        table[name] = pd.to_datetime(table[name])
    return table.astype({"x_m": float, "y_m": float, "tank_volume_l": float, "bedrooms": float})


def inspections(*rows: dict[str, object]) -> pd.DataFrame:
    blank = {column.name: None for column in INSPECTIONS.columns}
    table = pd.DataFrame([blank | row for row in rows], columns=list(blank))
    for name in ("date", "last_pumped"):
        table[name] = pd.to_datetime(table[name])
    return table


@pytest.fixture
def describe(lots):
    def run(permit_rows=None, visit_rows=None, neighborhoods=None, **columns):
        count = len(next(iter(columns.values()))) if columns else 1
        parcels = lots([shapely.box(9 * n, 0, 9 * n + 9, 9) for n in range(count)], **columns)
        known = None if permit_rows is None else match_permits(permits(*permit_rows), parcels)
        visits = None if visit_rows is None else inspections(*visit_rows)
        return describe_systems(
            parcels, known, visits, date=TODAY, rules=Rules(), neighborhoods=neighborhoods
        )

    return run


P0 = {"parcel_id": "p0"}


class TestAge:
    def test_latest_new_or_repair_permit(self, describe):
        result = describe(
            [
                P0 | {"action": "new", "issued": "1980-03-01"},
                P0 | {"action": "repair", "issued": "2004-03-01"},
                P0 | {"action": "alteration", "issued": "2015-03-01"},
            ]
        ).iloc[0]
        assert (result["installed_year"], result["age_yr"]) == (2004, 20)
        assert result["installed_year_evidence"] == "measured"
        assert result["age_yr_evidence"] == "measured"

    def test_the_inspection_of_the_work_dates_it(self, describe):
        row = P0 | {"action": "new", "issued": "1999-12-20", "inspected": "2000-04-02"}
        assert describe([row])["installed_year"].tolist() == [2000]

    def test_alteration_alone_leaves_the_house_year(self, describe):
        row = P0 | {"action": "alteration", "issued": "2015-03-01"}
        result = describe([row], year_built=[1960.0]).iloc[0]
        assert (result["installed_year"], result["installed_year_evidence"]) == (1960, "inferred")

    def test_silent_permits_count_from_the_first(self, describe):
        rows = [P0 | {"issued": "1995-01-01"}, P0 | {"action": "unknown", "issued": "2010-01-01"}]
        result = describe(rows, year_built=[1960.0]).iloc[0]
        assert (result["installed_year"], result["installed_year_evidence"]) == (1995, "inferred")

    def test_neighbors_help_only_the_undated(self, describe):
        years = pd.Series({"Elm": 1970.0})
        result = describe(
            neighborhoods=years,
            neighborhood=["Elm", "Elm", "Oak"],
            year_built=[np.nan, 1990.0, np.nan],
        )
        assert result["installed_year"].tolist()[:2] == [1970, 1990]
        assert np.isnan(result["installed_year"].iloc[2])
        assert result["age_yr_evidence"].tolist() == ["inferred", "inferred", "unknown"]

    def test_later_permits_do_not_count(self, describe):
        row = P0 | {"action": "new", "issued": "2024-08-01"}
        assert describe([row])["installed_year"].isna().all()

    def test_impossible_house_years(self, describe):
        assert describe(year_built=[2090.0])["installed_year"].isna().all()

    def test_median_of_neighbors_prefers_permits(self, lots):
        parcels = lots(
            [shapely.box(n, 0, n + 1, 1) for n in range(5)],
            neighborhood=["Elm", "Elm", "Elm", "Oak", None],
            year_built=[1950.0, 1950.0, np.nan, 1980.0, 1980.0],
        )
        known = match_permits(
            permits(
                {"parcel_id": "p1", "action": "new", "issued": "1990-01-01"},
                {"parcel_id": "p2", "action": "new", "issued": "2000-01-01"},
            ),
            parcels,
        )
        assert neighborhood_years(parcels, known).to_dict() == {"Elm": 1990.0}


class TestRecords:
    def test_values_of_the_latest_permit_that_has_them(self, describe):
        result = describe(
            [
                P0
                | {"action": "new", "issued": "1980-01-01", "kind": "bed", "tank_volume_l": 3785.0},
                P0 | {"action": "repair", "issued": "2001-01-01", "kind": "mound", "bedrooms": 4.0},
                P0 | {"action": "alteration", "issued": "2011-01-01", "effluent_filter": True},
            ]
        ).iloc[0]
        assert result["kind"] == "mound"
        assert result["tank_volume_l"] == 3785
        assert result["bedrooms"] == 4
        assert result["effluent_filter"] is True
        assert result["tank_volume_l_evidence"] == "measured"
        assert np.isnan(result["design_flow_l_d"])
        assert result["design_flow_l_d_evidence"] == "unknown"

    def test_the_assessor_knows_bedrooms_best(self, describe):
        result = describe([P0 | {"bedrooms": 4.0}], bedrooms=[3.0])
        assert result["bedrooms"].tolist() == [3.0]

    def test_nothing_known(self, describe, same_index, lots):
        result = describe()
        same_index(result, lots([shapely.box(0, 0, 1, 1)]))
        row = result.iloc[0]
        assert (row["kind"], row["kind_evidence"]) == ("unknown", "unknown")
        for name in ("age_yr", "complaints", "repairs", "years_since_pumped_yr", "occupants"):
            assert np.isnan(row[name])
            assert row[f"{name}_evidence"] == "unknown"
        assert row["last_stage"] is None


class TestVisits:
    def test_missing_layer_is_unknown_and_empty_layer_is_zero(self, describe):
        assert describe(visit_rows=[])["complaints"].tolist() == [0.0]
        assert describe(permit_rows=[])["repairs"].tolist() == [0.0]
        assert describe(permit_rows=[])["complaints"].isna().all()

    def test_counts(self, describe):
        visits = [
            P0 | {"date": "2001-05-01", "reason": "complaint", "stage": "failed"},
            P0 | {"date": "2002-05-01", "reason": "complaint"},
            P0 | {"date": "2002-06-01", "reason": "repair"},
            P0 | {"date": "2025-06-01", "reason": "complaint", "stage": "failed"},
        ]
        rows = [P0 | {"action": "repair", "issued": "2002-06-10"}, P0 | {"action": "repair"}]
        result = describe(rows, visits).iloc[0]
        assert result["complaints"] == 2
        assert result["repairs"] == 2  # the visit and the permit of 2002 are one repair
        assert result["last_visit_year"] == 2002

    def test_a_chunk_without_repairs_is_zero(self, describe):
        visits = [{"parcel_id": "elsewhere", "date": "2002-06-01", "reason": "repair"}]
        assert describe([], visits)["repairs"].tolist() == [0.0]
        assert describe([P0 | {"action": "new"}], [])["repairs"].tolist() == [0.0]

    def test_a_finding_before_the_present_system_does_not_describe_it(self, describe):
        visits = [P0 | {"date": "2001-05-01", "reason": "sale", "stage": "failed"}]
        replaced = [P0 | {"action": "repair", "issued": "2003-01-01"}]
        assert describe(replaced, visits)["last_stage"].tolist() == [None]
        assert describe([], visits)["last_stage"].tolist() == ["failed"]

    def test_the_last_finding_counts(self, describe):
        visits = [
            P0 | {"date": "2015-05-01", "stage": "stressed"},
            P0 | {"date": "2001-05-01", "stage": "sound"},
            P0 | {"date": "2018-05-01", "stage": None},
        ]
        result = describe(visit_rows=visits).iloc[0]
        assert (result["last_stage"], result["last_visit_year"]) == ("stressed", 2018)

    def test_years_since_the_last_pump_out(self, describe):
        visits = [P0 | {"date": "2021-01-01", "last_pumped": "2020-07-01"}]
        rows = [P0 | {"action": "new", "issued": "1990-01-01", "last_pumped": "2014-07-01"}]
        result = describe(rows, visits)
        assert result["years_since_pumped_yr"].tolist() == pytest.approx([4.0], abs=0.01)

    def test_a_pump_out_of_the_old_tank_does_not_count(self, describe):
        rows = [P0 | {"action": "new", "issued": "1990-01-01", "last_pumped": "1985-07-01"}]
        assert describe(rows)["years_since_pumped_yr"].isna().all()


class TestMatching:
    def test_by_number_and_by_place(self, lots):
        parcels = lots([shapely.box(0, 0, 10, 10), shapely.box(10, 0, 20, 10)])
        matched = match_permits(
            permits(
                {"parcel_id": "p1", "issued": "2001-01-01"},
                {"parcel_id": None, "issued": "1990-01-01", "x_m": 3.0, "y_m": 3.0},
                {"parcel_id": " ", "x_m": 15.0, "y_m": 3.0},
                {"parcel_id": None, "x_m": 500.0, "y_m": 3.0},
                {"parcel_id": "elsewhere", "x_m": 3.0, "y_m": 3.0},
            ),
            parcels,
        )
        assert matched["permit_id"].tolist() == ["n2", "n1", "n0"]
        assert matched["parcel_id"].tolist() == ["p1", "p0", "p1"]
        assert matched["matched_by"].tolist() == ["place", "place", "number"]
        assert matched.geometry.notna().tolist() == [True, True, False]

    def test_stacked_parcels_share_a_permit(self, lots):
        parcels = lots([shapely.box(0, 0, 10, 10), shapely.box(0, 0, 10, 10)])
        matched = match_permits(permits({"x_m": 3.0, "y_m": 3.0}), parcels)
        assert sorted(matched["parcel_id"]) == ["p0", "p1"]

    def test_no_permits(self, lots):
        assert len(match_permits(permits(), lots([shapely.box(0, 0, 1, 1)]))) == 0


class TestOnRecord:
    def test_what_the_permit_says_of_the_soil_and_the_unit(self, describe):
        rows = [
            P0 | {"action": "new", "issued": "1990-01-01", "percolation_min_cm": 8.0},
            P0 | {"action": "alteration", "issued": "2001-01-01", "loading_class": "III"},
            P0 | {"action": "repair", "issued": "2015-01-01", "nitrogen_removed_frac": 0.5},
        ]
        row = describe(rows).iloc[0]
        assert (row["percolation_min_cm"], row["loading_class"]) == (8.0, "III")
        assert row["nitrogen_removed_frac"] == 0.5
        assert row["loading_class_evidence"] == row["percolation_min_cm_evidence"] == "measured"

    def test_nothing_on_record_is_unknown(self, describe):
        row = describe([], [P0 | {"date": "2023-01-01"}]).iloc[0]
        for name in ("percolation_min_cm", "loading_class", "ponding_found_cm", "metered_flow_l_d"):
            assert pd.isna(row[name]), name
            assert row[f"{name}_evidence"] == "unknown"

    def test_a_meter(self, describe):
        result = describe([], metered_flow_l_d=[640.0, np.nan])
        assert result["metered_flow_l_d"].tolist()[0] == 640.0
        assert result["metered_flow_l_d_evidence"].tolist() == ["measured", "unknown"]

    def test_a_finding_of_standing_effluent_holds_until_repaired_or_old(self, describe):
        seen = P0 | {"date": "2022-05-01", "ponding_cm": 25.0}
        later = P0 | {"date": "2023-05-01"}
        assert describe([], [seen, later])["ponding_found_cm"].tolist() == [25.0]
        old = seen | {"date": "2010-05-01"}
        assert describe([], [old])["ponding_found_cm"].isna().all()
        repair = P0 | {"action": "repair", "issued": "2023-02-01"}
        assert describe([repair], [seen])["ponding_found_cm"].isna().all()
