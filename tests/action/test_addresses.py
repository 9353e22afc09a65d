from __future__ import annotations

import re

from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.action.addresses import delivery_line, last_line, site_address
from riskmap.action.postal_words import DIRECTIONS, STATES, SUFFIXES, UNITS

WORDS = st.sampled_from(
    [*SUFFIXES, *DIRECTIONS, *UNITS, "OAK", "#", "4", "12-B", "BOX", "PO", "RR", "of", "the", "1/2"]
)


class TestProperties:
    @given(st.text(max_size=80))
    @settings(max_examples=60)
    def test_only_postal_characters_come_out(self, text: str) -> None:
        assert re.fullmatch(r"[A-Z0-9#/ \-]*", delivery_line(text))
        assert re.fullmatch(r"[A-Z0-9#/ \-]*", site_address(text, text).last)

    @given(st.integers(1, 9999), st.lists(WORDS, min_size=1, max_size=6))
    @settings(max_examples=60)
    def test_no_word_is_lost(self, number: int, words: list[str]) -> None:
        postal = delivery_line(f"{number} {' '.join(words)}")
        assert postal.split()[0] == str(number)
        digits = re.sub(r"\D", "", " ".join(words))
        assert re.sub(r"\D", "", postal) == f"{number}{digits}"

    @given(st.integers(1, 999), st.sampled_from(sorted(set(SUFFIXES.values()))))
    @settings(max_examples=60)
    def test_postal_form_stays_as_it_is(self, number: int, suffix: str) -> None:
        line = f"{number} N OAK {suffix} APT 2"
        assert delivery_line(line) == line
        assert delivery_line(delivery_line(line)) == line


def test_accents_and_hostile_signs() -> None:
    assert delivery_line("12 Calle Ñandú") == "12 CALLE NANDU"
    assert delivery_line('=cmd|"/c calc"!A1') == "CMD /C CALC A1"
    assert last_line("San José", "pr", "00901") == "SAN JOSE PR  00901"


def test_tables_have_no_contradiction() -> None:
    assert len(set(STATES.values())) == 50 + 1 + 5  # states, the capital's district, territories
    assert set(SUFFIXES.values()) <= set(SUFFIXES)
    assert set(UNITS.values()) <= set(UNITS)
