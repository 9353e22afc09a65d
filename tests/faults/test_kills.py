"""Processes that are killed, stopped, or meet each other: nothing lost, nothing left behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest

from riskmap.contract.errors import OutputError
from riskmap.results.folder import MARK, read_mark
from riskmap.results.lock import run_lock
from riskmap.results.swap import result_folder, settle_leftovers

if os.name != "posix":
    pytest.skip("kill -9 and its like are of POSIX systems", allow_module_level=True)

SCRIPT = Path(__file__).with_name("kill_every_step.py")
WRITER = """
import sys, time
from pathlib import Path
from riskmap.ending import run_to_end
from riskmap.results.swap import result_folder

def write():
    for number in range(int(sys.argv[2])):
        with result_folder(Path(sys.argv[1]), tell=sys.stderr.write) as part:
            for name in range(5):
                (part / f"{name}.txt").write_text(f"{number} {name}")
            if number == 0:
                print("writing", flush=True)
                time.sleep(float(sys.argv[3]))
    return 0

sys.exit(run_to_end(write))
"""
SECONDS = 60.0


class Writer:
    """A process that writes results, as many as it is told, and waits in the midst of the first."""

    def __init__(self, target: Path, *, results: int = 1, wait_s: float = SECONDS) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(target), str(results), str(wait_s)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert self.process.stdout is not None
        assert self.process.stdout.readline() == "writing\n"

    def end(self, number: int) -> tuple[int, str]:
        """Send a signal; give the exit code and what was said."""
        self.process.send_signal(number)
        _, said = self.process.communicate(timeout=SECONDS)
        return self.process.returncode, said


Start = Callable[..., Writer]


@pytest.fixture
def start() -> Iterator[Start]:
    begun: list[Writer] = []

    def start_one(target: Path, **given: float) -> Writer:
        begun.append(Writer(target, **given))
        return begun[-1]

    yield start_one
    for writer in begun:
        writer.process.kill()
        writer.process.communicate()


def silent(text: str) -> None:
    raise AssertionError(f"nothing is to be told here: {text}")


def write(target: Path, *, tell: Callable[[str], object] = silent) -> None:
    with result_folder(target, tell=tell) as part:
        (part / "page").write_text("here")


@pytest.mark.slow
def test_every_instant_of_a_run_can_be_its_last(quick: Path) -> None:
    """Hundreds of kills, one before each step on the disk; see the script."""
    done = subprocess.run(
        [sys.executable, str(SCRIPT), str(quick)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    tried = dict(line.split(": ") for line in done.stdout.splitlines())
    assert set(tried) == {"nothing", "untouched", "filled in", "killed twice"}
    assert int(tried["nothing"]) > 20
    assert int(tried["filled in"]) > 40
    assert int(tried["killed twice"]) > 200


def test_kill_9_at_any_moment(start: Start, quick: Path) -> None:
    """A process that writes result after result, killed from outside."""
    target = quick / "result"
    start(target, wait_s=0).process.wait()
    for moment in range(8):
        writer = start(target, results=10_000, wait_s=0)
        time.sleep(0.013 * moment)
        assert writer.end(signal.SIGKILL)[0] == -signal.SIGKILL
        settle_leftovers(target, tell=str)
        assert [path.name for path in quick.iterdir()] == ["result"]
        pages = sorted(path.read_text() for path in target.glob("*.txt"))
        number = pages[0].split()[0]
        assert pages == [f"{number} {name}" for name in range(5)]
        assert read_mark(target) is not None


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (signal.SIGINT, "Stopped by Ctrl-C."),
        (signal.SIGTERM, "Stopped by a request to end."),
        (signal.SIGHUP, "Stopped by the end of its terminal."),
    ],
)
def test_a_signal_ends_in_one_line(start: Start, quick: Path, number: int, words: str) -> None:
    target = quick / "deep" / "result"
    code, said = start(target).end(number)
    assert code == 128 + number
    assert said.strip().splitlines() == [
        f"{words} Nothing half-written is left; results are whole."
    ]
    assert list(quick.iterdir()) == []


def test_a_stopped_run_leaves_the_earlier_result(start: Start, quick: Path) -> None:
    write(quick / "result")
    start(quick / "result").end(signal.SIGTERM)
    assert (quick / "result" / "page").read_text() == "here"
    assert [path.name for path in quick.iterdir()] == ["result"]


class TestTwoRuns:
    def test_the_second_is_told_who_is_running(self, start: Start, quick: Path) -> None:
        target = quick / "result"
        write(target)
        first = start(target)
        with pytest.raises(OutputError) as caught:
            write(target)
        said = str(caught.value)
        assert f"another run is writing there (process {first.process.pid} on " in said
        assert f"since {date.today()}" in said
        settle_leftovers(target, tell=silent)
        assert (target / "page").read_text() == "here"
        assert (quick / ".result.riskmap" / "part").is_dir()
        write(quick / "another")

    def test_a_dead_run_holds_nothing_up(self, start: Start, quick: Path) -> None:
        target = quick / "result"
        dead = start(target)
        dead.end(signal.SIGKILL)
        assert [path.name for path in quick.iterdir()] == [".result.riskmap"]
        told: list[str] = []
        write(target, tell=told.append)
        assert f"an earlier run ended before its time (process {dead.process.pid} on " in told[0]
        assert told[0].endswith("what it left is cleared away.")
        assert [path.name for path in quick.iterdir()] == ["result"]

    def test_a_lock_taken_while_it_was_given_back_is_none(self, quick: Path) -> None:
        """Whoever waited at a lock file that is then deleted must not think that it holds one."""
        lock = quick / "work" / "lock"
        code = (
            "import sys; from pathlib import Path; from riskmap.results.lock import run_lock\n"
            "for _ in range(300):\n"
            "    try:\n"
            "        with run_lock(Path(sys.argv[1])):\n"
            "            Path(sys.argv[2]).mkdir(); Path(sys.argv[2]).rmdir()\n"
            "    except Exception as error:\n"
            "        if type(error).__name__ != 'BusyError': raise\n"
        )
        command = [sys.executable, "-c", code, str(lock), str(quick / "alone")]
        crowd = [subprocess.Popen(command, stderr=subprocess.PIPE, text=True) for _ in range(4)]
        assert [one.communicate()[1] for one in crowd] == [""] * 4
        assert list(quick.iterdir()) == []

    def test_the_lock_says_who_never_gave_it_back(self, quick: Path) -> None:
        with run_lock(quick / "work" / "lock") as before:
            assert before == ""
            kept = (quick / "work" / "lock").read_text()
        (quick / "work").mkdir()
        (quick / "work" / "lock").write_text(kept)
        with run_lock(quick / "work" / "lock") as before:
            assert before == kept.strip()


def test_the_mark_is_the_last_that_is_written(start: Start, quick: Path) -> None:
    start(quick / "result")
    assert not (quick / ".result.riskmap" / "part" / MARK).exists()
