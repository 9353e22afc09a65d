"""``riskmap season``: what the season found against what was expected, on two pages."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

WORDS = "report what the season's visits found against what was expected"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("region", type=Path, metavar="REGION.toml", help="the region file")
    parser.add_argument(
        "result", type=Path, metavar="DIR", help="result folder that the season's lists came from"
    )
    parser.add_argument(
        "--after", type=Path, metavar="DIR",
        help="result folder of the run after the season, to say what moved on the list and why",
    )  # fmt: skip
    parser.add_argument(
        "--out", type=Path, default=Path("season_report.pdf"), metavar="FILE", help="the report"
    )


def work(options: argparse.Namespace) -> int:
    """Write the report."""
    from riskmap.running import open_region
    from riskmap.season.reporting import season_of, write_report

    season = season_of(open_region(options.region), options.result, options.after)
    write_report(season, options.out)
    sys.stdout.write(f"Season report: {options.out.resolve()}\n")
    return 0
