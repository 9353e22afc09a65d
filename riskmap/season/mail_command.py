"""``riskmap mail``: letters by the rule of the region file, less those whom the log leaves out."""

from __future__ import annotations

import argparse
import sys
from datetime import date
from pathlib import Path

WORDS = "write a mailing: letters, labels, a table for mail merge, and a list to fill in"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("region", type=Path, metavar="REGION.toml", help="the region file")
    parser.add_argument(
        "--out", type=Path, default=Path("mailing"), metavar="DIR", help="folder of the mailing"
    )
    parser.add_argument(
        "--date",
        type=date.fromisoformat,
        metavar="YYYY-MM-DD",
        help="day of the letters (that of the region file)",
    )
    parser.add_argument(
        "--release",
        type=Path,
        metavar="FILE",
        help="to_release.csv of this mailing, with who released which letters filled in",
    )


def work(options: argparse.Namespace) -> int:
    """Choose and write."""
    from riskmap.running import assess, open_region
    from riskmap.season.mailing import plan_mailing
    from riskmap.season.mailing_folder import write_mailing
    from riskmap.stages.progress import Progress

    progress = Progress(quiet=options.quiet)
    result = assess(open_region(options.region), progress)
    planned = plan_mailing(result, on=options.date)
    write_mailing(planned, options.out, progress, release=options.release)
    sys.stdout.write(
        f"{len(planned.people):,} letters; {len(planned.on_file):,} to systems on file as failed; "
        f"{len(planned.left_out):,} left out.\nMailing: {(options.out / 'index.html').resolve()}\n"
    )
    return 0
