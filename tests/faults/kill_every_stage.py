"""Kills a run after a stage, the next run after the next, until one gets through.

``python kill_every_stage.py REGION.toml RESULT`` writes the name of each stage after which a run
was killed; a stage that takes no time may be done before the kill comes, and is written, too. A
kill is kill -9 from another process; the runs are forked, so that only the first has
to import. Whatever the earlier result holds must stand after each kill.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterable
from pathlib import Path

from riskmap.cli import main
from riskmap.results.folder import MARK

EVERYTHING = "riskmap.publish.publishing", "riskmap.running", "riskmap.stages.order"


def begin(*words: str) -> tuple[int, int]:
    """Run a command in a process of its own; its number, and where its words can be read."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        os.close(reading)
        os.dup2(writing, 2)
        os._exit(main(words))
    os.close(writing)
    return child, reading


def kill_after_a_stage(region: str, target: str, before: set[str]) -> list[str]:
    """Kill a run once it says that a further stage is done; the stages done, none at its end."""
    child, reading = begin("run", region, "--out", target)
    said = []
    with os.fdopen(reading, encoding="utf-8") as lines:
        for line in lines:
            said.append(line)
            if stages := further([line], before):
                os.kill(child, signal.SIGKILL)
                os.waitpid(child, 0)
                return [*stages, *further(lines, before)]
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    assert code == 0, "".join(said)
    return []


def further(lines: Iterable[str], before: set[str]) -> list[str]:
    """Names of the stages that lines say are done, besides those before."""
    names = [line[:44].strip() for line in lines if line.rstrip().endswith(" s")]
    return [name for name in names if name not in before]


def content(folder: Path) -> dict[str, bytes]:
    files = (path for path in folder.rglob("*") if path.is_file() and path.name != MARK)
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}


if __name__ == "__main__":
    for name in EVERYTHING:
        __import__(name)
    region, target = sys.argv[1:3]
    earlier = content(Path(target))
    before: set[str] = set()
    while stages := kill_after_a_stage(region, target, before):
        before |= set(stages)
        sys.stdout.write("".join(f"{stage}\n" for stage in stages))
        now = content(Path(target))
        assert now == earlier or "index.html" in now, f"after {stages}: {sorted(now)}"
