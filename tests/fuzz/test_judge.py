"""The judge of the fuzz sees what it is there to see: it can fail."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest

from riskmap.contract.errors import LayerError, RegionError
from tests.fuzz import judge
from tests.fuzz.blows import strike
from tests.fuzz.damage import Blow
from tests.fuzz.judge import Hang, faults, read
from tests.fuzz.targets import Keeps, Outcome, Target

TABLE = b"id,n\na,1\nb,2\nc,3\n"
SECOND_ROW = Blow("hostile cell", 0.5, 0.9, 3)


def target(read_rows: Callable[[Path], Outcome], keeps: Keeps = "rows") -> Target:
    return Target({"t.csv": TABLE}, "t.csv", "text", read_rows, keeps)


def rows(table: bytes) -> dict[str, object]:
    """Lines of a table by their number."""
    lines = table.decode().splitlines()[1:]
    return {str(number): line for number, line in enumerate(lines, start=1)}


def rows_in(place: Path) -> dict[str, object]:
    return rows((place / "t.csv").read_bytes())


def judged(
    read_rows: Callable[[Path], Outcome], tmp_path: Path, keeps: Keeps = "rows"
) -> list[str]:
    """Faults found in a reader's outcome for a table whose second row was struck."""
    one = target(read_rows, keeps)
    damaged = strike(one.files, one.main, [SECOND_ROW])
    sound = Outcome(rows(TABLE), frozenset())
    return faults(one, sound, damaged, read(one, damaged.files, tmp_path / "case"))


def test_an_honest_reader_has_no_fault(tmp_path: Path) -> None:
    assert judged(lambda place: Outcome(rows_in(place), frozenset()), tmp_path) == []


@pytest.mark.parametrize("keeps", ["rows", "count"])
def test_a_row_lost_in_silence(tmp_path: Path, keeps: Keeps) -> None:
    def lossy(place: Path) -> Outcome:
        found = rows_in(place)
        del found["2"]
        return Outcome(found, frozenset())

    assert judged(lossy, tmp_path, keeps) == ["rows lost: 3 in, 2 out or told"]
    told = judged(lambda place: Outcome(lossy(place).rows, frozenset({"2"})), tmp_path, keeps)
    counted = judged(lambda place: Outcome(lossy(place).rows, frozenset(), 1), tmp_path, keeps)
    assert told == counted == []


def test_a_value_shifted_in_silence(tmp_path: Path) -> None:
    def shifting(place: Path) -> Outcome:
        found = rows_in(place)
        return Outcome(found | {"3": "c,2"}, frozenset())

    assert judged(shifting, tmp_path) == ["untouched rows changed or lost: 3"]


def test_an_error_that_says_too_little(tmp_path: Path) -> None:
    def refuse(error: Exception) -> list[str]:
        def reader(_: Path) -> Outcome:
            raise error

        return judged(reader, tmp_path)

    assert refuse(LayerError("wells", "it is cut.", "Fetch it again.")) == []
    assert refuse(LayerError("wells", "it is cut.", "")) == ["error without cure"]
    assert refuse(RegionError("no")) == ["error says too little: no"]
    with pytest.raises(ZeroDivisionError):
        refuse(ZeroDivisionError())


def test_a_hang_and_a_glutton(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def sleeper(_: Path) -> Outcome:
        time.sleep(30)
        return Outcome({}, frozenset())

    monkeypatch.setattr(judge, "LONGEST_S", 0.2)
    with pytest.raises(Hang):
        judged(sleeper, tmp_path)
    monkeypatch.setattr(judge, "LONGEST_S", 20.0)
    monkeypatch.setattr(judge, "MOST_MB", -1)
    with pytest.raises(AssertionError, match="MB for one small file"):
        judged(lambda place: Outcome(rows_in(place), frozenset()), tmp_path)
