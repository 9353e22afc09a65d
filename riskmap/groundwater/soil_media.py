"""Soil rating of the seven-factor index from the texture of the soil survey's layers.

Each layer's texture class gives a medium of the index and so a rating; a component takes the mean
of its layers by thickness, a map unit the mean of its components by share. The index asks for one
medium; where layers differ, the mean lies between them (assumed).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from riskmap.contract.arrays import Floats
from riskmap.groundwater.vulnerability import SOIL, THIN_SOIL_M, medium_rating, soil_medium

SOIL_DEPTH_CM: Final = 183.0
"""The index looks at the upper six feet of soil (Aller et al. 1987, from memory)."""
STOPS_WATER: Final = ("bedrock", "lithic", "paralithic")

CODES: Final = {
    "s": "sand", "cos": "sand", "fs": "sand", "vfs": "sand", "ls": "loamy sand",
    "lcos": "loamy sand", "lfs": "loamy sand", "lvfs": "loamy sand", "sl": "sandy loam",
    "cosl": "sandy loam", "fsl": "sandy loam", "vfsl": "sandy loam", "l": "loam",
    "sil": "silt loam", "si": "silt", "scl": "sandy clay loam", "cl": "clay loam",
    "sicl": "silty clay loam", "sc": "sandy clay", "sic": "silty clay", "c": "clay",
    "g": "gravel", "muck": "muck", "mpt": "muck", "mpm": "muck", "peat": "peat", "spm": "peat",
}  # fmt: skip
"""Texture class codes of the soil survey (USDA National Soil Survey Handbook part 618, from
memory) -> class or medium. Mucky peat counts as muck."""
GRAVELLY: Final = ("grx",)
"""Modifiers that make gravel of the layer: more than 60% of it (from memory)."""


def texture_of(sand_pct: ArrayLike, clay_pct: ArrayLike) -> NDArray[np.object_]:
    """USDA texture class from sand and clay (%), None where one is unknown.

    Rules of the Soil Survey Manual (USDA Handbook 18, ch. 3), silt being the rest.

    >>> texture_of([92, 40, 20, 30], [3, 18, 15, 45]).tolist()
    ['sand', 'loam', 'silt loam', 'clay']
    """
    sand, clay = np.broadcast_arrays(np.asarray(sand_pct, float), np.asarray(clay_pct, float))
    silt = 100.0 - sand - clay
    known = np.isfinite(silt) & (silt >= -1e-9)
    rules = [
        (silt + 1.5 * clay < 15, "sand"),
        (silt + 2 * clay < 30, "loamy sand"),
        ((clay >= 35) & (sand > 45), "sandy clay"),
        ((clay >= 40) & (silt >= 40), "silty clay"),
        (clay >= 40, "clay"),
        ((clay >= 20) & (silt < 28) & (sand > 45), "sandy clay loam"),
        ((clay >= 27) & (sand <= 20), "silty clay loam"),
        (clay >= 27, "clay loam"),
        ((silt >= 80) & (clay < 12), "silt"),
        (silt >= 50, "silt loam"),
        ((clay < 7) | (sand > 52), "sandy loam"),
    ]
    names = np.select([rule for rule, _ in rules], [name for _, name in rules], "loam")
    classes: NDArray[np.object_] = names.astype(object)
    classes[~known] = None
    return classes


def layer_ratings(
    texture: ArrayLike, *, sand_pct: ArrayLike = np.nan, clay_pct: ArrayLike = np.nan
) -> Floats:
    """Rating of each layer (n,) by its texture code, else by sand and clay, else NaN.

    Parameters
    ----------
    texture
        Texture code of the soil survey (n,), modifiers before a dash; missing where unknown.
    sand_pct, clay_pct
        Percent by weight, one number or (n,); NaN where unknown.

    Examples
    --------
    >>> layer_ratings(["GR-SL", "SIL", None], clay_pct=[10, 15, 45], sand_pct=[60, 20, 30]).tolist()
    [6.0, 4.0, 1.0]
    """
    codes = pd.Series(np.asarray(texture, object)).astype("string").str.strip().str.lower()
    words = codes.str.split("-")
    named = words.str[-1].map({**CODES, **{name: name for name in SOIL}})
    coarse = words.str[0].isin(GRAVELLY).fillna(False).to_numpy(bool)
    medium = soil_medium(named.mask(pd.Series(coarse, codes.index), "gravel").to_numpy(object))
    count = len(codes)
    sand, clay = (np.broadcast_to(np.asarray(p, float), count) for p in (sand_pct, clay_pct))
    by_code = medium_rating("soil", medium)
    by_grain = medium_rating("soil", soil_medium(texture_of(sand, clay)))
    return np.where(np.isfinite(by_code), by_code, by_grain)


def mapunit_ratings(
    components: pd.DataFrame, horizons: pd.DataFrame, restrictions: pd.DataFrame | None = None
) -> pd.Series:
    """Soil rating of each map unit.

    Parameters
    ----------
    components
        ``cokey``, ``mukey``, ``comppct``.
    horizons
        ``cokey``, ``top_cm``, ``bottom_cm``, ``texture``, ``sand_pct``, ``clay_pct``.
    restrictions
        ``cokey``, ``kind``, ``top_cm``: rock nearer than 25 cm makes the soil thin or absent.

    Returns
    -------
    Series
        Rating 1..10 by ``mukey``; map units without a rated component are left out.
    """
    rating = layer_ratings(
        horizons["texture"], sand_pct=horizons["sand_pct"], clay_pct=horizons["clay_pct"]
    )
    bottom = horizons["bottom_cm"].to_numpy(float).clip(max=SOIL_DEPTH_CM)
    thick = np.clip(bottom - horizons["top_cm"].to_numpy(float), 0.0, None)
    thick = np.where(np.isfinite(rating + thick), thick, 0.0)
    layers = pd.DataFrame({"rated": np.nan_to_num(rating) * thick, "thick": thick})
    sums = layers.groupby(horizons["cokey"].to_numpy()).sum()
    by_component = (sums["rated"] / sums["thick"].where(sums["thick"] > 0)).astype(float)
    own = components["cokey"].map(by_component).to_numpy(float)
    own = np.where(_thin(components, restrictions), float(SOIL["thin or absent"]), own)
    share = components["comppct"].to_numpy(float, na_value=np.nan)
    share = np.where(np.isfinite(own), np.nan_to_num(share), 0.0)
    parts = pd.DataFrame({"rated": np.nan_to_num(own) * share, "share": share})
    units = parts.groupby(components["mukey"].to_numpy()).sum()
    units = units[units["share"] > 0]
    return units["rated"] / units["share"]


def _thin(components: pd.DataFrame, restrictions: pd.DataFrame | None) -> NDArray[np.bool_]:
    if restrictions is None or restrictions.empty:
        return np.zeros(len(components), bool)
    kind = restrictions["kind"].astype("string").str.lower().fillna("")
    rock = kind.str.contains("|".join(STOPS_WATER)) & (restrictions["top_cm"] < THIN_SOIL_M * 100)
    return components["cokey"].isin(restrictions.loc[rock.to_numpy(bool), "cokey"]).to_numpy(bool)
