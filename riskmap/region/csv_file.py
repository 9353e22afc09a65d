"""Small tables that people make: read whole, in UTF-8, with the cells of every row counted."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from riskmap.contract.errors import RiskmapError
from riskmap.region.toml_file import decoded, read_small


def read_rows(path: Path, what: str, error: type[RiskmapError]) -> list[tuple[int, dict[str, str]]]:
    """Read a comma-separated table with a heading.

    Parameters
    ----------
    path
        The file.
    what
        What it is, for the message: "the comparisons".
    error
        Class of the error to raise.

    Returns
    -------
    The line of each row, and its trimmed cells by the names of the heading; blank lines are left
    out.

    Raises
    ------
    RiskmapError
        Of class `error`, with the line at fault, if the file cannot be read or a row has more or
        fewer cells than the heading.
    """
    reader = csv.reader(
        io.StringIO(decoded(read_small(path, what, error), str(path), error), newline=""),
        strict=True,
    )
    try:
        rows = [(reader.line_num, [cell.strip() for cell in row]) for row in reader if any(row)]
    except csv.Error as fault:
        raise error(
            f"{path}, line {reader.line_num}: {what} cannot be read ({fault}). Save the file again "
            "as CSV in UTF-8."
        ) from fault
    heading = rows[0][1] if rows else []
    for line, cells in rows:
        if len(cells) != len(heading):
            raise error(
                f"{path}, line {line}: {len(cells)} cells where the heading has {len(heading)}. "
                "Put quotes around a cell that holds a comma."
            )
    return [(line, dict(zip(heading, cells, strict=True))) for line, cells in rows[1:]]
