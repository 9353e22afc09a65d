from __future__ import annotations

import csv
import html.parser
import io
import json

import numpy as np
import pandas as pd
from hypothesis import example, given, settings
from hypothesis import strategies as st

from riskmap.publish.words.text_safety import (
    csv_field,
    csv_text,
    html_text,
    is_missing,
    plain_text,
    script_json,
    spreadsheet_text,
)


class Seen(html.parser.HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:  # noqa: ARG002
        self.tags.append(tag)

    def handle_data(self, data: str) -> None:
        self.text += data


class TestSpreadsheets:
    def test_blanks_and_unseen_marks_do_not_hide_a_sign(self) -> None:
        for text in (" =1+1", "\u200b=1", "\ufeff@x", "\u200f-2", "\uff1d1+1"):
            assert spreadsheet_text(text).startswith("'")

    def test_plain_text_is_left_alone(self) -> None:
        for text in ("12 Elm Lane", "O'Brien", "a=b", "3-4", ""):
            assert spreadsheet_text(text) == text

    def test_numbers_stay_numbers(self) -> None:
        assert csv_field(-12.5) == "-12.5"
        assert csv_field(np.int64(-3)) == "-3"
        assert csv_field(np.float64("nan")) == ""
        assert csv_field(pd.NA) == ""
        assert csv_field(True) == "yes"

    @given(st.lists(st.text(max_size=20), min_size=1, max_size=5))
    @example(["\x1b=1", "\u202a=1", "\x00", "\u2066\uff1d1"])
    @example(["=1+1", "a\r\nb", 'say "x"', ";,", " "])
    @settings(max_examples=60)
    def test_a_table_reads_back_as_many_fields_and_none_runs(self, cells: list[str]) -> None:
        table = pd.DataFrame([cells, cells], columns=[f"c{n}" for n in range(len(cells))])
        text = csv_text(table)
        assert text.endswith("\r\n")
        rows = list(csv.reader(io.StringIO(text, newline="")))
        if len(cells) > 1:
            assert [len(row) for row in rows] == [len(cells)] * 3
        for row in rows[1:]:
            for cell in row:
                assert cell[:1] not in {"=", "+", "-", "@", "\t", "\r", "\n", "\0"} - {""}

    def test_line_by_line_and_column_by_column_agree(self) -> None:
        table = pd.DataFrame(
            {"a": ["=1", None, "x,y"], "b": [1.0, np.nan, -2.5], "c": [True, False, None]}
        )
        want = 'a,b,c\r\n\'=1,1,yes\r\n,,no\r\n"x,y",-2.5,\r\n'
        assert csv_text(table) == want


class TestPages:
    @given(st.text(max_size=40))
    @example('"><img src=x onerror=alert(1)>')
    @settings(max_examples=60)
    def test_no_text_becomes_a_tag(self, text: str) -> None:
        seen = Seen()
        seen.feed(f'<p title="{html_text(text)}">{html_text(text)}</p>')
        seen.close()
        assert seen.tags == ["p"]
        assert seen.text == plain_text(text)

    @given(st.recursive(st.text(max_size=10) | st.integers() | st.none(), st.lists, max_leaves=5))
    @example(["</script><script>", "\u2028", "{{ 7*7 }}", "{% raw %}", "{# #}"])
    @settings(max_examples=60)
    def test_script_json_reads_back_and_ends_nothing(self, value: object) -> None:
        text = script_json({"key": value})
        assert json.loads(text) == {"key": value}
        for sign in ("<", ">", "&", "{{", "{%", "{#", "\u2028"):
            assert sign not in text
        assert text.isascii()

    def test_direction_marks_and_controls_are_taken_out(self) -> None:
        assert plain_text("a\u202eb\u2066c\u200fd") == "abcd"
        assert plain_text("a\x00b\x1b[1m") == "a b [1m"
        assert plain_text("Straße 4 – 東") == "Straße 4 – 東"

    def test_missing(self) -> None:
        assert [is_missing(v) for v in (None, pd.NA, pd.NaT, np.nan)] == [True] * 4
        assert [is_missing(v) for v in ("", 0, False, "nan")] == [False] * 4
