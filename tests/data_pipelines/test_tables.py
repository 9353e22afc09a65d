from __future__ import annotations

import pandas as pd
import pytest

from data_pipelines.defect_log import DefectLog
from data_pipelines.tables import list_columns, parse_files, parse_table
from riskmap.contract.errors import LayerError, SourceFormatError, SourceMissingError
from riskmap.contract.layers import INSPECTIONS
from riskmap.contract.sources import ColumnSource, Source


class TestDelimitedText:
    def test_quotes_commas_and_line_breaks_inside_cells(self, write):
        path = write("t.csv", 'id,note\n1,"a, ""b"" c"\n2,"two\nlines"\n')
        table = parse_table(path, layer="x")
        assert table["note"].tolist() == ['a, "b" c', "two\nlines"]
        assert table.index.tolist() == ["1", "2"]

    @pytest.mark.parametrize("sign", ["\t", ";", "|", ","])
    def test_separators(self, write, sign):
        path = write("t.txt", f"id{sign}name\n01{sign}x\n")
        assert parse_table(path, layer="x").to_numpy().tolist() == [["01", "x"]]

    def test_byte_order_mark_and_windows_encoding(self, tmp_path):
        bom, old = tmp_path / "bom.csv", tmp_path / "old.csv"
        bom.write_bytes(b"\xef\xbb\xbfid\n7\n")
        old.write_bytes("id\nPeña\n".encode("cp1252"))
        assert parse_table(bom, layer="x").columns.tolist() == ["id"]
        assert parse_table(old, layer="x")["id"].tolist() == ["Peña"]

    def test_rdb_comments_and_format_row_are_left_out(self, write):
        path = write("t.rdb", "#\n# told at length\n#\nsite_no\tlev_va\n15s\t12s\n0123\t 4.5\n")
        assert parse_table(path, layer="x").to_numpy().tolist() == [["0123", " 4.5"]]

    def test_empty_and_absent_files(self, write, tmp_path):
        with pytest.raises(SourceFormatError, match=r"t\.csv is empty"):
            parse_table(write("t.csv", ""), layer="x")
        with pytest.raises(SourceMissingError, match=r"gone\.csv is not there"):
            parse_table(tmp_path / "gone.csv", layer="x")

    def test_header_only_is_an_empty_table(self, write):
        assert parse_table(write("t.csv", "a,b\n"), layer="x").shape == (0, 2)


class TestSelection:
    def test_only_mapped_columns_are_read(self, write):
        path = write("t.csv", "PIN,OWNER,PHONE,DT\n1,A. Person,555,2020-01-01\n")
        source = Source(
            "inspections",
            (path,),
            columns={"parcel_id": ColumnSource("PIN"), "date": ColumnSource("DT")},
        )
        assert parse_files(source, INSPECTIONS).columns.tolist() == ["PIN", "DT"]

    def test_several_files_carry_their_name_in_the_row_label(self, write):
        files = (write("a.csv", "parcel_id\n1\n"), write("b.csv", "parcel_id\n2\n"))
        raw = parse_files(Source("inspections", files), INSPECTIONS)
        assert raw.index.tolist() == ["1:a#1", "2:b#1"]

    def test_a_row_that_is_set_aside_is_told_under_the_same_label(self, write, found):
        files = (write("a.csv", "parcel_id,b\n1,x\n2\n"), write("b.csv", "parcel_id,b\n3\n4,y\n"))
        log = DefectLog("inspections")
        raw = parse_files(Source("inspections", files), INSPECTIONS, log=log)
        assert raw.index.tolist() == ["1:a#1", "2:b#2"]
        assert set(found(log.table(), "ragged_row")) == {"1:a#2", "2:b#1"}

    def test_no_file_named(self):
        with pytest.raises(LayerError, match="no file is named"):
            parse_files(Source("inspections", ()), INSPECTIONS)


class TestRealData:
    def test_attribute_table_without_shapes(self, shared_data):
        path = shared_data / "terrain_water/flowlines_small/PlusFlowlineVAA.dbf"
        assert "StreamOrde" in list_columns(path, layer="streams")
        table = parse_table(path, layer="streams", columns=["ComID", "StreamOrde"])
        assert table.shape == (101, 2)
        assert pd.api.types.is_numeric_dtype(table["StreamOrde"])

    def test_wide_profile_has_all_its_columns(self, shared_data):
        path = shared_data / "records/water_quality_replies/samples_results.txt"
        assert len(list_columns(path, layer="well_samples")) == 181
        assert len(parse_table(path, layer="well_samples")) == 67
