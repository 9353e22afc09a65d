"""``riskmap whatif``: scenarios against today."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

WORDS = "compare what measures would bring, such as sewers or pump-outs, with today"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("region", type=Path, metavar="REGION.toml", help="the region file")
    parser.add_argument(
        "scenarios", type=Path, nargs="+", metavar="SCENARIO.toml", help="one file a scenario"
    )
    parser.add_argument(
        "--out", type=Path, default=Path("scenarios"), metavar="DIR", help="folder of the tables"
    )


def work(options: argparse.Namespace) -> int:
    """Compare and write."""
    from riskmap.running import assess, open_region
    from riskmap.stages.progress import Progress
    from riskmap.whatif.folder import summary_lines, write_scenarios
    from riskmap.whatif.following import follow
    from riskmap.whatif.steps import read_plan
    from riskmap.whatif.tables import single_steps

    plans = [read_plan(path) for path in options.scenarios]
    progress = Progress(quiet=options.quiet)
    region = open_region(options.region)
    result = assess(region, progress)
    steps = list(single_steps(plans))
    with progress.stage("follow the scenarios"):
        followed = follow(result, [*plans, *steps])
    write_scenarios(options.out, result, followed, plans, steps, progress)
    lines = summary_lines(followed, plans, region.rules.horizon_yr, region.county.units)
    sys.stdout.write("\n".join([*lines, f"Page: {(options.out / 'index.html').resolve()}"]) + "\n")
    return 0
