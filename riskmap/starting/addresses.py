"""Finds a site address that stands in two columns, house number and street."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import pandas as pd

from data_pipelines.values import as_text
from riskmap.starting.aliases import NEUTRAL
from riskmap.starting.names import words_of

NUMBERS: Final = (
    "house number", "housenum", "street number", "st number", "address number", "building number"
)  # fmt: skip
STREETS: Final = ("street name", "st name", "road name", "street", "road")
OTHER: Final = ("mailing", "owner", "taxpayer", "bill", "old")
"""Words of a name that say the address is another than the site's."""
LEAST_SHAPED: Final = 0.8


def address_parts(frame: pd.DataFrame, taken: Sequence[str]) -> tuple[str, str] | None:
    """Names of the columns with house number and street; None where there are not both.

    >>> address_parts(pd.DataFrame({"HOUSE_NO": ["12"], "ST_NAME": ["Mill Rd"]}), [])
    ('HOUSE_NO', 'ST_NAME')
    """
    number = _column(frame, NUMBERS, r"^\d+\S{0,3}$", taken)
    street = _column(frame, STREETS, r"^(?!\d+\s+\S+\s+\S).*[A-Za-z]{3}", taken)
    return None if number is None or street is None else (number, street)


def _column(
    frame: pd.DataFrame, phrases: Sequence[str], shape: str, taken: Sequence[str]
) -> str | None:
    """First column that a phrase names whose cells mostly have a shape."""
    others = {word for said in OTHER for word in words_of(said)}
    for phrase in phrases:
        wanted = set(words_of(phrase))
        for name in map(str, frame.columns):
            words = set(words_of(name))
            if name in taken or words & others or words - NEUTRAL - wanted or not wanted <= words:
                continue
            text = as_text(frame[name]).dropna()
            if len(text) and text.str.contains(shape).mean() >= LEAST_SHAPED:
                return name
    return None
