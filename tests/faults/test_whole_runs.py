"""Whole runs that are stopped, killed, or starved of room, and the run after them."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

import pytest

from riskmap.publish.outputs import OUTPUTS
from riskmap.results.folder import read_mark
from riskmap.results.swap import result_folder
from riskmap.stages.order import STAGES

if os.name != "posix":
    pytest.skip("kill -9 and its like are of POSIX systems", allow_module_level=True)

import resource

pytestmark = pytest.mark.slow

SECONDS = 300.0
NO_LIMITS: Final[Mapping[str, int]] = MappingProxyType({})
STOPPED = "Nothing half-written is left; results are whole."


class Command:
    """The command line in a process of its own, to be stopped when it has got somewhere."""

    def __init__(
        self, *words: object, limits: Mapping[str, int] = NO_LIMITS, **environment: str
    ) -> None:
        def prepare() -> None:
            signal.signal(signal.SIGINT, signal.default_int_handler)
            for kind, most in limits.items():
                resource.setrlimit(getattr(resource, kind), (most, most))

        self.process = subprocess.Popen(
            [sys.executable, "-m", "riskmap.cli", *map(str, words)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            env=os.environ | environment,
            restore_signals=True,
            preexec_fn=prepare,
        )

    def until(self, stage: str) -> None:
        """Wait for the line that says that a stage is done."""
        assert self.process.stderr is not None
        lines = iter(self.process.stderr.readline, "")
        assert any(line.startswith(stage) for line in lines), f"never got to: {stage}"

    def end(self, number: int = 0) -> tuple[int, list[str]]:
        """Send a signal, if any; give the exit code and what was said since."""
        if number:
            self.process.send_signal(number)
        said = self.process.communicate(timeout=SECONDS)[1]
        return self.process.returncode, [line for line in said.splitlines() if line]


Start = Callable[..., Command]


@pytest.fixture
def start() -> Iterator[Start]:
    begun: list[Command] = []

    def start_one(*words: object, **given: Any) -> Command:
        begun.append(Command(*words, **given))
        return begun[-1]

    yield start_one
    for command in begun:
        command.process.kill()
        command.process.communicate()


@pytest.fixture(scope="module")
def county(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A county as ``riskmap demo`` leaves it when it is stopped in the midst of its run."""
    place = tmp_path_factory.mktemp("demo")
    where = ["--county", place / "county", "--out", place / "result", "--parcels", 100]
    command = Command("demo", *where)
    command.until("read parcels")
    code, said = command.end(signal.SIGTERM)
    assert code == 143
    assert said[-1] == f"Stopped by a request to end. {STOPPED}"
    assert not [line for line in said[:-1] if not line.endswith(" s")]
    assert [path.name for path in place.iterdir()] == ["county"]
    assert read_mark(place / "county") is not None
    region = place / "county" / "region.toml"
    region.write_text(region.read_text() + "\n[run]\ndraws = 0\n")
    return place / "county"


def filled_in(target: Path) -> None:
    """Lay an earlier result down in which somebody filled in the list."""
    with result_folder(target, tell=str) as part:
        (part / "lists").mkdir()
        (part / "lists" / "inspections.xlsx").write_text("as written")
    (target / "lists" / "inspections.xlsx").write_text("filled in")


def test_ctrl_c_while_the_demo_makes_its_county(start: Start, tmp_path: Path) -> None:
    where = ["--county", tmp_path / "county", "--out", tmp_path / "result"]
    command = start("demo", *where, "--parcels", 2_000)
    while not list(tmp_path.glob(".county.riskmap/part/*")):
        assert command.process.poll() is None
    code, said = command.end(signal.SIGINT)
    assert code == 130
    assert said == [f"Stopped by Ctrl-C. {STOPPED}"]
    assert list(tmp_path.iterdir()) == []


def test_ctrl_c_in_the_midst_of_a_run(start: Start, county: Path, tmp_path: Path) -> None:
    command = start("run", county / "region.toml", "--out", tmp_path / "result")
    command.until("assess failure")
    code, said = command.end(signal.SIGINT)
    assert code == 130
    assert said[-1] == f"Stopped by Ctrl-C. {STOPPED}"
    assert list(tmp_path.iterdir()) == []


def test_kill_9_and_the_run_after_it(start: Start, county: Path, tmp_path: Path) -> None:
    """The run after it has no folder for temporary files, and finds what people filled in."""
    target = tmp_path / "result"
    filled_in(target)
    words = ("run", county / "region.toml", "--out", target)
    killed = start(*words)
    killed.until("score and rank")
    assert killed.end(signal.SIGKILL)[0] == -signal.SIGKILL
    assert (target / "lists" / "inspections.xlsx").read_text() == "filled in"

    code, said = start(*words, TMPDIR="/nowhere", HOME="/nowhere").end()
    assert code == 0, said
    told = "\n".join(said)
    assert f"an earlier run ended before its time (process {killed.process.pid} on" in told
    kept = tmp_path / f"result kept {date.today()}"
    assert f"Kept in {kept}: lists/inspections.xlsx." in told
    assert (kept / "lists" / "inspections.xlsx").read_text() == "filled in"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["result", kept.name]
    place = f"{kept.name}/lists/inspections.xlsx"
    assert json.loads((target / "run.json").read_text())["kept"] == [place]
    assert f"<li>{place}</li>" in (target / "index.html").read_text()


def test_kill_9_after_every_stage(start: Start, county: Path, tmp_path: Path) -> None:
    """The earlier result stands after each; what comes of it is that of an undisturbed run."""
    place = shutil.copytree(county, tmp_path / "county", ignore=shutil.ignore_patterns(".riskmap"))
    target, undisturbed = tmp_path / "result", tmp_path / "undisturbed"
    filled_in(target)
    script = Path(__file__).with_name("kill_every_stage.py")
    command = [sys.executable, str(script), str(place / "region.toml"), str(target)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=2 * SECONDS)
    assert done.returncode == 0, done.stderr
    killed_after = done.stdout.splitlines()
    assert {stage.name for stage in STAGES} <= set(killed_after)
    assert len(set(killed_after) & {output.name for output in OUTPUTS}) > 12

    code, said = start("run", county / "region.toml", "--out", undisturbed).end()
    assert code == 0, said
    marks = read_mark(target), read_mark(undisturbed)
    assert marks[0] is not None
    assert marks[1] is not None
    files, same = marks[0]["files"], marks[1]["files"]
    assert files.keys() == same.keys()
    assert {name for name in files if files[name] != same[name]} <= {"run.json", "index.html"}


@pytest.mark.skipif(sys.platform != "linux", reason="limits of memory differ elsewhere")
@pytest.mark.parametrize("kind", ["RLIMIT_AS", "RLIMIT_DATA"])
def test_a_county_is_run_in_2_gb(start: Start, county: Path, tmp_path: Path, kind: str) -> None:
    """By what a process may reserve (``ulimit -v``), and by what it may fill."""
    place = shutil.copytree(county, tmp_path / "county", ignore=shutil.ignore_patterns(".riskmap"))
    words = ("run", place / "region.toml", "--out", tmp_path / "result")
    code, said = start(*words, limits={kind: 2 << 30}).end()
    assert code == 0, said


def test_a_disk_that_fills(
    start: Start, county: Path, disk: Callable[..., Path], tmp_path: Path
) -> None:
    place = disk("small", "size=2400k")
    filled_in(place / "result")
    code, said = start("run", county / "region.toml", "--out", place / "result").end()
    assert code == 2
    assert "OutputError" in said[-1]
    assert "the disk is full" in said[-1]
    assert "what was there is untouched" in said[-1]
    assert (place / "result" / "lists" / "inspections.xlsx").read_text() == "filled in"
    assert [path.name for path in place.iterdir()] == ["result"]


def test_an_untouched_county_is_made_anew(county: Path, tmp_path: Path) -> None:
    """The folder that the demo made is known by its mark; what was changed in it is kept."""
    place = shutil.copytree(county, tmp_path / "county")
    mark = read_mark(place)
    assert mark is not None
    assert mark["riskmap"] == "sample county 1"
    with result_folder(place, tell=str, kind="sample county 1"):
        pass
    (kept,) = tmp_path.glob("county kept *")
    assert [path.name for path in kept.iterdir()] == ["region.toml"]
