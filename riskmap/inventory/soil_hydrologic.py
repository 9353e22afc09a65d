"""Hydrologic soil group from depths and conductivity, where the survey gives none.

Source: USDA-NRCS, National Engineering Handbook part 630, chapter 7 (2009), table 7-1, in the form
of the agency's decision tree. The agency marks its own thresholds for review; a group that the
survey gives always comes first.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from riskmap.inventory.soil_properties import restriction_top_cm

SHALLOW_CM: Final = 50.0
DEEP_CM: Final = 100.0
WET_CM: Final = 60.0
SHALLOW_KSAT_UM_S: Final = (1.0, 10.0, 40.0)
DEEP_KSAT_UM_S: Final = (0.4, 4.0, 10.0)
"""Upper limits of groups D, C and B; above the last is A."""
IMPERMEABLE_KINDS: Final = (
    "lithic bedrock",
    "paralithic bedrock",
    "densic bedrock",
    "densic material",
    "cemented horizon",
    "duripan",
    "fragipan",
    "manufactured layer",
    "ortstein",
    "permafrost",
    "petrocalcic",
    "petroferric",
    "petrogypsic",
    "placic",
)
"""Restrictions that stop water (from memory of the same chapter)."""
_LETTERS: Final = np.array(["D", "C", "B", "A"], dtype=object)


def hydrologic_group(
    restriction_cm: npt.ArrayLike, water_table_cm: npt.ArrayLike, ksat_um_s: npt.ArrayLike
) -> npt.NDArray[np.object_]:
    """Name the hydrologic soil group of each soil.

    Parameters
    ----------
    restriction_cm
        Depth to a layer that stops water; NaN where there is none.
    water_table_cm
        Depth to the seasonal high water table; NaN where there is none.
    ksat_um_s
        Conductivity of the least transmissive layer; NaN gives None unless the soil is shallow.

    Examples
    --------
    >>> hydrologic_group([40, 75, np.nan], [200, 30, 45], [50, 12, 0.5]).tolist()
    ['D', 'B/D', 'C/D']
    """
    restriction = np.nan_to_num(np.asarray(restriction_cm, dtype=float), nan=np.inf)
    water = np.nan_to_num(np.asarray(water_table_cm, dtype=float), nan=np.inf)
    ksat = np.asarray(ksat_um_s, dtype=float)
    shallow = np.searchsorted(SHALLOW_KSAT_UM_S, ksat, side="left")
    deep = np.searchsorted(DEEP_KSAT_UM_S, ksat, side="left")
    single = _LETTERS[np.clip(np.where(restriction < DEEP_CM, shallow, deep), 0, 3)]
    dual = np.where(single == "D", "D", single + "/D")
    groups = np.where(water < WET_CM, dual, single)
    groups = np.asarray(groups, dtype=object)
    groups[np.isnan(ksat)] = None
    groups[restriction < SHALLOW_CM] = "D"
    return groups


def least_transmissive_um_s(horizons: pd.DataFrame, restriction_cm: pd.Series) -> pd.Series:
    """Lowest conductivity of layers that start above the restriction, or above 100 cm, um/s."""
    floor = horizons["cokey"].map(restriction_cm).astype(float).fillna(DEEP_CM).clip(upper=DEEP_CM)
    chosen = horizons[horizons["top_cm"] < floor]
    return chosen.groupby("cokey")["ksat_um_s"].min()


def infer_group(
    horizons: pd.DataFrame, restrictions: pd.DataFrame, wet_top_cm: pd.Series, cokeys: pd.Index
) -> pd.Series:
    """Infer the hydrologic group of `cokeys` by the decision tree; None without conductivity.

    Parameters
    ----------
    horizons
        ``cokey``, ``top_cm``, ``ksat_um_s``.
    restrictions
        ``cokey``, ``kind``, ``top_cm``.
    wet_top_cm
        Depth to the seasonal high water table by ``cokey``, cm; missing: none.
    cokeys
        Components asked for.

    Returns
    -------
    Series
        Group by `cokeys`: A, B, C, D or dual (B/D).
    """
    depth = restriction_top_cm(restrictions, IMPERMEABLE_KINDS)
    ksat = least_transmissive_um_s(horizons, depth)
    groups = hydrologic_group(
        depth.reindex(cokeys), wet_top_cm.reindex(cokeys), ksat.reindex(cokeys)
    )
    return pd.Series(groups, index=cokeys, dtype=object)
