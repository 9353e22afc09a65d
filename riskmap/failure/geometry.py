"""The shape of a field: bottom, wall and depth to the inlet, by kind of system.

The dimensions of each kind are in :mod:`riskmap.contract.kinds`; a permit's own replace them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.contract.arrays import Flags, Floats
from riskmap.contract.kinds import KINDS, SYSTEM_KINDS

MOUND_SPREAD: Final = 6.0
"""Ground that a mound's effluent spreads over, as a multiple of its bed: what the middle soil class
needs at the sand's rate, 1.2 over 0.2 gal/ft2/day (own choice)."""
MOUND_BASE_STRENGTH: Final = 0.3
"""Clogging strength of effluent that has passed the sand (own choice)."""
MOUND_SAND_UM_S: Final = 60.0
"""Saturated conductivity of the sand fill (own choice, medium sand)."""
SHALLOWEST_M: Final = 0.3
"""Least depth of a field's bottom in wet soil (own choice)."""


@dataclass(frozen=True)
class FieldShape:
    """Fields of n systems, each array of shape (n,); NaN where the kind has no field.

    ``bottom_per_m2`` and ``wall_per_m2`` (meters of wall length) are per square meter of the area a
    permit counts.
    """

    bottom_per_m2: Floats
    wall_per_m2: Floats
    inlet_m: Floats
    brim_m: Floats
    depth_m: Floats
    strength_frac: Floats
    climbs: Flags
    mound: Flags


def field_kind(kind: npt.ArrayLike) -> npt.NDArray[np.object_]:
    """Map kinds of system to kinds of field: trench_or_bed, mound, seepage_pit, None.

    Examples
    --------
    >>> field_kind(["bed", "cesspool", "holding_tank"]).tolist()
    ['trench_or_bed', 'seepage_pit', None]
    """
    found = _FORM[kind_codes(kind)].astype(object)
    found[found == ""] = None
    return np.asarray(found)


def field_note(kind: npt.ArrayLike) -> npt.NDArray[np.object_]:
    """Look up the caveat for each kind, or why it has no result; empty text where there is none."""
    notes = {name: found.note for name, found in KINDS.items()}
    return np.asarray(_known(kind).map(notes).to_numpy(dtype=object))


def field_shape(kind: npt.ArrayLike, *, wall_credit_m: npt.ArrayLike = 0.0) -> FieldShape:
    """Shape of each system's field by its kind.

    Trenches and beds are long: bottom and two walls, ends neglected. `wall_credit_m` is the height
    of sidewall that the sizing rule counts as area. A pit's counted area is its wall below the
    inlet (common practice, no source).
    """
    return shape_of_codes(kind_codes(kind), wall_credit_m=wall_credit_m)


def kind_codes(kind: npt.ArrayLike) -> npt.NDArray[np.int64]:
    """Place of each kind in the order of :data:`riskmap.contract.kinds.KINDS`, shape (n,).

    A kind that is not in the table counts as unknown.

    >>> [SYSTEM_KINDS[code] for code in kind_codes(["bed", "hut"])]
    ['bed', 'unknown']
    """
    codes = {name: code for code, name in enumerate(SYSTEM_KINDS)}
    return np.asarray(_known(kind).map(codes), np.int64)


def shape_of_codes(codes: npt.NDArray[np.int64], *, wall_credit_m: npt.ArrayLike) -> FieldShape:
    """:func:`field_shape` from the codes of :func:`kind_codes`: faster, for many runs."""
    table = {name: column[codes] for name, column in _TABLE.items()}
    pit, width, inlet = _FORM[codes] == "seepage_pit", table["width_m"], table["inlet_m"]
    bottom = 1.0 / (1.0 + 2.0 * np.asarray(wall_credit_m, float) / width)
    return FieldShape(
        bottom_per_m2=np.where(pit, width / (4.0 * inlet), bottom),
        wall_per_m2=np.where(pit, 1.0 / inlet, 2.0 * bottom / width),
        inlet_m=inlet,
        brim_m=table["brim_m"],
        depth_m=table["depth_m"],
        strength_frac=table["strength_frac"],
        climbs=pit,
        mound=_FORM[codes] == "mound",
    )


def across_flow_m(kind: npt.ArrayLike, area_m2: npt.ArrayLike, *, length_to_width: float) -> Floats:
    """Width of each field across the flow of groundwater, m (n,); NaN where the area is unknown.

    A field lies along the contour, so its length is across the flow; a pit has its diameter (own
    choice: the counted area of a field stands for the ground that it lies on).

    Parameters
    ----------
    kind
        Kinds of system (n,).
    area_m2
        Counted areas (n,).
    length_to_width
        Proportion of a field.

    Examples
    --------
    >>> across_flow_m(["bed", "seepage_pit"], [75.0, 20.0], length_to_width=3.0).tolist()
    [15.0, 1.8]
    """
    codes = kind_codes(kind)
    long = np.sqrt(length_to_width * np.asarray(area_m2, float))
    return np.where(_FORM[codes] == "seepage_pit", _TABLE["width_m"][codes], long)


def separation_m(
    usual_depth_m: Floats, limit_depth_m: npt.ArrayLike, *, required_m: float
) -> Floats:
    """Height of the field's bottom above seasonal water or a restriction, m.

    A field in wet soil is taken to have been raised, so that the rules' vertical separation
    is kept as far as `SHALLOWEST_M` allows (own assumption); mounds and other raised
    fields keep their usual depth.

    Parameters
    ----------
    usual_depth_m
        Usual depth of the bottom by kind of system (n,), m.
    limit_depth_m
        Depth to seasonal water or a restriction (n,), m; NaN: none known.
    required_m
        Vertical separation that the rules ask for, m.

    Returns
    -------
    ndarray
        Negative where the bottom lies below the limit; inf where no limit is known.
    """
    limit = np.asarray(limit_depth_m, float)
    limit = np.where(np.isnan(limit), np.inf, limit)
    lowest = np.minimum(SHALLOWEST_M, usual_depth_m)
    depth = np.clip(limit - required_m, lowest, usual_depth_m)
    return np.asarray(limit - depth, float)


def _known(kind: npt.ArrayLike) -> pd.Series[str]:
    """Kinds as a Series in which a kind not in the table is "unknown"."""
    names = pd.Series(np.asarray(kind, object).ravel(), dtype=object)
    return names.where(names.isin(SYSTEM_KINDS), "unknown")


_FIELDS: Final = [kind.field for kind in KINDS.values()]
_FORM: Final = np.array([field.form if field else "" for field in _FIELDS])
_TABLE: Final = {
    name: np.array([getattr(field, name) if field else np.nan for field in _FIELDS])
    for name in ("width_m", "inlet_m", "brim_m", "depth_m", "strength_frac")
}
SIZED_AS_BED: Final = np.array([bool(field and field.sized_as_bed) for field in _FIELDS])
"""Whether a sizing rule's factor for beds holds, by code."""
TANKLESS: Final = np.array([not kind.septic_tank for kind in KINDS.values()])
"""Whether no septic tank goes before it, by code."""
