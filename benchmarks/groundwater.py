"""Time the groundwater assessment and the capture areas at growing numbers of systems.

The land grows with the systems, so that neighbors stay as close: 80 systems per square kilometer,
one well to every 6 or 7 systems, cells of 40 m. Run by hand:

    python -m benchmarks.groundwater --systems 10000 100000
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import pandas as pd

from riskmap.contract.grid import Grid, grid_from_bounds
from riskmap.groundwater.assess import GroundwaterAssessment, assess_groundwater
from riskmap.groundwater.settings import GroundwaterSettings, WellSettings
from riskmap.groundwater.zones import Zones, capture_zones, systems_inside

T = TypeVar("T")

SETTINGS = (GroundwaterSettings(), WellSettings())
CELL_M = 40.0
SYSTEMS_PER_KM2 = 80.0
WELLS_PER_SYSTEM = 0.15


@dataclass(frozen=True)
class Timing:
    """Seconds by the clock and of the processor."""

    wall_s: float
    cpu_s: float


def water_table(side_m: float, *, seed: int) -> Grid:
    """Make a tilted surface with mounds a kilometer wide, so that paths bend."""
    count = math.ceil(side_m / CELL_M)
    flat = grid_from_bounds(
        west_m=0.0, north_m=count * CELL_M, cell_m=CELL_M, values=np.zeros((count, count))
    )
    x, y = flat.centers()
    turn = np.random.default_rng(seed).uniform(0, 2 * np.pi, 4)
    mounds = np.sin(x / 700 + turn[0]) * np.sin(y / 900 + turn[1])
    mounds += np.sin(x / 1900 + turn[2]) * np.sin(y / 1500 + turn[3])
    return flat.with_values(200 - 0.004 * x - 0.002 * y + 1.5 * mounds)


def county(systems: int, *, seed: int = 1) -> tuple[pd.DataFrame, pd.DataFrame, Grid]:
    """Systems, wells and water table of a county of that many systems."""
    rng = np.random.default_rng(seed)
    side_m = 1000.0 * math.sqrt(systems / SYSTEMS_PER_KM2)
    wells = round(systems * WELLS_PER_SYSTEM)
    table = pd.DataFrame(
        {
            "x_m": rng.uniform(0, side_m, systems), "y_m": rng.uniform(0, side_m, systems),
            "persons": rng.integers(1, 6, systems).astype(float), "kind": "trench",
            "age_yr": rng.uniform(0, 60, systems),
            "chance_failing_frac": rng.uniform(0, 0.4, systems),
            "vulnerability_frac": rng.uniform(0.2, 0.8, systems),
        }
    )  # fmt: skip
    depth = rng.uniform(10, 60, wells)
    drilled = pd.DataFrame(
        {
            "x_m": rng.uniform(0, side_m, wells), "y_m": rng.uniform(0, side_m, wells),
            "depth_m": depth, "casing_m": 0.6 * depth, "static_level_m": 4.0,
            "age_yr": rng.uniform(0, 60, wells),
        }
    )  # fmt: skip
    return table, drilled, water_table(side_m, seed=seed)


def timed(work: Callable[[], T]) -> tuple[T, Timing]:
    """Do the work once and say how long it took."""
    wall, cpu = time.perf_counter(), time.process_time()
    done = work()
    return done, Timing(time.perf_counter() - wall, time.process_time() - cpu)


def capture(wells: pd.DataFrame, systems: pd.DataFrame, found: GroundwaterAssessment) -> Zones:
    """Two years' capture areas of all wells, and the systems in them."""
    zones = capture_zones(
        wells["x_m"], wells["y_m"], pumping_m3_d=1.0, field=found.flow, thickness_m=20.0,
        time_d=2 * 365.0, widen_deg=5.0,
    )  # fmt: skip
    systems_inside(zones, systems["x_m"], systems["y_m"])
    return zones


def main(arguments: Sequence[str] | None = None) -> int:
    """Print one line per size and the growth from the first to the last."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--systems", type=int, nargs="+", default=[10_000, 100_000])
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    small, pumped, surface = county(500, seed=options.seed)
    capture(pumped, small, assess_groundwater(small, pumped, surface, *SETTINGS))  # compile first
    rows = [_measure(count, options.seed) for count in options.systems]
    if len(rows) > 1:
        more = options.systems[-1] / options.systems[0]
        for name, index in (("assessment", 0), ("capture areas", 1)):
            times = rows[-1][index].cpu_s / max(rows[0][index].cpu_s, 1e-9)
            _say(f"{name}: {more:g} times the systems take {times:.1f} times the processor time")
    return 0


def _measure(count: int, seed: int) -> tuple[Timing, Timing]:
    systems, wells, surface = county(count, seed=seed)
    found, assessed = timed(lambda: assess_groundwater(systems, wells, surface, *SETTINGS))
    _, captured = timed(lambda: capture(wells, systems, found))
    _say(
        f"{count:,} systems, {len(wells):,} wells, {surface.values.size:,} cells, "
        f"{len(found.pairs):,} pairs: assessment {assessed.wall_s:.1f} s "
        f"({assessed.cpu_s:.1f} s processor), capture areas {captured.wall_s:.1f} s "
        f"({captured.cpu_s:.1f} s processor)"
    )
    return assessed, captured


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
