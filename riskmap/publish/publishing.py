"""Writes a result folder: brings outputs up to date, lays them out, says what is only of this run.

What outputs wrote is kept; the result folder holds copies, so that people may edit them.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from riskmap.publish.outputs import LAST, PUBLISHING
from riskmap.stages.making import Making, write_output
from riskmap.stages.stage import Output, RunFacts


def publish(folder: Path, making: Making, *, kept: Sequence[str] = ()) -> None:
    """Write the whole result into `folder`.

    Parameters
    ----------
    folder
        An empty folder.
    making
        A run at work with the stages and :data:`riskmap.publish.outputs.PUBLISHING`.
    kept
        Paths, from the folder that the result's lies in, of what people had changed in the result
        before this one.

    Raises
    ------
    RiskmapError
        Of the first stage or output that cannot do its work.
    """
    making.bring_up(*(name for step in PUBLISHING for name in step.gives))
    with making.progress.stage("lay out the result"):
        for step in PUBLISHING:
            if isinstance(step, Output):
                making.lay_out(step, folder)
    for output in LAST:
        facts = RunFacts(_files_in(folder), dict(making.progress.seconds), tuple(kept))
        write_output(output, making.region, making.things(output), folder, facts)


def _files_in(folder: Path) -> tuple[str, ...]:
    files = (path for path in folder.rglob("*") if path.is_file())
    return tuple(sorted(path.relative_to(folder).as_posix() for path in files))
