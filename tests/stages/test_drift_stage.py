"""A run held against an earlier one, read back from the files that a run writes."""

from __future__ import annotations

from dataclasses import asdict, replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from riskmap.cli import main
from riskmap.contract.errors import RegionError
from riskmap.publish.gis.files import write_gis_files
from riskmap.publish.run_record import write_record
from riskmap.ranking.drift import CAUSES
from riskmap.ranking.model import SCORES
from riskmap.ranking.score import score
from riskmap.stages.drift import CountyDrift, aged_inventory, compare_with_earlier, read_earlier
from riskmap.stages.result import Result

DAY = date(2026, 6, 1)


@pytest.fixture(scope="module")
def earlier_folder(assessed: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The files of a run that :func:`read_earlier` reads, made by the same writers."""
    folder = tmp_path_factory.mktemp("earlier")
    write_gis_files(folder, assessed.parcels)
    margin = assessed.field_margin.margin
    settings = {
        "in_force": {"county": {"date": DAY}},
        "model": asdict(assessed.model),
        "field_margin": margin,
    }
    write_record(folder, {"settings": settings})
    return folder


def compared(assessed: Result, folder: Path, now: pd.DataFrame, **changes: object) -> CountyDrift:
    model = changes.pop("model", assessed.model)
    region = replace(
        assessed.region,
        lists=replace(assessed.region.lists, inspections=40),
        county=replace(assessed.region.county, **changes),  # type: ignore[arg-type]
    )
    county = replace(assessed.county, region=region)
    found = compare_with_earlier(county, read_earlier(folder), now, model)  # type: ignore[arg-type]
    assert found is not None
    return found


def test_the_model_comes_back_from_the_record(assessed: Result, earlier_folder: Path) -> None:
    earlier = read_earlier(earlier_folder)
    assert earlier.model == assessed.model
    assert earlier.date == DAY
    assert set(earlier.parcels.index) == set(assessed.parcels.index)


def test_the_same_run_again_changes_nothing(
    assessed: Result, features: pd.DataFrame, earlier_folder: Path
) -> None:
    found = compared(assessed, earlier_folder, features)
    assert len(found.changes) == features["rank"].notna().sum()
    assert found.changes[["change", *CAUSES]].abs().max(axis=None) == 0
    assert found.changes["status"].eq("").all()
    assert (found.changes["rank_before"] == found.changes["rank_after"]).all()


def test_two_years_without_news_are_all_time(
    assessed: Result, features: pd.DataFrame, earlier_folder: Path
) -> None:
    """The stage's own aging of the records is what a later run makes of the same records."""
    later = replace(assessed.region, county=replace(assessed.region.county, date=date(2028, 6, 1)))
    years = (later.county.date - DAY).days / 365.25
    margin = assessed.field_margin.margin
    now = aged_inventory(features[features["rank"].notna()], years, later, margin=margin)
    assert (now["age_yr"] - features.loc[now.index, "age_yr"]).dropna().round(3).eq(2.001).all()
    worn = now["reserve_frac"] - features.loc[now.index, "reserve_frac"]
    assert (worn.dropna() <= 1e-9).all()
    assert (worn < -0.001).any()
    found = compared(assessed, earlier_folder, now, date=later.county.date)
    moves = found.drift.moves
    assert np.allclose(moves["time"], moves["change"], atol=1e-9)
    assert moves["time"].gt(0.1).mean() > 0.3
    assert "time passed (100%" in " ".join(found.words)


def test_parts_of_a_mixed_change_add_up_and_match_the_published_priorities(
    assessed: Result, features: pd.DataFrame, earlier_folder: Path
) -> None:
    model = assessed.model.with_weights({"age": 9.0, "well_distance": 20.0})
    now = features.drop(index=features.index[features["rank"].notna()][:3]).copy()
    rows = now.index[now["rank"].notna()]
    now.loc[rows[::5], "age_yr"] = 1.0
    now["priority"] = score(now, model).scores["priority"]
    found = compared(assessed, earlier_folder, now, model=model)
    table = found.changes
    assert (table["status"] == "ranked in the earlier run only").sum() == 3
    known = table[table["change"].notna()]
    assert np.allclose(known[list(CAUSES)].sum(axis=1), known["change"], atol=3e-3)
    # published priorities are sums of rounded points: equal within their rounding
    before = assessed.parcels.loc[known.index, "priority"]
    assert np.allclose(known["priority_before"], before, atol=0.05)
    assert np.allclose(known["priority_after"], now.loc[known.index, "priority"], atol=0.05)
    scores = sum(
        model.share(kind) * score(now, model).scores.loc[known.index, f"{kind}_score"]
        for kind in SCORES
    )
    assert np.allclose(known["scores_after"], scores, atol=0.05)
    old = rows[::5][(features.loc[rows[::5], "age_yr"] > 12).to_numpy(bool)]
    assert (known.loc[old, "data"] < 0).all()
    assert table["change"].abs().iloc[3:].is_monotonic_decreasing


def test_a_column_that_the_earlier_run_did_not_have_is_a_change_of_records(
    assessed: Result, features: pd.DataFrame, earlier_folder: Path, tmp_path: Path
) -> None:
    old = pd.read_parquet(earlier_folder / "parcels.parquet").drop(columns=["nitrate_given_mg_l"])
    old.drop(columns=["geometry", "bbox"]).to_parquet(tmp_path / "parcels.parquet")
    (tmp_path / "run.json").write_bytes((earlier_folder / "run.json").read_bytes())
    found = compared(assessed, tmp_path, features)
    parts = found.drift.parts
    assert set(parts.index.get_level_values("factor")) == {"nitrate_given"}
    assert parts["data"].abs().max() > 0
    assert np.allclose(parts[["time", "curves", "weights"]], 0)


def test_folders_that_are_no_result_and_later_runs_are_refused(
    assessed: Result, features: pd.DataFrame, earlier_folder: Path, tmp_path: Path
) -> None:
    with pytest.raises(RegionError, match="no result of an earlier run"):
        read_earlier(tmp_path)
    (tmp_path / "run.json").write_text("{}", encoding="utf-8")
    with pytest.raises(RegionError, match="no result of an earlier run"):
        read_earlier(tmp_path)
    with pytest.raises(RegionError, match="Name an earlier one"):
        compared(assessed, earlier_folder, features, date=date(2020, 1, 1))


def test_run_before_writes_the_changes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    county, first, second = (tmp_path / name for name in ("c", "first", "second"))
    assert main(["demo", "--out", str(first), "--county", str(county), "--parcels", "150"]) == 0
    region = county / "region.toml"
    text = region.read_text(encoding="utf-8")
    region.write_text(text.replace("date = 2026-06-01", "date = 2027-06-01"), encoding="utf-8")
    options = ["--out", str(second), "--before", str(first), "--quiet"]
    assert main(["run", str(region), *options]) == 0
    changes = pd.read_csv(second / "lists" / "changes.csv", dtype={"parcel_id": str})
    listed = pd.read_csv(second / "lists" / "inspections.csv", dtype={"parcel_id": str})
    assert set(listed["parcel_id"]) <= set(changes["parcel_id"])
    assert np.allclose(changes[list(CAUSES)].sum(axis=1), changes["change"].fillna(0), atol=3e-3)
    assert changes["time"].gt(0).mean() > 0.5
    report = (second / "report" / "index.html").read_text(encoding="utf-8")
    assert "What changed since the last run" in report
    assert "Compared with the run for 2026-06-01 (1.0 years before)." in report
    assert not (first / "lists" / "changes.csv").exists()
    missing = ["run", str(region), "--out", str(second), "--before", str(tmp_path / "none")]
    assert main(missing) == 2
    assert "no result of an earlier run" in capsys.readouterr().err
