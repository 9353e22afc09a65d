"""Time the stages of one job in its own process and hand the figures and results on."""

from __future__ import annotations

import json
import resource
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

SOIL_KINDS = 400
WEIGHTS = {"soil": 0.5, "slope": 0.02, "water": -0.03, "well": -0.0005}


def soil_ratings() -> np.ndarray:
    """Rating 0..1 of each soil kind; the same in all three ways of doing the job."""
    return np.random.default_rng(99).uniform(0, 1, SOIL_KINDS)


class Stages:
    """Wall and processor seconds by stage.

    Processor seconds are those of all threads of the process.
    """

    def __init__(self) -> None:
        self.figures: dict[str, tuple[float, float]] = {}

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Time what happens inside."""
        wall, processor = time.perf_counter(), time.process_time()
        yield
        self.figures[name] = (time.perf_counter() - wall, time.process_time() - processor)

    def report(self, out: Path, **results: np.ndarray) -> None:
        """Write the results beside the figures and print the figures as JSON."""
        np.savez(out, **results)
        peak_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        print(json.dumps({"stages": self.figures, "peak_gb": peak_kb / 1024**2}))


def folders() -> tuple[Path, Path]:
    """Folder of the county and file for the results, from the command line."""
    return Path(sys.argv[1]), Path(sys.argv[2])
