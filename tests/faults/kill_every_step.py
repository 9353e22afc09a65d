"""Ends a process that writes a result, before every single step it takes on the disk.

``python kill_every_step.py FOLDER`` writes how many instants were tried. Python reports each step
on files as an audit event before it is taken; at the n-th one the process ends as by kill -9:
nothing is cleaned up, nothing flushed. What lies there then is held against what may, and so is
what the next run makes of it. Killing is then done again within that next run.
"""

from __future__ import annotations

import os
import shutil
import sys
import traceback
from collections.abc import Callable
from datetime import date
from pathlib import Path

from riskmap.results.folder import MARK, read_mark
from riskmap.results.swap import result_folder, settle_leftovers

KILLED = 137
NAMES = ("index.html", "lists/inspections.xlsx", "lists/mailing.csv")
MINE = {"lists/inspections.xlsx": "filled in", "notes.txt": "call the owner"}
KEPT = f"result kept {date.today()}"


def silent(text: str) -> None:
    del text


def write(target: Path, word: str) -> None:
    with result_folder(target, tell=silent) as part:
        for name in NAMES:
            path = part / name
            path.parent.mkdir(exist_ok=True)
            path.write_text(f"{word} {name}")


def in_child(work: Callable[[], None], base: Path, *, die_at: int = 0) -> int:
    """Do the work in a process of its own; end it before its n-th step below `base`."""
    child = os.fork()
    if child:
        return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    steps = 0

    def count(event: str, given: tuple[object, ...]) -> None:
        nonlocal steps
        paths = (os.fspath(arg) for arg in given if isinstance(arg, str | Path))
        if any(path.startswith(str(base)) for path in paths) or event == "fcntl.flock":
            steps += 1
            if steps == die_at:
                os._exit(KILLED)

    code = 0
    try:
        sys.addaudithook(count)
        work()
    except BaseException:
        traceback.print_exc()
        code = 1
    os._exit(code)


def content(folder: Path) -> dict[str, str] | None:
    """Every file but the mark; None if there is no folder."""
    if not folder.exists():
        return None
    files = (path for path in folder.rglob("*") if path.is_file() and path.name != MARK)
    return {path.relative_to(folder).as_posix(): path.read_text() for path in files}


def written(word: str) -> dict[str, str]:
    return {name: f"{word} {name}" for name in NAMES}


def require_nothing_lost(base: Path, earlier: dict[str, str]) -> None:
    """Right after a kill: a whole result stands there or waits for its place, and what people made.

    Between the two renames of a swap the place is empty; both results lie whole beside it then.
    """
    new = written("second")
    now = content(base / "result")
    if now is None and earlier:
        work = base / ".result.riskmap"
        assert content(work / "earlier") == earlier
        assert read_mark(work / "part") is not None
        assert content(work / "part") == new
    else:
        assert now in ([earlier, new] if earlier else [None, new]), now
    for name in earlier.keys() & MINE.keys():
        if earlier[name] == MINE[name]:
            places = base.rglob(Path(name).name)
            assert any(place.read_text() == MINE[name] for place in places), name


def require_in_order(base: Path, expected: dict[str, str], earlier: dict[str, str]) -> None:
    """After the next run: its result, what people had made, and nothing else."""
    mine = "notes.txt" in earlier
    assert content(base / "result") == expected
    assert sorted(path.name for path in base.iterdir()) == ["result", *([KEPT] if mine else [])]
    if mine:
        assert content(base / KEPT) == MINE
        assert sorted(path.name for path in (base / KEPT).iterdir()) == ["lists", "notes.txt"]


def start(base: Path, kind: str) -> dict[str, str]:
    """Lay out what stands at the target before; returns its files."""
    shutil.rmtree(base, ignore_errors=True)
    base.mkdir()
    target = base / "result"
    if kind == "nothing":
        return {}
    write(target, "first")
    if kind == "filled in":
        for name, text in MINE.items():
            (target / name).write_text(text)
    return content(target) or {}


def try_every_instant(base: Path, kind: str) -> int:
    """Kill at the first step, the second, ... until the run gets through; then run again."""
    base = base / "once"
    for step in range(1, 10_000):
        earlier = start(base, kind)
        ended = in_child(lambda: write(base / "result", "second"), base, die_at=step)
        require_nothing_lost(base, earlier)
        assert in_child(lambda: write(base / "result", "third"), base) == 0
        require_in_order(base, written("third"), earlier)
        if ended == 0:
            return step - 1
        assert ended == KILLED
    raise AssertionError("the run has no end")


def try_every_pair(base: Path, kind: str) -> int:
    """Kill the run at each step of the swap, and what puts things in order at each step of that."""
    once, twice = base / "once", base / "twice"

    def put_in_order() -> None:
        settle_leftovers(twice / "result", tell=silent)

    tried, ended, step = 0, KILLED, 0
    while ended == KILLED:
        step += 1
        earlier = start(once, kind)
        ended = in_child(lambda: write(once / "result", "second"), once, die_at=step)
        work = once / ".result.riskmap"
        if not ((work / "part" / MARK).exists() or (work / "earlier").exists()):
            continue  # the swap has not begun or is over: tried singly
        again, second = KILLED, 0
        while again == KILLED:
            second += 1
            shutil.rmtree(twice, ignore_errors=True)
            shutil.copytree(once, twice, symlinks=True)
            again = in_child(put_in_order, twice, die_at=second)
            require_nothing_lost(twice, earlier)
            assert in_child(put_in_order, twice) == 0
            require_in_order(twice, written("second"), earlier)
            tried += 1
    return tried


if __name__ == "__main__":
    place = Path(sys.argv[1])
    for kind in ("nothing", "untouched", "filled in"):
        sys.stdout.write(f"{kind}: {try_every_instant(place, kind)}\n")
    sys.stdout.write(f"killed twice: {try_every_pair(place, 'filled in')}\n")
