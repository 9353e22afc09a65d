"""Keys spelled in two ways are found, never one for another."""

from __future__ import annotations

import pandas as pd
import pytest

from data_pipelines.cross_keys import POINTERS, respell
from data_pipelines.defect_log import DefectLog
from data_pipelines.keys import count_matches, find_keys
from riskmap.contract.layers import LAYERS

PARCELS = pd.Series([f"{book}-{page:02d}-{lot:04d}" for book in (13, 14) for page in (5, 25)
                     for lot in range(300, 330)], dtype="string")  # fmt: skip
"""120 parcel numbers as an assessor writes them."""


@pytest.mark.parametrize(
    "written",
    [
        lambda key: key.replace("-", ""),
        lambda key: key.replace("-", "") + ".0",
        lambda key: key.replace("-", " "),
        lambda key: f" {key} ",
        lambda key: "-".join(part.lstrip("0") for part in key.split("-")),
        lambda key: key.replace("-", ".").lower(),
    ],
    ids=["no signs", "as a number", "blanks", "padded", "no zeros", "dots"],
)
def test_every_other_spelling_is_found_as_the_same_parcel(written) -> None:
    """Enumeration: all 120 keys, each against its own."""
    found = find_keys(PARCELS.map(written), PARCELS)
    assert found.keys.tolist() == PARCELS.tolist()


def test_a_key_that_two_could_mean_is_not_found() -> None:
    known = pd.Series(["1-123", "11-23", "2-456"])
    found = find_keys(pd.Series(["1123", "2456", None]), known)
    assert found.keys.fillna("").tolist() == ["1123", "2-456", ""]


def test_counts_are_those_of_the_distinct_keys() -> None:
    keys = pd.Series(["13250300", "13250300", "13-25-0301", "99-99-9999", None])
    assert tuple(count_matches(keys, PARCELS)) == (3, 1, 1)


def test_what_was_respelled_and_what_joins_nothing_is_told() -> None:
    permits = pd.DataFrame({"parcel_id": ["13250316", "13-25-0317", "77", None]}, index=[*"abcd"])
    log = DefectLog("permits")
    frame = respell(permits, POINTERS[0], PARCELS, log)
    assert frame["parcel_id"].fillna("").tolist() == ["13-25-0316", "13-25-0317", "77", ""]
    told = log.table().set_index("check")
    assert told.loc["other_spelling", "row"] == "a"
    assert told.loc["not_in_parcels", "value"] == "77"


def test_pointers_are_declared_columns() -> None:
    for pointer in POINTERS:
        assert pointer.column in LAYERS[pointer.layer].column_names
        assert LAYERS[pointer.to].key == pointer.column
