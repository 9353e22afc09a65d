"""``riskmap record``: what visits found, into the outcome log."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

WORDS = "check filled lists row by row and add what visits found to the outcome log"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the command's options."""
    parser.add_argument("region", type=Path, metavar="REGION.toml", help="the region file")
    parser.add_argument(
        "files",
        type=Path,
        nargs="+",
        metavar="FILE",
        help="filled workbook (.xlsx), CSV file, or file of the telephone form (.json)",
    )
    parser.add_argument(
        "--by", default="", metavar="NAME", help="who made the visits, where rows do not say"
    )


def work(options: argparse.Namespace) -> int:
    """Record the files; rows at fault are named, and make the command end as failed."""
    from riskmap.running import open_region
    from riskmap.season.recording import NotRecordedError, late_words, record
    from riskmap.stages.progress import Progress

    region = open_region(options.region)
    done = record(region, options.files, by=options.by, progress=Progress(quiet=options.quiet))
    told = [*map(str, done), late_words(region, done)]
    sys.stdout.write("\n".join(filter(None, told)) + "\n")
    wrong = sum(one.wrong for one in done)
    if wrong:
        rows = "row was" if wrong == 1 else "rows were"
        raise NotRecordedError(
            f"{wrong:,} {rows} not recorded, see above; all others were. Mend them in the file and "
            "record it again: what the log has is not added twice."
        )
    return 0
