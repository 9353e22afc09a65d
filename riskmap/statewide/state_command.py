"""``riskmap state``: many counties at once."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

WORDS = "run the counties of a state, and rank the systems of all of them together"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument(
        "state", type=Path, metavar="STATE.toml", help="file that names the counties"
    )
    parser.add_argument(
        "--out", type=Path, required=True, metavar="DIR", help="folder of all result folders"
    )
    parser.add_argument(
        "--workers", type=int, default=0, metavar="N", help="counties at a time (one per core)"
    )


def work(options: argparse.Namespace) -> int:
    """Run, gather and write; 2 where a county is missing."""
    from riskmap.contract.chunks import cores
    from riskmap.stages.progress import Progress
    from riskmap.statewide.counties import run_counties
    from riskmap.statewide.folder import write_together
    from riskmap.statewide.state_file import read_state

    state, progress = read_state(options.state), Progress(quiet=options.quiet)
    workers = options.workers or min(cores(), len(state.regions))
    faults = run_counties(state.regions, options.out, workers=workers, progress=progress)
    for name, fault in faults.items():
        sys.stderr.write(f"riskmap: {name} {fault}\n")
    if len(faults) == len(state.regions):
        return 2
    page = write_together(options.out, state, faults, progress)
    sys.stdout.write(f"Front page: {page.resolve()}\n")
    return 2 if faults else 0
