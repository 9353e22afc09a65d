"""``riskmap plan``: which stops on which day of the season."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

WORDS = "plan a season's visits: who goes where on which day"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("region", type=Path, metavar="REGION.toml", help="the region file")
    parser.add_argument(
        "--inspectors", type=int, metavar="N", help="how many go out (as the region file names)"
    )
    parser.add_argument("--days", type=int, default=20, help="working days of the season (20)")
    parser.add_argument(
        "--out", type=Path, default=Path("season_plan"), metavar="DIR", help="folder of the plan"
    )


def work(options: argparse.Namespace) -> int:
    """Plan and write the folder."""
    from riskmap.running import assess, open_region
    from riskmap.season.plan_folder import write_plan
    from riskmap.season.plan_page import ways_table
    from riskmap.season.planning import plan
    from riskmap.stages.progress import Progress

    progress = Progress(quiet=options.quiet)
    result = assess(open_region(options.region), progress)
    season = plan(result, inspectors=options.inspectors, days=options.days, progress=progress)
    write_plan(season, result, options.out, progress)
    sys.stdout.write(
        ways_table(season).to_string() + f"\nPlan: {(options.out / 'index.html').resolve()}\n"
    )
    return 0
