"""Rows of delimited text: none lost, none shifted. Published form: RFC 4180 (2005)."""

from __future__ import annotations

import csv
import io

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from data_pipelines.defect_log import DefectLog
from data_pipelines.delimited import LONGEST_CELL, parse_delimited
from data_pipelines.text import read_text
from riskmap.contract.errors import LayerError, SourceFormatError


def parse(text: str, **more: object) -> tuple[pd.DataFrame, dict[str, str]]:
    """The table, and what is told of rows: label -> check and value."""
    log = DefectLog("permits")
    frame = parse_delimited(text, layer="permits", name="t.csv", log=log, **more)
    told = log.table()
    return frame, dict(zip(told["row"], told["check"] + ": " + told["value"], strict=True))


def rows(frame: pd.DataFrame) -> dict[str, str]:
    return {label: "|".join(cells) for label, *cells in frame.itertuples()}


class TestPublishedForm:
    """The rules of RFC 4180, section 2, by number."""

    def test_1_and_2_line_ends_and_a_last_line_without_one(self):
        for text in ("a,b\r\n1,2\r\n3,4\r\n", "a,b\n1,2\n3,4", "a,b\r1,2\r3,4\r"):
            assert rows(parse(text)[0]) == {"1": "1|2", "2": "3|4"}

    def test_4_as_many_cells_as_the_header(self):
        frame, told = parse("a,b,c\n1,2,3\n4,5\n6,7,8\n9,10,11,12\n13,14,15\n")
        assert rows(frame) == {"1": "1|2|3", "3": "6|7|8", "5": "13|14|15"}
        assert told == {
            "2": "ragged_row: 2 cells, not 3 (line 3)",
            "4": "ragged_row: 4 cells, not 3 (line 5)",
        }

    def test_5_and_6_quotes_around_separators_and_line_breaks(self):
        frame, told = parse('a,b\n1,"x, y"\n"2","two\r\nlines"\n3,"three\nmore\nlines"\n')
        assert rows(frame) == {"1": "1|x, y", "2": "2|two\r\nlines", "3": "3|three\nmore\nlines"}
        assert told == {}

    def test_7_doubled_quotes(self):
        assert rows(parse('a,b\n1,"a ""b"" c"\n')[0]) == {"1": '1|a "b" c'}


class TestShiftedCells:
    def test_an_unquoted_comma_in_a_name(self):
        frame, told = parse(
            "PERMIT,OWNER,ACTION,ISSUED\n1,Doe,NEW,2001-01-01\n2,Roe, Jane,NEW,2002-02-02\n"
            "3,Poe,REPAIR,2003-03-03\n"
        )
        assert frame.index.tolist() == ["1", "3"]
        assert told == {"2": "ragged_row: 5 cells, not 4 (line 3)"}

    def test_an_empty_cell_too_many_at_the_end_of_one_row_may_be_a_shift(self):
        frame, told = parse("a,b,note\n1,x,\n2,Roe, Jane,\n3,y,\n")
        assert frame.index.tolist() == ["1", "3"]
        assert set(told) == {"2"}

    def test_an_empty_cell_too_many_at_the_end_of_every_row_is_a_habit(self):
        frame, told = parse("a,b\n1,2,\n3,4,\n")
        assert rows(frame) == {"1": "1|2", "2": "3|4"}
        assert told == {}

    def test_more_lost_than_kept_is_an_error(self):
        with pytest.raises(SourceFormatError, match=r"2 of 3 rows of t\.csv do not fit") as error:
            parse("a,b\n1,2\n3\n4\n")
        assert "row 2: 1 cells, not 2 (line 3)" in str(error.value)

    def test_without_a_log_nobody_would_hear(self):
        with pytest.raises(SourceFormatError, match="row 2: 3 cells"):
            parse_delimited("a,b\n1,2\n3,4,5\n6,7\n", layer="x", name="t.csv")

    def test_blank_lines_are_no_rows(self):
        frame, told = parse("a,b\n\n1,2\n  \n3,4\n\n")
        assert rows(frame) == {"1": "1|2", "2": "3|4"}
        assert told == {}


TABLE = ["a,b,c", "1,x,p", "2,y,q", "3,z,r", "4,v,s", "5,w,t"]


def damaged(line: int, text: str, *more: tuple[int, str]) -> str:
    lines = list(TABLE)
    for place, other in ((line, text), *more):
        lines[place] = other
    return "\n".join(lines) + "\n"


class TestQuotesThatDoNotClose:
    @pytest.mark.parametrize("text", ['"2,y,q', '2,"y,q', '2,y,"q'])
    def test_only_the_row_that_opens_it_is_set_aside(self, text):
        frame, told = parse(damaged(2, text))
        assert frame.index.tolist() == ["1", "3", "4", "5"]
        assert told == {"2": "open_quote: line 3"}

    @pytest.mark.parametrize("last", ['4,v",s', '4,v,s"', '"4",v,s', '4,"v",s'])
    def test_closed_in_a_later_row(self, last):
        # Six lines in, three rows out and no defect: what a plain reader makes of it.
        text = damaged(2, '2,"y,q', (4, last))
        frame, told = parse(text)
        assert set(frame.index) | set(told) == {"1", "2", "3", "4", "5"}
        assert frame.loc["3"].tolist() == ["3", "z", "r"]
        assert "2" in told
        assert all("\n" not in cell for cell in frame.to_numpy().ravel())

    def test_closed_in_the_next_row(self):
        frame, told = parse(damaged(2, '2,"y,q', (3, '3,z",r')))
        assert frame.index.tolist() == ["1", "3", "4", "5"]
        assert rows(frame)["3"] == '3|z"|r'
        assert told == {"2": "open_quote: line 3"}

    def test_in_the_last_row_of_a_cut_file(self):
        frame, told = parse('a,b\n1,2\n3,4\n5,"cut in the mid')
        assert frame.index.tolist() == ["1", "2"]
        assert told == {"3": "open_quote: line 4"}

    def test_in_the_header(self):
        with pytest.raises(SourceFormatError, match=r"header of t\.csv cannot be read"):
            parse('a,"b,c\n1,2,3\n')

    def test_in_every_row(self):
        text = "a,b\n" + "".join(f'{n},"x\n' for n in range(2000))
        with pytest.raises(SourceFormatError, match="2000 of 2000 rows"):
            parse(text)

    def test_quotes_inside_a_cell_that_do_no_harm(self):
        frame, told = parse('a,b\n1,5" pipe\n2,"4" PVC" pipe"\n3,x\n')
        assert rows(frame) == {"1": '1|5" pipe', "2": '2|4 PVC" pipe"', "3": "3|x"}
        assert told == {"2": "stray_quote: line 3"}


class TestOtherFaults:
    def test_a_cell_too_long(self):
        frame, told = parse(f"a,b\n1,2\n3,{'x' * (LONGEST_CELL + 1)}\n5,6\n")
        assert frame.index.tolist() == ["1", "3"]
        assert told == {"2": "cell_too_long: over 131072 characters (line 3)"}

    def test_a_binary_zero(self):
        frame, told = parse("a,b\n1,2\n3,x\0y\n5,6\n")
        assert frame.index.tolist() == ["1", "3"]
        assert told == {"2": "binary_zero: line 3"}

    def test_too_many_columns(self):
        with pytest.raises(SourceFormatError, match="200000 columns; at most 5000"):
            parse(",".join(f"c{n}" for n in range(200_000)) + "\n")

    def test_two_columns_of_one_name(self):
        with pytest.raises(LayerError, match="two columns called 'a'"):
            parse("a,b,a\n1,2,3\n", columns=["a"])
        assert parse("a,b,a\n1,2,3\n", columns=["b"])[0]["b"].tolist() == ["2"]

    def test_no_header(self):
        with pytest.raises(SourceFormatError, match="no header line"):
            parse("# only comments\n#\n")

    def test_a_header_over_two_lines(self):
        frame, _ = parse('"Parcel\nnumber",b\n1,2\n')
        assert frame.columns.tolist() == ["Parcel\nnumber", "b"]


class TestEncodings:
    @pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "utf-16", "utf-32", "cp1252"])
    def test_by_the_mark_at_the_start_or_the_letters(self, tmp_path, code):
        path = tmp_path / "t.csv"
        path.write_bytes("a,b\n1,Peña\n".encode(code))
        assert "Peña" in read_text(path, "x")

    def test_one_odd_line_does_not_spoil_the_others(self, tmp_path, found):
        path = tmp_path / "t.csv"
        path.write_bytes("a,b\n1,Peña\n".encode() + "2,Niño\n".encode("cp1252"))
        log = DefectLog("x")
        assert read_text(path, "x", log).splitlines()[1:] == ["1,Peña", "2,Niño"]
        assert found(log.table(), "not_utf8") == {"t.csv": "1 lines"}

    def test_binary_data_is_no_text(self, tmp_path):
        path = tmp_path / "t.csv"
        path.write_bytes(bytes(range(256)) * 4)
        with pytest.raises(SourceFormatError, match="is no text"):
            read_text(path, "x")


CELL = st.text(st.sampled_from('ab"\n7é '), max_size=6)


class TestProperties:
    @settings(max_examples=150, deadline=None)
    @given(st.lists(st.tuples(CELL, CELL, CELL), max_size=8), st.sampled_from(",;|\t"))
    def test_what_a_writer_of_the_form_writes_comes_back(self, table, sign):
        # Oracle: the writer of the standard library, which follows the form.
        file = io.StringIO()
        writer = csv.writer(file, delimiter=sign, quoting=csv.QUOTE_ALL)
        writer.writerows([("one", "two", "three"), *table])
        frame, told = parse(file.getvalue())
        assert list(frame.itertuples(index=False, name=None)) == table
        assert told == {}

    @settings(max_examples=150, deadline=None)
    @given(st.integers(1, 5), st.integers(0, 2), st.integers(1, 5), st.integers(0, 2))
    def test_two_stray_quotes_anywhere_lose_nothing(self, row, column, other, place):
        lines = [line.split(",") for line in TABLE]
        lines[row][column] = '"' + lines[row][column]
        lines[other][place] += '"'
        touched = {str(row), str(other)}
        frame, told = parse("\n".join(map(",".join, lines)) + "\n")
        assert set(frame.index) | set(told) == {"1", "2", "3", "4", "5"}
        for label in {"1", "2", "3", "4", "5"} - touched:
            assert ",".join(frame.loc[label]) == TABLE[int(label)]
