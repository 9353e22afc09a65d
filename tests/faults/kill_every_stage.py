"""Kills a run after a stage, the next run after the next, until one gets through.

``python kill_every_stage.py REGION.toml RESULT`` writes the name of each stage after which a run
was killed. A kill is kill -9 from another process; the runs are forked, so that only the first has
to import. Whatever the earlier result holds must stand after each kill.
"""

from __future__ import annotations

import os
import signal
import sys
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


def kill_after_a_stage(region: str, target: str, before: set[str]) -> str | None:
    """Kill a run once it says that a further stage is done; None if it came to its end."""
    child, reading = begin("run", region, "--out", target)
    said = []
    with os.fdopen(reading, encoding="utf-8") as lines:
        for line in lines:
            said.append(line)
            stage = line[:44].strip()
            if line.rstrip().endswith(" s") and stage not in before:
                os.kill(child, signal.SIGKILL)
                os.waitpid(child, 0)
                return stage
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    assert code == 0, "".join(said)
    return None


def content(folder: Path) -> dict[str, bytes]:
    files = (path for path in folder.rglob("*") if path.is_file() and path.name != MARK)
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}


if __name__ == "__main__":
    for name in EVERYTHING:
        __import__(name)
    region, target = sys.argv[1:3]
    earlier = content(Path(target))
    before: set[str] = set()
    while (stage := kill_after_a_stage(region, target, before)) is not None:
        before.add(stage)
        sys.stdout.write(f"{stage}\n")
        now = content(Path(target))
        assert now == earlier or "index.html" in now, f"after {stage}: {sorted(now)}"
