"""How a command ends: well, with an error, stopped from outside, or by a bug. Never in silence."""

from __future__ import annotations

import os
import platform
import signal
import sys
import tempfile
import threading
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, suppress
from datetime import datetime
from pathlib import Path
from types import FrameType
from typing import Any, Final

from riskmap.contract.errors import REASONS, RiskmapError, reason

BUG: Final = 1
ERROR: Final = 2
FOUND_SERIOUS: Final = 3
"""Of `riskmap check --strict`."""
STOPPED: Final = 128
"""To which the signal's number is added: 130 for Ctrl-C, 143 for a request to end."""

PIPE_CLOSED: Final = 141
"""As of a program that the end of a pipe has ended (``riskmap check ... | head``)."""

SIGNALS: Final = {
    getattr(signal, name): words
    for name, words in {
        "SIGINT": "Ctrl-C",
        "SIGTERM": "a request to end",
        "SIGHUP": "the end of its terminal",
    }.items()
    if hasattr(signal, name)
}


ALARM: Final = (signal.SIGALRM,) if hasattr(signal, "SIGALRM") else ()
AGAIN_S: Final = 1.0
"""A stop is asked for again after so long: some libraries swallow what is raised in them."""


class _Stop:
    """Handles signals by an exception where the program just is, so that all clean-ups are done."""

    def __init__(self) -> None:
        self.asked = 0

    def __call__(self, number: int, frame: FrameType | None) -> None:
        del frame
        self.asked = self.asked or number
        _alarm(AGAIN_S)
        raise KeyboardInterrupt


def run_to_end(command: Callable[[], int], *, debug: bool = False) -> int:
    """Run a command; whatever comes of it becomes a message for people and an exit code.

    Parameters
    ----------
    command
        Returns its exit code.
    debug
        Show the traceback of whatever goes wrong.

    Returns
    -------
    int
        What the command returned; else :data:`ERROR`, :data:`BUG`, :data:`PIPE_CLOSED`, or
        :data:`STOPPED` and the number of the signal.
    """
    stop = _Stop()
    try:
        with _signals(stop):
            try:
                return command()
            finally:
                _alarm(0.0)
    except (Exception, KeyboardInterrupt) as error:
        if debug:
            traceback.print_exc()
        if stop.asked or isinstance(error, KeyboardInterrupt):
            number = stop.asked or int(signal.SIGINT)
            _say(f"Stopped by {SIGNALS[number]}. Nothing half-written is left; results are whole.")
            return STOPPED + number
        return _failed(error)


def _failed(error: Exception) -> int:
    if isinstance(error, BrokenPipeError):
        _close_output()
        return PIPE_CLOSED
    text = _known(error)
    _say(text or _bug(error))
    return ERROR if text else BUG


def undisturbed() -> AbstractContextManager[None]:
    """Ignore signals for a moment that must not be cut in two."""
    return _signals(signal.SIG_IGN)


@contextmanager
def _signals(handler: Callable[[int, FrameType | None], None] | signal.Handlers) -> Iterator[None]:
    """Let `handler` have the signals, as far as they are not ignored (``nohup``)."""
    before: dict[int, Any] = {}
    if threading.current_thread() is threading.main_thread():
        for number in (*SIGNALS, *ALARM):
            if signal.getsignal(number) not in (signal.SIG_IGN, None):
                before[number] = signal.signal(number, handler)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _alarm(seconds: float) -> None:
    """Ask for the alarm signal; 0 takes the request back."""
    if ALARM:
        signal.setitimer(signal.ITIMER_REAL, seconds)


def _known(error: Exception) -> str | None:
    """Say what is wrong and what to do, if the program is not to blame; None if it is."""
    if isinstance(error, RiskmapError):
        return f"{type(error).__name__}: {error}"
    if isinstance(error, MemoryError):
        return (
            "The machine's memory is used up. Close other programs, take a machine with more, or "
            "lower chunk_parcels or draws in the region file's [run]."
        )
    if isinstance(error, OSError) and error.errno in REASONS:
        where = f"{error.filename}: " if error.filename else ""
        return f"{where}{reason(error)}. Cure that and run again."
    return None


def _bug(error: Exception) -> str:
    what = traceback.format_exception_only(error)[-1].strip().splitlines()[0]
    version, urls = _package()
    kept = _keep_traceback(error, version)
    file = f"The details are in {kept}." if kept else "--debug shows the details."
    return f"This is a bug in riskmap ({what}). {file} {where_to_report(urls)}"


def _package() -> tuple[str, list[str]]:
    """Version and addresses of this package, if it is installed as one."""
    from importlib.metadata import PackageNotFoundError, metadata

    try:
        package = metadata("riskmap")
    except PackageNotFoundError:
        return "(not installed)", []
    return package["Version"], package.get_all("Project-URL") or []


def where_to_report(urls: Sequence[str]) -> str:
    """Where to report a bug, by the addresses that the package names.

    >>> where_to_report(["Issues, https://example.org/issues"])
    'Please report them: https://example.org/issues'
    """
    named = [url.split(", ", 1) for url in urls]
    trackers = [url for label, url in named if label.lower() in ("issues", "bug tracker")]
    if trackers:
        return f"Please report them: {trackers[0]}"
    return (
        "Please send them to those who maintain riskmap for you. Read them first: they can hold "
        "names of files and values from them."
    )


def _keep_traceback(error: Exception, version: str) -> Path | None:
    """Write the traceback to a new file, in this folder or among the temporary files."""
    text = (
        f"riskmap {version}, Python {platform.python_version()}, {platform.platform()}\n"
        f"Command: {' '.join(sys.argv)}\n\n{''.join(traceback.format_exception(error))}"
    )
    name = f"riskmap-bug-{datetime.now():%Y-%m-%d-%H%M%S}-{os.getpid()}.txt"
    for folder in (Path.cwd, lambda: Path(tempfile.gettempdir())):
        with suppress(OSError):
            path = folder() / name
            with path.open("x", encoding="utf-8", errors="backslashreplace") as file:
                file.write(text)
            return path
    return None


def _say(text: str) -> None:
    with suppress(OSError, ValueError):  # the terminal may be gone
        sys.stderr.write(f"\n{text}\n")
        sys.stderr.flush()


def _close_output() -> None:
    """Send what is still to be written nowhere, or Python complains of the closed pipe at exit."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
