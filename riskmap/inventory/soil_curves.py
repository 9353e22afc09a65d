"""Curves and classes of soil ratings: the S-curve, conductivity classes, rating classes.

Sources: USDA-NRCS interpretation engine (S-curve); USDA-NRCS Custom Soil Resource Report, glossary
(classes of saturated conductivity).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from riskmap.contract.arrays import Floats

KSAT_CLASS_TOPS_UM_S: Final = (0.01, 0.1, 1.0, 10.0, 100.0)
KSAT_CLASSES: Final = (
    "very low",
    "low",
    "moderately low",
    "moderately high",
    "high",
    "very high",
)
RATING_CLASSES: Final = ("not limited", "somewhat limited", "very limited", "not rated")
RATING_DIGITS: Final = 3
"""Ratings are published to this many decimals, and the class is named from the rounded value."""


def s_curve(values: npt.ArrayLike, *, low: float, high: float, falling: bool = False) -> Floats:
    """S-shaped membership: 0 below `low`, 1 above `high`, two parabolas that meet midway.

    Source: USDA-NRCS interpretation engine, curve type "sigmoid".

    Parameters
    ----------
    values
        Of any shape, in the unit of the limits; NaN stays NaN.
    low, high
        Limits of the curve.
    falling
        Turn the curve upside down: 1 below `low`, 0 above `high`.

    Raises
    ------
    ValueError
        If `low` is not below `high`.

    Examples
    --------
    >>> s_curve([7.9, 9.75, 11.5, 13, 16], low=7.999, high=15).round(4).tolist()
    [0.0, 0.1251, 0.5001, 0.8368, 1.0]
    """
    if not low < high:
        raise ValueError(f"low must be below high, got {low} and {high}")
    share = np.clip((np.asarray(values, dtype=float) - low) / (high - low), 0.0, 1.0)
    rising = np.where(share < 0.5, 2 * share**2, 1 - 2 * (1 - share) ** 2)
    return np.asarray(1 - rising if falling else rising, dtype=float)


def rating_class(ratings: npt.ArrayLike) -> npt.NDArray[np.object_]:
    """Name the class of limitation ratings 0..1; a missing rating is ``not rated``.

    0 is not limited, 1 very limited, what is between is somewhat limited; three decimals count.

    Examples
    --------
    >>> rating_class([0, 0.0004, 0.0006, 0.9996, np.nan]).tolist()
    ['not limited', 'not limited', 'somewhat limited', 'very limited', 'not rated']
    """
    rounded = np.round(np.asarray(ratings, dtype=float), RATING_DIGITS)
    names = np.full(rounded.shape, RATING_CLASSES[1], dtype=object)
    names[rounded <= 0] = RATING_CLASSES[0]
    names[rounded >= 1] = RATING_CLASSES[2]
    names[np.isnan(rounded)] = RATING_CLASSES[3]
    return names


def ksat_class(ksat_um_s: npt.ArrayLike) -> npt.NDArray[np.object_]:
    """Name the class of saturated hydraulic conductivity, um/s; missing stays None.

    Source: USDA-NRCS Custom Soil Resource Report, glossary.

    Examples
    --------
    >>> ksat_class([0.005, 9.17, 100, np.nan]).tolist()
    ['very low', 'moderately high', 'very high', None]
    """
    values = np.asarray(ksat_um_s, dtype=float)
    places = np.searchsorted(KSAT_CLASS_TOPS_UM_S, values, side="right")
    names = np.array([*KSAT_CLASSES, None], dtype=object)
    return names[np.where(np.isnan(values), len(KSAT_CLASSES), places)]
