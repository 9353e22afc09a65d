"""Water levels as reported, made into heads that can be compared: datums, flowing wells, flags.

A head is an elevation of the water surface. Levels come as depths below ground (negative in a
flowing well, whose water level is above the ground) or as elevations, on an older or newer vertical
datum (NGVD29, NAVD88). The shift between the two differs from place to place, so it is an input.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from riskmap.contract.arrays import Floats

DATUM_NEW: Final = "NAVD88"
DATUM_OLD: Final = "NGVD29"
DEPTH_RANGE_M: Final = (-30.0, 600.0)
"""Depths outside are set aside as implausible (common practice, no source)."""

FLAGS: Final = {
    "flowing": "the water level is above the ground; the negative depth is kept",
    "datum shifted": "reported on NGVD29; the local shift to NAVD88 was added",
    "datum not shifted": "reported on NGVD29 without a local shift; may be off by up to meters",
    "datum unknown": "no vertical datum is given; taken as NAVD88",
    "no level": "neither a head, nor a depth with a land elevation",
    "implausible depth": "depth outside the plausible range; set aside",
}


@dataclass(frozen=True)
class WaterLevels:
    """Heads on one datum with what is known of them, each (n,), in the order given.

    ``head_m`` is NaN where set aside; ``depth_m`` is positive down, NaN without a land elevation;
    ``flags`` holds the row's flags joined by "; " ("" if none; see ``FLAGS``).
    """

    x_m: Floats
    y_m: Floats
    head_m: Floats
    depth_m: Floats
    land_m: Floats
    datum: NDArray[np.object_]
    flags: NDArray[np.object_]

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Rows with a place and a head."""
        return np.isfinite(self.x_m) & np.isfinite(self.y_m) & np.isfinite(self.head_m)

    def counts(self) -> pd.DataFrame:
        """How many rows carry each flag, with its meaning (columns flag, rows, meaning)."""
        held = [set(text.split("; ")) for text in self.flags]
        rows = [(flag, sum(flag in part for part in held), FLAGS[flag]) for flag in FLAGS]
        return pd.DataFrame(rows, columns=["flag", "rows", "meaning"])


def _optional(values: ArrayLike | None, shape: tuple[int, ...]) -> Floats:
    if values is None:
        return np.full(shape, np.nan)
    return np.array(np.broadcast_to(np.asarray(values, float), shape))


def _join_flags(marks: dict[str, NDArray[np.bool_]], size: int) -> NDArray[np.object_]:
    flags = np.full(size, "", dtype=object)
    for name, mask in marks.items():
        text = np.where(flags == "", name, flags + "; " + name)
        flags = np.where(mask, text, flags)
    return flags


def water_levels(
    x_m: ArrayLike,
    y_m: ArrayLike,
    *,
    head_m: ArrayLike | None = None,
    depth_m: ArrayLike | None = None,
    land_m: ArrayLike | None = None,
    datum: ArrayLike | None = None,
    datum_shift_m: ArrayLike | None = None,
    depth_range_m: tuple[float, float] = DEPTH_RANGE_M,
) -> WaterLevels:
    """Bring reported levels to heads on NAVD88.

    Parameters
    ----------
    x_m, y_m
        Places (n,), projected m.
    head_m
        Water elevation (n,), m, on the row's datum. Where it is NaN, ``land_m - depth_m`` is used.
    depth_m
        Depth to water below ground (n,), m; negative = flowing.
    land_m
        Land elevation (n,), m. When the head is computed from it, it must be on the row's datum.
    datum
        "NAVD88", "NGVD29" or missing, per row; NAVD88 for all when not given.
    datum_shift_m
        To add to an NGVD29 elevation to get NAVD88 (n,) or one number, m; NaN where not known.
    depth_range_m
        Plausible depths, m; a row outside is set aside and flagged, never silently.

    Returns
    -------
    WaterLevels
        One row per input row.
    """
    x, y = np.asarray(x_m, float), np.asarray(y_m, float)
    given, depth, land = (_optional(part, x.shape) for part in (head_m, depth_m, land_m))
    shift = _optional(datum_shift_m, x.shape)
    names = np.broadcast_to(np.asarray(DATUM_NEW if datum is None else datum, object), x.shape)
    upper = pd.Series(names, dtype="object").astype("string").str.strip().str.upper()
    old = (upper == DATUM_OLD).fillna(False).to_numpy(bool)
    known = old | (upper == DATUM_NEW).fillna(False).to_numpy(bool)

    head = np.where(np.isfinite(given), given, land - depth)
    shifted = old & np.isfinite(shift)
    head = np.where(shifted, head + shift, head)
    land = np.where(shifted, land + shift, land)
    depth = np.where(np.isfinite(depth), depth, land - head)
    wild = (depth < depth_range_m[0]) | (depth > depth_range_m[1])
    marks = {
        "no level": ~np.isfinite(head),
        "implausible depth": wild,
        "flowing": (depth < 0) & ~wild,
        "datum shifted": shifted,
        "datum not shifted": old & ~shifted,
        "datum unknown": ~known,
    }
    return WaterLevels(
        x, y, np.where(wild, np.nan, head), depth, land,
        np.where(old, DATUM_OLD, np.where(known, DATUM_NEW, "unknown")).astype(object),
        _join_flags(marks, len(x)),
    )  # fmt: skip
