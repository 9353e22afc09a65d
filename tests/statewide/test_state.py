"""Many counties: one rank, one dataset, whatever the number of workers; a county that fails."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest

from riskmap.contract.errors import RegionError
from riskmap.statewide.dataset import state_ranks
from riskmap.statewide.state_file import read_state
from sample_region.make import make_county

NAMES = {1: "North (invented)", 2: "South (invented)"}


@pytest.fixture(scope="session")
def counties(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two small counties of different seeds and a file that names both."""
    folder = tmp_path_factory.mktemp("state")
    for seed, name in NAMES.items():
        make_county(folder / str(seed), parcels=100, seed=seed)
        region = folder / str(seed) / "region.toml"
        text = region.read_text("utf-8")
        first = next(line for line in text.splitlines() if line.startswith("name = "))
        region.write_text(
            text.replace(first, f'name = "{name}"')
            + '\n[run]\ndraws = 16\n[learning]\nuse = "off"\n',
            encoding="utf-8",
        )
    (folder / "state.toml").write_text(
        '[state]\nname = "Invented State"\nfirst = 50\n'
        'counties = ["1/region.toml", "2/region.toml"]\n',
        encoding="utf-8",
    )
    return folder


def command(counties: Path, out: Path, *more: str) -> list[str]:
    file = str(counties / "state.toml")
    return [sys.executable, "-m", "riskmap", "state", file, "--out", str(out), "--quiet", *more]


@pytest.fixture(scope="session")
def done(counties: Path) -> Path:
    out = counties / "out"
    ended = subprocess.run(command(counties, out, "--workers", "1"), capture_output=True, text=True)
    assert ended.returncode == 0, ended.stderr
    return out


def parcels(out: Path, county: str) -> pd.DataFrame:
    return pd.read_parquet(out / county / "parcels.parquet")


SHORT = ["north-invented", "south-invented"]


class TestTogether:
    def test_every_row_of_every_county_is_there_once(self, done: Path) -> None:
        dataset = gpd.read_parquet(done / "statewide" / "dataset")
        apart = [parcels(done, county).assign(county=county) for county in SHORT]
        assert len(dataset) == sum(map(len, apart))
        key = ["county", "parcel_id"]
        ours = dataset[key].astype(str).sort_values(key).to_numpy().tolist()
        assert ours == pd.concat(apart)[key].astype(str).sort_values(key).to_numpy().tolist()
        assert dataset.crs == "OGC:CRS84"
        assert dataset.total_bounds[0] > -180
        assert dataset.total_bounds[3] < 90

    def test_the_rank_of_all_is_that_of_one_sorted_table(self, done: Path) -> None:
        dataset = gpd.read_parquet(done / "statewide" / "dataset")
        ranked = dataset[dataset["state_rank"].notna()].sort_values("state_rank")
        assert ranked["state_rank"].tolist() == list(range(1, len(ranked) + 1))
        assert (dataset["state_rank"].notna() == dataset["rank"].notna()).all()
        by = ["priority", "failure_score", "groundwater_score"]
        rows = [tuple(row) for row in -ranked[by].to_numpy(float)]
        assert rows == sorted(rows)
        for _, own in ranked.groupby("county", observed=True):  # a county's own order stays
            assert own["rank"].is_monotonic_increasing

    def test_the_list_is_the_head_of_it(self, done: Path) -> None:
        first = pd.read_csv(done / "statewide" / "lists" / "first.csv", dtype={"parcel_id": str})
        assert first["state_rank"].tolist() == list(range(1, 51))
        assert first.columns.tolist()[:4] == ["state_rank", "county", "worklist", "list_rank"]
        assert first["reason_1"].notna().all()

    def test_catalog_and_page(self, done: Path) -> None:
        catalog = json.loads((done / "statewide" / "catalog.json").read_text("utf-8"))
        assert [part["county"] for part in catalog["parts"]] == SHORT
        for part in catalog["parts"]:
            table = pd.read_parquet(done / "statewide" / part["file"])
            assert part["rows"] == len(table)
            assert part["ranked"] == table["state_rank"].notna().sum()
        page = (done / "statewide" / "index.html").read_text("utf-8")
        assert all(name in page for name in NAMES.values())
        assert "Counties that are missing" not in page
        assert (done / "north-invented" / "index.html").is_file()

    def test_the_same_bytes_with_two_workers(self, counties: Path, done: Path) -> None:
        out = counties / "again"
        ended = subprocess.run(
            command(counties, out, "--workers", "2"), capture_output=True, text=True
        )
        assert ended.returncode == 0, ended.stderr
        for path in sorted((done / "statewide").rglob("*")):
            if path.is_file() and path.name != ".riskmap-files.json":
                other = out / "statewide" / path.relative_to(done / "statewide")
                assert other.read_bytes() == path.read_bytes(), path.name


class TestWhatGoesWrong:
    def test_a_killed_county_is_named_and_done_the_next_time(self, counties: Path) -> None:
        out = counties / "killed"
        (counties / "1" / "region.toml").touch()
        for entry in (counties / "1" / ".riskmap" / "entries").iterdir():
            (entry / "entry.json").unlink()  # so that there is something to do
        started = subprocess.Popen(
            command(counties, out, "--workers", "1"), stderr=subprocess.PIPE, text=True
        )
        child = _child_of(started.pid)
        os.kill(child, signal.SIGKILL)
        _, said = started.communicate()
        assert started.returncode == 2
        assert "north-invented was stopped from outside (signal 9)" in said
        page = (out / "statewide" / "index.html").read_text("utf-8")
        assert "Counties that are missing" in page
        assert len(gpd.read_parquet(out / "statewide" / "dataset")) == len(parcels(out, SHORT[1]))
        ended = subprocess.run(command(counties, out), capture_output=True, text=True)
        assert ended.returncode == 0, ended.stderr
        assert "Counties that are missing" not in (out / "statewide" / "index.html").read_text()

    def test_all_faults_of_a_state_file_at_once(self, counties: Path, tmp_path: Path) -> None:
        path = tmp_path / "state.toml"
        north = counties / "1" / "region.toml"
        other = tmp_path / "other.toml"
        other.write_text(
            north.read_text("utf-8").replace("[lists]", '[lists]\naim = "save stressed fields"'),
            encoding="utf-8",
        )
        path.write_text(
            f'[state]\nname = "S"\ncounties = ["{north}", "{other}", "none.toml"]\nworker = 2\n',
            encoding="utf-8",
        )
        with pytest.raises(RegionError) as caught:
            read_state(path)
        said = str(caught.value)
        assert "worker" in said
        path.write_text(path.read_text().replace("worker = 2\n", ""), encoding="utf-8")
        with pytest.raises(RegionError) as caught:
            read_state(path)
        said = str(caught.value)
        assert "none.toml: the region file cannot be read" in said
        assert "2 region files name their county 'north-invented'" in said
        assert "serve different aims" in said


def _child_of(parent: int) -> int:
    """Process number of the first child of a process, once there is one that has begun to work."""
    path = Path(f"/proc/{parent}/task")
    while True:
        for task in path.iterdir():
            children = (task / "children").read_text().split()
            if children and b"run" in Path(f"/proc/{children[0]}/cmdline").read_bytes():
                return int(children[0])
        time.sleep(0.05)


def test_without_a_county_nothing_is_ranked() -> None:
    with pytest.raises(ValueError, match="No objects to concatenate"):
        state_ranks({})
