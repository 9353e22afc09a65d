"""Completion of the command line in a shell: ``riskmap completion bash``."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import shtab

SHELLS: Final = tuple(shtab.SUPPORTED_SHELLS)
FOLDERS: Final = ("DIR", "FOLDER")
"""What the help calls an argument that is a folder."""


def completion_script(parser: argparse.ArgumentParser, shell: str) -> str:
    """Write the script that completes commands, options and names of files.

    Parameters
    ----------
    parser
        The whole command line.
    shell
        One of :data:`SHELLS`.
    """
    for action in _actions(parser):
        if action.type is Path:
            folder = action.metavar in FOLDERS
            action.complete = shtab.DIRECTORY if folder else shtab.FILE  # type: ignore[attr-defined]
    return str(shtab.complete(parser, shell))


def _actions(parser: argparse.ArgumentParser) -> Iterator[argparse.Action]:
    """All arguments of a command line and of its commands."""
    for action in parser._actions:
        yield action
        if isinstance(action, argparse._SubParsersAction):
            for command in action.choices.values():
                yield from _actions(command)
