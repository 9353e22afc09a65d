"""The command line; it computes nothing itself, and imports little before signals are handled."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Final

from riskmap.ending import ERROR, FOUND_SERIOUS, STOPPED, run_to_end

if TYPE_CHECKING:
    from riskmap.stages.progress import Progress

DESCRIPTION: Final = """\
Rank a county's onsite wastewater systems by the risk of failing and of reaching groundwater.

A region file (TOML) says where the county's sources lie and which local rules hold; `riskmap demo`
makes an invented county with one to copy from. Start with `check`, then `run`, then open index.html
in the result folder.
"""
CAUTION: Final = """\
Screening, not a determination: only a site visit and a laboratory sample show whether a system
fails or a well is contaminated. Local code and licensed practice decide.
"""


AFTER: Final = {
    "plan": "season",
    "record": "season",
    "season": "season",
    "mail": "season",
    "whatif": "whatif",
    "state": "statewide",
}
"""Commands of the work around a run, each a module of its own -> its package."""

SAMPLE_COUNTY: Final = "sample county 1"
"""What the mark of the demo's county says it is; no result takes its place."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; 0 if it went well, otherwise see :mod:`riskmap.ending`."""
    given = sys.argv[1:] if arguments is None else list(arguments)

    def command() -> int:
        options = _parser().parse_args(given)
        return int(options.command(options))

    return run_to_end(command, debug="--debug" in given)


def command_line() -> None:
    """Run the process's command; one that was stopped ends at once, without Python's clearing up.

    That takes seconds in which a second Ctrl-C would end in a traceback.
    """
    os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")  # others reserve a gigabyte ahead
    code = main()
    if code > STOPPED:
        os._exit(code)
    sys.exit(code)


def _parser() -> argparse.ArgumentParser:
    from importlib.metadata import version

    parser = argparse.ArgumentParser(
        prog="riskmap",
        description=DESCRIPTION,
        epilog=CAUTION,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"riskmap {version('riskmap')}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    run = _command(commands, "run", _run, "read, score, rank and write the result folder")
    run.add_argument("region", type=Path, metavar="REGION.toml", help="the region file")
    run.add_argument("--out", type=Path, required=True, metavar="DIR", help="result folder")
    run.add_argument(
        "--before", type=Path, metavar="DIR", help="earlier result folder to compare with"
    )
    check = _command(
        commands,
        "check",
        _check,
        "say what joins, what is covered, what is ranked, and how to cure defects",
    )
    check.add_argument("region", type=Path, metavar="REGION.toml", help="the region file")
    check.add_argument("--out", type=Path, metavar="DIR", help="also write a page and tables")
    check.add_argument(
        "--strict", action="store_true", help="end with code 3 if anything is serious"
    )
    new = _command(
        commands, "new", _new, "look into a county's files and write a region file to start from"
    )
    new.add_argument("folder", type=Path, metavar="FOLDER", help="where the region file is written")
    new.add_argument(
        "--from",
        dest="files",
        type=Path,
        nargs="+",
        default=[],
        metavar="FILES",
        help="files and folders to look into; without them a template is written",
    )
    new.add_argument(
        "--date", type=date.fromisoformat, metavar="YYYY-MM-DD", help="day of the run (today)"
    )
    fetch = _command(commands, "fetch", _fetch, "fetch open data of national services for a county")
    fetch.add_argument("folder", type=Path, metavar="FOLDER", help="where the files go")
    where = fetch.add_mutually_exclusive_group(required=True)
    where.add_argument(
        "--county", metavar="COUNTY", help='name and state, "Name, ST", or five-digit code'
    )
    where.add_argument(
        "--outline", type=Path, metavar="FILE", help="a map layer that covers the county: parcels"
    )
    fetch.add_argument(
        "--layers", nargs="+", metavar="LAYER", help="only these (all that a service offers)"
    )
    fetch.add_argument(
        "--refresh", action="store_true", help="ask for all again, not only for what is missing"
    )
    fetch.add_argument(
        "--mirror", default="", metavar="ADDRESS", help="ask this address in place of every host"
    )
    explain = _command(commands, "explain", _explain, "show how one parcel's numbers came about")
    explain.add_argument("region", type=Path, metavar="REGION.toml", help="the region file")
    explain.add_argument("parcel", metavar="PARCEL", help="parcel number")
    backtest = _command(
        commands, "backtest", _backtest,
        "hide the last years' records, rank as of then, and look what visits found since",
    )  # fmt: skip
    backtest.add_argument("region", type=Path, metavar="REGION.toml", help="the region file")
    backtest.add_argument(
        "--years", type=float, required=True, metavar="K", help="years that are hidden"
    )
    backtest.add_argument("--out", type=Path, metavar="DIR", help="also write a page and a table")
    rerun = _command(commands, "rerun", _rerun, "repeat a run from its record; say what differs")
    rerun.add_argument("record", type=Path, metavar="run.json", help="record in a result folder")
    rerun.add_argument("--out", type=Path, required=True, metavar="DIR", help="new result folder")
    rerun.add_argument(
        "--region", type=Path, metavar="REGION.toml", help="the region file, if it was moved"
    )
    for name, package in AFTER.items():
        module = import_module(f"riskmap.{package}.{name}_command")
        module.add_options(_command(commands, name, module.work, module.WORDS))
    _command(commands, "handbook", _handbook, "say where the handbook is")
    completion = _command(
        commands, "completion", _completion, "write a script that completes commands in a shell"
    )
    completion.add_argument("shell", metavar="SHELL", help="bash, zsh, fish and others")
    weights = _command(
        commands, "weights", _weights, "weigh factors by people's comparisons in pairs"
    )
    weights.add_argument(
        "pairs",
        type=Path,
        nargs="+",
        metavar="PAIRS.csv",
        help="columns first, second, times; one file per person",
    )
    weights.add_argument("--model", type=Path, metavar="FILE", help="scoring model to start from")
    weights.add_argument("--out", type=Path, metavar="FILE", help="scoring model to write")
    demo = _command(commands, "demo", _demo, "make the invented sample county and run it")
    demo.add_argument("--out", type=Path, default=Path("demo_result"), metavar="DIR")
    demo.add_argument(
        "--county", type=Path, default=Path("demo_county"), metavar="DIR", help="where it is made"
    )
    demo.add_argument("--parcels", type=int, default=3000, help="onsite systems, about (3000)")
    return parser


def _command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    function: object,
    words: str,
) -> argparse.ArgumentParser:
    parser = commands.add_parser(name, help=words, description=words.capitalize() + ".")
    parser.add_argument("--quiet", action="store_true", help="show no progress")
    parser.add_argument("--debug", action="store_true", help="show where an error arose")
    parser.set_defaults(command=function)
    return parser


def _progress(options: argparse.Namespace) -> Progress:
    from riskmap.stages.progress import Progress

    return Progress(quiet=options.quiet)


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")


def _run(options: argparse.Namespace) -> int:
    from riskmap.running import open_region, run

    region = open_region(options.region)
    if options.before:
        before = str(options.before.resolve())
        region = replace(region, run=replace(region.run, before=before))
    run(region, out=options.out, progress=_progress(options))
    _say(f"Front page: {(options.out / 'index.html').resolve()}")
    return 0


def _check(options: argparse.Namespace) -> int:
    from riskmap.checking.check import check_county
    from riskmap.checking.page import KIND, write_check
    from riskmap.checking.screen import screen_text
    from riskmap.results.swap import result_folder
    from riskmap.running import open_region

    progress = _progress(options)
    checked = check_county(open_region(options.region), progress)
    _say(screen_text(checked))
    if options.out:
        with result_folder(options.out, kind=KIND, tell=progress.tell) as folder:
            write_check(folder, checked)
        _say(f"Page: {(options.out / 'index.html').resolve()}")
    if checked.faults:
        return ERROR
    return FOUND_SERIOUS if options.strict and checked.serious else 0


def _new(options: argparse.Namespace) -> int:
    from riskmap.starting.new import CHECKLIST, REGION, start, summary

    with _progress(options).stage("look into the files"):
        started = start(options.folder, options.files, day=options.date or date.today())
    _say("\n".join(summary(started)))
    if started.lacking:
        _say(f"Still to do: {started.lacking}")
    _say(f"Region file: {(options.folder / REGION).resolve()}")
    _say(f"Checklist:   {(options.folder / CHECKLIST).resolve()}")
    return 0


def _fetch(options: argparse.Namespace) -> int:
    from riskmap.fetching.fetch_command import fetch_county

    progress = _progress(options)
    return ERROR if fetch_county(options, _say, progress.tell) else 0


def _explain(options: argparse.Namespace) -> int:
    from riskmap.running import explain, open_region, open_result

    result = open_result(open_region(options.region), _progress(options))
    _say(explain(result, options.parcel))
    return 0


def _backtest(options: argparse.Namespace) -> int:
    from riskmap.backtesting import backtest, write
    from riskmap.publish.report.backtest import screen_lines

    progress = _progress(options)
    done = backtest(options.region, years=options.years, progress=progress)
    _say("\n".join([*done.words, "", *screen_lines(done.table)]))
    if options.out:
        write(done, options.out, progress)
        _say(f"Page: {(options.out / 'index.html').resolve()}")
    return 0


def _rerun(options: argparse.Namespace) -> int:
    from riskmap.repeating import read_record, repeat

    record = read_record(options.record, options.region)
    for line in repeat(record, out=options.out, progress=_progress(options)):
        _say(line)
    return 0


def _completion(options: argparse.Namespace) -> int:
    from riskmap.completion import SHELLS, completion_script
    from riskmap.contract.errors import OutputError

    if options.shell not in SHELLS:
        raise OutputError(f"No completion for {options.shell!r}. Use one of {', '.join(SHELLS)}.")
    _say(completion_script(_parser(), options.shell))
    return 0


def _handbook(_options: argparse.Namespace) -> int:
    from riskmap.handbook_place import handbook_address

    _say(handbook_address())
    return 0


def _weights(options: argparse.Namespace) -> int:
    from riskmap.contract.errors import OutputError
    from riskmap.ranking.weights import judge
    from riskmap.region.comparisons import (
        describe_judgment,
        judged_model,
        read_comparisons,
        weights_comment,
    )
    from riskmap.region.model_file import read_model, write_model

    if options.out and options.out.exists():
        raise OutputError(f"{options.out} is there already and may be your work. Name a new file.")
    judgment = judge([read_comparisons(path) for path in options.pairs])
    model = read_model(options.model)
    _say(describe_judgment(judgment, options.pairs, model))
    if options.out:
        changed = judged_model(model, judgment)
        write_model(changed, options.out, about=weights_comment(options.pairs, judgment))
        _say(f"Scoring model: {options.out.resolve()}")
    return 0


def _demo(options: argparse.Namespace) -> int:
    from riskmap.results.swap import result_folder
    from riskmap.running import open_region, run
    from sample_region.make import make_county

    progress = _progress(options)
    with (
        progress.stage("make the invented county"),
        result_folder(options.county, kind=SAMPLE_COUNTY, tell=progress.tell) as folder,
    ):
        make_county(folder, parcels=options.parcels)
    run(open_region(options.county / "region.toml"), out=options.out, progress=progress)
    _say(f"Region file: {(options.county / 'region.toml').resolve()}")
    _say(f"Front page:  {(options.out / 'index.html').resolve()}")
    return 0


if __name__ == "__main__":
    command_line()
