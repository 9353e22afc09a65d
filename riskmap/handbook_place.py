"""Where the handbook is that comes with the program."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from riskmap.contract.errors import OutputError

BUILT: Final = Path(__file__).parent / "handbook" / "index.html"
"""Written by ``make handbook``, before a wheel is made."""


def handbook_address(page: Path = BUILT) -> str:
    """Return the address of the handbook's first page, for a browser.

    Parameters
    ----------
    page
        Where it should lie.

    Raises
    ------
    OutputError
        If this copy of the program came without it.
    """
    if not page.is_file():
        raise OutputError(
            "This copy came without the built handbook. Read docs/index.md in the source, or build "
            "it there: make handbook."
        )
    return page.as_uri()
