"""Sewer or onsite on a sample county: records are hidden, what is inferred is held against them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from riskmap.inventory.service import NO_SEWER_MAP
from riskmap.stages.county import County
from riskmap.stages.result import Result
from riskmap.stages.service import CONFIDENCE, fill_service, service_numbers


@pytest.fixture(scope="module")
def county(assessed: Result) -> County:
    """The sample county without a sewer map."""
    tables = {k: v for k, v in assessed.county.tables.items() if k != "sewer_area"}
    return replace(assessed.county, tables=tables)


@pytest.fixture(scope="module")
def truth(assessed: Result) -> pd.DataFrame:
    """The inventory with sewered and onsite parcels as if the county had them on record."""
    table = assessed.things["described"].copy()
    built = table["service"].isin(["onsite", "sewer"])
    table.loc[built, "service_evidence"] = "measured"
    return table


def hidden(truth: pd.DataFrame, share: float) -> pd.DataFrame:
    table = truth.copy()
    built = truth["service"].isin(["onsite", "sewer"]).to_numpy()
    rows = built & (np.random.default_rng(4).random(len(truth)) < share)
    names = ["service", "service_evidence", "service_reason"]
    table.loc[rows, names] = ["unknown", "unknown", NO_SEWER_MAP]
    return table


def test_hidden_records_are_told_as_well_as_held_out_ones(
    county: County, truth: pd.DataFrame
) -> None:
    given = hidden(truth, 0.3)
    found, service = fill_service(county, given)
    assert service is not None
    assert service.accuracy is not None
    was_open = given["service"] == "unknown"
    told = was_open & (found["service"] != "unknown")
    right = (found["service"] == truth["service"])[told].mean()
    assert told.sum() > 0.5 * was_open.sum()
    assert right > service.accuracy.accuracy_decided - 0.05
    assert right > 0.9
    assert "91.8%" in service.words
    assert "81.9%" in service.words


def test_only_open_parcels_change_and_carry_evidence_and_confidence(
    county: County, truth: pd.DataFrame
) -> None:
    given = hidden(truth, 0.3)
    found, _ = fill_service(county, given)
    was_open = given["service"] == "unknown"
    assert found.loc[~was_open, "service"].equals(given.loc[~was_open, "service"])
    assert found.loc[~was_open, CONFIDENCE].isna().all()
    told = was_open & (found["service"] != "unknown")
    assert (found.loc[told, "service_evidence"] == "inferred").all()
    assert (found.loc[told, CONFIDENCE] >= 0.85).all()
    assert found.loc[told, "service_reason"].str.contains("% sure").all()
    left = was_open & ~told
    assert (found.loc[left, CONFIDENCE] < 0.85).all()
    assert (found.loc[left, "service_evidence"] == "unknown").all()
    assert found.index.equals(given.index)
    untouched = [c for c in given if not c.startswith(("service", "systems_"))]
    pd.testing.assert_frame_equal(found[untouched], given[untouched])


def test_density_follows_what_was_inferred(county: County, truth: pd.DataFrame) -> None:
    """Open parcels count as systems until they are known to be sewered."""
    given = hidden(truth, 0.3)
    found, _ = fill_service(county, given)
    sewered = (given["service"] == "unknown") & (found["service"] == "sewer")
    assert sewered.any()
    near = found["systems_within_229_m"]
    assert (near <= given["systems_within_229_m"] + given["service"].eq("unknown").sum()).all()
    onsite = found["service"].eq("onsite") | found["service_reason"].eq(NO_SEWER_MAP)
    points = found[["x_m", "y_m"]].to_numpy(float)
    one = int(np.flatnonzero(sewered)[0])
    away = np.hypot(*(points[onsite] - points[one]).T)
    assert near.iloc[one] == (away <= 229.0).sum()


def test_labels_nearer_than_the_gap_are_not_looked_at(county: County, truth: pd.DataFrame) -> None:
    """A whole quarter is open: its neighbors' shares must come from as far away for all."""
    table = truth.copy()
    built = table["service"].isin(["onsite", "sewer"])
    west = table["x_m"] < table["x_m"].quantile(0.3)
    table.loc[west & built, "service"] = "unknown"
    rows = table[built & table["x_m"].notna()]
    numbers = service_numbers(rows, rows["service"], county)
    points = rows[["x_m", "y_m"]].to_numpy(float)
    known = (rows["service"] != "unknown").to_numpy()
    apart = np.hypot(
        points[:, None, 0] - points[None, known, 0], points[:, None, 1] - points[None, known, 1]
    )
    gap = np.quantile(apart[~known].min(axis=1), 0.9)
    inside = (apart > gap) & (apart <= gap + 1000.0)
    onsite = rows["service"].eq("onsite").to_numpy()[known]
    share = (inside * onsite).sum(axis=1) / np.where(inside.any(axis=1), inside.sum(axis=1), np.nan)
    assert np.allclose(numbers["onsite_to_1000_m_frac"], share, equal_nan=True)


def test_nothing_open_and_too_few_labels(
    assessed: Result, county: County, truth: pd.DataFrame
) -> None:
    found, service = fill_service(county, truth)
    assert service is None
    assert found is truth
    assert assessed.service is None
    given = hidden(truth, 0.3)
    bare = given[~given["service"].eq("sewer")]
    found, service = fill_service(county, bare)
    assert service is not None
    assert service.accuracy is None
    assert "was not inferred" in service.words
    assert found is bare
    off = replace(county.region, learning=replace(county.region.learning, service="off"))
    assert fill_service(replace(county, region=off), given)[1] is None
