"""Run the counties of a state, each in a process of its own.

A county that fails or is killed leaves the others alone; what it had done is kept beside its region
file, so that the next time only what is left is done.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor, as_completed
from pathlib import Path
from typing import Final

from riskmap.region.sections import Region
from riskmap.stages.progress import Progress

WORDS_OF_A_FAULT: Final = 300
"""Last letters of what a county's run said that are passed on."""


def run_counties(
    regions: Mapping[str, Region], out: Path, *, workers: int, progress: Progress
) -> dict[str, str]:
    """Run every county into a result folder of its own, several at a time.

    Parameters
    ----------
    regions
        Region by short name.
    out
        Folder in which each county gets a folder of its short name.
    workers
        Counties at a time.
    progress
        Tells of each county when it is done.

    Returns
    -------
    dict
        Why, by short name, of the counties whose run did not end well.
    """
    faults: dict[str, str] = {}
    with ThreadPoolExecutor(max_workers=max(1, workers)) as pool:
        begun = {pool.submit(_run, region, out / name): name for name, region in regions.items()}
        for count, done in enumerate(as_completed(begun), start=1):
            name, fault = begun[done], done.result()
            if fault:
                faults[name] = fault
            progress.tell(f"{count} of {len(begun)}: {name} {fault or 'is done'}")
    return {name: faults[name] for name in regions if name in faults}


def _run(region: Region, out: Path) -> str:
    """Run a county; returns why it did not end well, or nothing."""
    command = [sys.executable, "-m", "riskmap", "run", str(region.path), "--out", str(out)]
    ended = subprocess.run(
        [*command, "--quiet"], capture_output=True, text=True, errors="replace", check=False
    )
    if ended.returncode < 0:
        return (
            f"was stopped from outside (signal {-ended.returncode}): perhaps the memory was full. "
            "Run again with fewer --workers."
        )
    said = " ".join(ended.stderr.split())[-WORDS_OF_A_FAULT:]
    return f"ended with code {ended.returncode}: {said}" if ended.returncode else ""
