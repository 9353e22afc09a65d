from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from data_pipelines.defect_log import DefectLog
from data_pipelines.unit_words import WORDS
from data_pipelines.values import as_text, plain_number, to_flag, to_number, to_words
from riskmap.contract.errors import LayerError
from riskmap.contract.layers import PARCELS, PERMITS, WELL_SAMPLES, WELLS
from riskmap.contract.sources import ColumnSource
from riskmap.contract.units import FACTORS

DEPTH = WELLS.column("depth_m")


class TestUnits:
    def test_whole_feet_are_not_rounded(self):
        # The lesson: scaling an integer column and casting back gave 1, 30, 46 m.
        feet = pd.Series([5, 100, 152], dtype="int64")
        meters = to_number(feet, DEPTH, ColumnSource(unit="ft"), DefectLog("wells"))
        assert meters.dtype == "float64"
        assert meters.tolist() == [1.524, 30.48, 46.3296]

    def test_text_and_numbers_give_the_same(self):
        spec, log = ColumnSource(unit="ft"), DefectLog("wells")
        text = to_number(pd.Series(["5", " 100 ", "152.0"]), DEPTH, spec, log)
        assert text.tolist() == [1.524, 30.48, 46.3296]

    @pytest.mark.parametrize(
        ("layer", "column", "unit", "raw", "canonical"),
        [
            # Factors by definition: NIST SP 811 (2008), appendix B.8.
            (PERMITS, "tank_volume_l", "gal", 1000, 3785.411784),
            (PERMITS, "design_flow_l_d", "gpd", 450, 1703.4353028),
            (PERMITS, "field_area_m2", "ft2", 600, 55.741824),
            (PARCELS, "living_area_m2", "ft2", 1500, 139.35456),
            (WELL_SAMPLES, "nitrate_mg_l", "ug_l", 10000, 10.0),
        ],
    )
    def test_factors(self, layer, column, unit, raw, canonical):
        log = DefectLog(layer.name)
        got = to_number(pd.Series([raw]), layer.column(column), ColumnSource(unit=unit), log)
        assert got[0] == pytest.approx(canonical, rel=1e-12)

    def test_nitrate_as_no3(self):
        # 10 mg/L as N is 44.27 mg/L as NO3 (atomic weights: N 14.0067, NO3 62.0049).
        column = WELL_SAMPLES.column("nitrate_mg_l")
        spec = ColumnSource(unit="mg_l_as_no3")
        got = to_number(pd.Series([44.268]), column, spec, DefectLog("well_samples"))
        assert got[0] == pytest.approx(10.0, abs=5e-4)

    def test_unknown_unit_is_refused_with_the_known_ones(self):
        with pytest.raises(LayerError, match=r"'fathom'.*ft"):
            to_number(pd.Series([1]), DEPTH, ColumnSource(unit="fathom"), DefectLog("wells"))

    @settings(max_examples=40, deadline=None)
    @given(
        unit=st.sampled_from(sorted(FACTORS["m"])),
        meters=st.lists(st.floats(0, 1400, allow_subnormal=False), min_size=1, max_size=8),
    )
    def test_round_trip(self, unit, meters):
        raw = pd.Series(meters) / FACTORS["m"][unit]
        back = to_number(raw, DEPTH, ColumnSource(unit=unit), DefectLog("wells"))
        pd.testing.assert_series_equal(back, pd.Series(meters), rtol=1e-14, check_names=False)


class TestNumbersWithUnits:
    @pytest.mark.parametrize(
        ("layer", "column", "cell", "canonical"),
        [
            (WELLS, "depth_m", "12 ft", 3.6576),
            (WELLS, "depth_m", "118.9 Feet", 36.24072),
            (WELLS, "depth_m", "5' 6\"", 1.6764),
            (WELLS, "depth_m", "5 ft. 6 in.", 1.6764),
            (WELLS, "depth_m", "100 m", 100.0),
            (WELLS, "depth_m", "100 m" + "etres", 100.0),  # the British spelling
            (PERMITS, "tank_volume_l", "1,000 gal", 3785.411784),
            (PERMITS, "design_flow_l_d", "450 gal/day", 1703.4353028),
            (PERMITS, "field_area_m2", "900 sq. ft.", 83.612736),
            (WELL_SAMPLES, "nitrate_mg_l", "1200 ug/L", 1.2),
        ],
    )
    def test_the_unit_of_the_cell_counts(self, layer, column, cell, canonical):
        # Factors: NIST SP 811 (2008), appendix B; 1 ft = 0.3048 m, 1 gal = 3.785411784 L.
        log = DefectLog(layer.name)
        got = to_number(pd.Series([cell]), layer.column(column), ColumnSource(), log)
        assert got[0] == pytest.approx(canonical, rel=1e-12)

    def test_another_unit_than_the_column_has_is_told(self, found):
        log = DefectLog("wells")
        raw = pd.Series(["12 ft", "30", "3 m"], index=list("abc"))
        got = to_number(raw, DEPTH, ColumnSource(unit="ft"), log)
        assert got.tolist() == pytest.approx([3.6576, 9.144, 3.0])
        assert found(log.table(), "unit_in_cell") == {"c": "3 m"}
        assert log.table()["action"].tolist() == ["read as m"]

    def test_mg_per_liter_is_what_the_region_file_says(self):
        column, log = WELL_SAMPLES.column("nitrate_mg_l"), DefectLog("well_samples")
        spec = ColumnSource(unit="mg_l_as_no3")
        as_no3 = to_number(pd.Series(["44.268 mg/L"]), column, spec, log)
        assert as_no3[0] == pytest.approx(10.0, abs=5e-4)
        as_n = to_number(pd.Series(["10 mg/L as N"]), column, spec, log)
        assert as_n[0] == pytest.approx(10.0)

    @pytest.mark.parametrize("cell", ["12 gal", "ft", "12 ft deep", "about 12 ft", "12 fathoms"])
    def test_what_is_no_unit_of_the_kind_is_told(self, found, cell):
        log = DefectLog("wells")
        assert to_number(pd.Series([cell]), DEPTH, ColumnSource(), log).isna().all()
        assert found(log.table(), "not_a_number") == {"0": cell}

    def test_counts_have_no_unit(self, found):
        log = DefectLog("parcels")
        to_number(pd.Series(["3 ft"]), PARCELS.column("bedrooms"), ColumnSource(), log)
        assert found(log.table(), "not_a_number") == {"0": "3 ft"}

    @pytest.mark.parametrize("canonical", list(WORDS))
    def test_every_word_means_a_unit_with_a_factor(self, canonical):
        units = {unit for known in WORDS[canonical].values() for unit in known}
        assert units == set(FACTORS[canonical])


class TestMissingAndImpossible:
    @pytest.mark.parametrize("cell", ["-9999", "-9999.0", -9999.0, "-999999", "", "NULL", None])
    def test_missing_codes_are_missing_without_a_defect(self, cell):
        log = DefectLog("wells")
        got = to_number(pd.Series([cell, "12"]), DEPTH, ColumnSource(), log)
        assert got.isna().tolist() == [True, False]
        assert log.table().empty

    def test_impossible_depth_is_missing_and_reported_with_its_raw_value(self, found):
        log = DefectLog("wells")
        got = to_number(pd.Series(["99999"], index=["7"]), DEPTH, ColumnSource(), log)
        assert got.isna().all()
        assert found(log.table(), "out_of_range") == {"7": "99999"}

    def test_words_in_a_number_column(self, found):
        log = DefectLog("wells")
        to_number(pd.Series(["30 psi", "1,250"], index=["1", "2"]), DEPTH, ColumnSource(), log)
        assert found(log.table(), "not_a_number") == {"1": "30 psi"}

    def test_thousands_commas_only_where_they_belong(self):
        assert plain_number(pd.Series(["1,250", "12,5", "1,250,000.5"])).tolist()[0] == 1250
        assert plain_number(pd.Series(["12,5"])).isna().all()

    def test_infinity_is_no_number(self):
        assert plain_number(pd.Series(["inf", "1e400"])).isna().all()


class TestText:
    def test_trailing_blanks_and_null_words(self):
        raw = pd.Series(["No ", " 7-18", "<Null>", "-9999", None])
        assert as_text(raw).fillna("missing").tolist() == ["No", "7-18", *["missing"] * 3]

    def test_keys_read_as_floats_keep_their_digits(self):
        assert as_text(pd.Series([435803089362901.0])).tolist() == ["435803089362901"]

    def test_leading_zeros_stay(self):
        assert as_text(pd.Series(["000123"])).tolist() == ["000123"]


class TestCodes:
    def test_codes_are_translated_without_regard_to_case_and_number_form(self):
        column = PARCELS.column("land_use")
        spec = ColumnSource(values={"101": "residential", "sngl-fam res": "residential"})
        raw = pd.Series(["101", "SNGL-FAM-RES", "Residential"])
        got = to_words(raw, column, spec, DefectLog("parcels"))
        assert got.tolist() == ["residential"] * 3
        number = to_words(pd.Series([101.0]), column, spec, DefectLog("parcels"))
        assert number.tolist() == ["residential"]

    def test_unknown_code_is_missing_and_reported(self, found):
        log = DefectLog("parcels")
        raw = pd.Series(["999", "vacant"], index=["1", "2"])
        got = to_words(raw, PARCELS.column("land_use"), ColumnSource(), log)
        assert got.isna().tolist() == [True, False]
        assert found(log.table(), "unknown_code") == {"1": "999"}

    def test_a_null_word_can_be_a_code(self):
        spec = ColumnSource(values={"NONE": "none"})
        got = to_words(pd.Series(["None"]), PARCELS.column("service"), spec, DefectLog("parcels"))
        assert got.tolist() == ["none"]

    def test_flags(self, found):
        log = DefectLog("permits")
        raw = pd.Series(["Y", "no ", "1", "", "maybe"], index=list("abcde"))
        got = to_flag(raw, PERMITS.column("effluent_filter"), ColumnSource(), log)
        assert got.tolist()[:3] == [True, False, True]
        assert got.isna().tolist()[3:] == [True, True]
        assert found(log.table(), "unknown_code") == {"e": "maybe"}


def test_an_amount_in_a_yes_or_no_column_is_yes_where_it_is_more_than_nothing() -> None:
    log = DefectLog("parcels")
    column = PARCELS.column("improved")
    raw = pd.Series(["0", "180000", "", "92500.5"])
    got = to_flag(raw, column, ColumnSource(), log)
    assert got.astype(object).fillna("?").tolist() == [False, True, "?", True]
    assert log.table()["check"].tolist() == ["amount"]
    below = to_flag(pd.Series(["0"] * 30 + ["5", "-5"]), column, ColumnSource(), log)
    assert below.isna().tolist() == [False] * 31 + [True]
    codes = to_flag(pd.Series(["0", "1", "2"]), column, ColumnSource(), DefectLog("parcels"))
    assert codes.astype(object).fillna("?").tolist() == [False, True, "?"]
