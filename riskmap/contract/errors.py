"""The errors a user can meet. ``docs/errors.md`` gives cause and cure of each.

Every message names the layer (or the file), says what is wrong, and what to do about it.
"""

from __future__ import annotations

import errno
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import pandas as pd


class RiskmapError(Exception):
    """Root of all errors raised on purpose by this project."""


class RegionError(RiskmapError):
    """The region file is unreadable, incomplete or names something unknown."""


class ModelError(RiskmapError):
    """The scoring-model file is unreadable or contradicts itself."""


class LayerError(RiskmapError):
    """A layer cannot be used.

    Parameters
    ----------
    layer
        Name of the canonical layer or of the file at fault.
    problem
        One sentence: what is wrong.
    cure
        One sentence: what the reader of the message can do.
    faults
        Optional table of faults (columns ``layer, column, check, row, value, action``).
    """

    def __init__(
        self, layer: str, problem: str, cure: str = "", *, faults: pd.DataFrame | None = None
    ) -> None:
        self.layer = layer
        self.problem = problem
        self.cure = cure
        self.faults = faults
        text = f"{layer}: {problem}"
        if cure:
            text += f" {cure}"
        if faults is not None and len(faults):
            text += "\n" + faults.head(20).to_string(index=False)
            if len(faults) > 20:
                text += f"\n... and {len(faults) - 20} more"
        super().__init__(text)


class SourceMissingError(LayerError):
    """A file that the region file names is not there."""


class SourceChangedError(LayerError):
    """A file changed or vanished while the run read it."""


class SourceFormatError(LayerError):
    """A source file is there but is not in a form that its reader understands."""


class FetchError(LayerError):
    """A service on the network did not give what it was asked for."""


class CrsError(LayerError):
    """A layer has no coordinate reference system, or one that cannot be used."""


class GeometryTypeError(LayerError):
    """A layer holds the wrong kind of shapes, points where polygons are needed."""


class ContractError(LayerError):
    """A layer breaks its declaration in ``contract.layers``; all faults are listed together."""


class OutputError(RiskmapError):
    """The result folder cannot be written."""


class NotEnoughDataError(RiskmapError):
    """A method was asked to learn from fewer records than it needs."""


NO_ROOM: Final = {errno.ENOSPC, errno.EDQUOT}
REASONS: Final = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "your share of the disk is used up",
    errno.EROFS: "the disk can only be read",
    errno.EACCES: "you have no right to",
    errno.EPERM: "you have no right to",
    errno.EIO: "the disk or the network drive failed",
    errno.ENOLCK: "the disk cannot lock files",
    errno.ENOTSUP: "the disk cannot lock files",
    errno.EMFILE: "too many files are open",
    errno.ENFILE: "too many files are open",
}
"""Troubles of the machine, not of the program, by the system's number."""


def reason(error: OSError) -> str:
    """Say in plain words why the system refused something; its own words where there are none."""
    return REASONS.get(error.errno or 0) or error.strerror or str(error)
