"""Component properties that soil ratings need, from the survey's canonical tables.

Every function takes canonical tables and returns a Series by component key. Definitions follow the
property queries of the national rule (USDA-NRCS, interpretation rule 208).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from riskmap.contract.vocabulary import FLOODING_FREQUENCIES, PONDING_FREQUENCIES
from riskmap.inventory import soil_rule as rule
from riskmap.inventory.soil_curves import s_curve

_PONDING_DURATIONS = ("very brief", "brief", "long", "very long")


def restriction_top_cm(restrictions: pd.DataFrame, kinds: Sequence[str] | None = None) -> pd.Series:
    """Depth to the shallowest restriction of `kinds` (all kinds if None), cm."""
    chosen = restrictions if kinds is None else restrictions[restrictions["kind"].isin(list(kinds))]
    return chosen.groupby("cokey")["top_cm"].min()


def first_barrier_cm(restrictions: pd.DataFrame) -> pd.Series:
    """Depth to the first restriction of any kind but a mere change of texture, cm."""
    barriers = restrictions[~restrictions["kind"].isin(rule.NOT_A_BARRIER)]
    return restriction_top_cm(barriers)


def cemented_pan_cm(restrictions: pd.DataFrame) -> pd.Series:
    """Depth to the first pan, cm; missing where a pan is recorded as not coherent."""
    pans = restrictions[restrictions["kind"].isin(rule.PAN_KINDS)]
    loose = pans.loc[pans["hardness"].isin(rule.NOT_CEMENTED), "cokey"]
    depths = restriction_top_cm(pans)
    return depths.where(~depths.index.isin(loose))


def highest_word(months: pd.DataFrame, column: str, order: Sequence[str]) -> pd.Series:
    """Highest word of `column` over the months by `order`; missing where no month has one.

    Parameters
    ----------
    months
        ``cokey`` and the column; several rows a component.
    column
        Column of words.
    order
        Words from lowest to highest; a word not in it counts as missing.

    Returns
    -------
    Series
        Word by ``cokey``.
    """
    ranks = months[column].map({word: rank for rank, word in enumerate(order)})
    highest = ranks.groupby(months["cokey"]).max()
    return highest.map(dict(enumerate(order))).astype(object)


def flooding_frequency(months: pd.DataFrame) -> pd.Series:
    """Most frequent flooding class of any month."""
    return highest_word(months, "flooding_frequency", FLOODING_FREQUENCIES)


def ponding_frequency(months: pd.DataFrame) -> pd.Series:
    """Most frequent ponding class of any month."""
    return highest_word(months, "ponding_frequency", PONDING_FREQUENCIES)


def is_ponded(months: pd.DataFrame) -> pd.Series:
    """Whether water ponds for more than four hours in any month."""
    duration = highest_word(months, "ponding_duration", _PONDING_DURATIONS)
    return duration.notna() & ponding_frequency(months).ne("none")


def wet_top_cm(months: pd.DataFrame) -> pd.Series:
    """Top of the shallowest wet layer in any month: the seasonal high water table, cm."""
    return months.groupby("cokey")["wet_top_cm"].min()


def lowest_ksat_um_s(horizons: pd.DataFrame, floor_cm: pd.Series) -> pd.Series:
    """Lowest conductivity of horizons that reach below 60 cm and end above `floor_cm`, um/s."""
    floor = horizons["cokey"].map(floor_cm).astype(float)
    below = horizons["bottom_cm"] > rule.TREATMENT_TOP_CM
    chosen = horizons[below & (horizons["bottom_cm"] <= floor)]
    return chosen.groupby("cokey")["ksat_um_s"].min()


def bottom_ksat_um_s(horizons: pd.DataFrame, bedrock_cm: pd.Series) -> pd.Series:
    """Conductivity of the lowest horizon that ends above bedrock, um/s."""
    floor = horizons["cokey"].map(bedrock_cm).astype(float).fillna(np.inf)
    chosen = horizons[horizons["bottom_cm"] <= floor]
    ordered = chosen.sort_values(["cokey", "top_cm", "bottom_cm"], kind="stable")
    lowest = ordered["top_cm"] == ordered.groupby("cokey")["top_cm"].transform("max")
    return ordered[lowest].drop_duplicates("cokey").set_index("cokey")["ksat_um_s"]


def large_stones_pct(horizons: pd.DataFrame, barrier_cm: pd.Series) -> pd.Series:
    """Fragments over 75 mm, weight percent, averaged by thickness to 100 cm or the first barrier.

    Missing fractions count as none; missing only for a component without any layer.
    """
    layers = horizons[horizons["top_cm"] < horizons["bottom_cm"]]
    floor = layers["cokey"].map(barrier_cm).astype(float).clip(upper=rule.STONES_DEPTH_CM)
    thickness = (np.minimum(layers["bottom_cm"], floor) - layers["top_cm"]).clip(lower=0)
    stones = layers[["fragments_76_250_pct", "fragments_over_250_pct"]].fillna(0).sum(axis=1)
    sums = pd.DataFrame({"weight": thickness, "product": thickness * stones})
    totals = sums.groupby(layers["cokey"]).sum()
    return (totals["product"] / totals["weight"]).where(totals["weight"] > 0)


def without_fragment_data(horizons: pd.DataFrame) -> pd.Index:
    """Keys of components of which no horizon has any entry for fragments over 75 mm."""
    entered = horizons[["fragments_76_250_pct", "fragments_over_250_pct"]].notna().any(axis=1)
    known = entered.groupby(horizons["cokey"]).any()
    return known.index[~known]


def permafrost_rating(horizons: pd.DataFrame, restrictions: pd.DataFrame) -> pd.Series:
    """1 where a texture says frozen, else the S-curve of the depth to permafrost."""
    depth = restriction_top_cm(restrictions, ["permafrost"])
    low, high = rule.PERMAFROST_CURVE_CM
    by_depth = pd.Series(s_curve(depth, low=low, high=high, falling=True), index=depth.index)
    if "frozen" not in horizons:
        return by_depth
    frozen = horizons["frozen"].fillna(False).astype(bool).groupby(horizons["cokey"]).any()
    return pd.concat([by_depth, frozen.astype(float)]).groupby(level=0).max()


def is_aridic(components: pd.DataFrame) -> pd.Series:
    """Whether the soil's classification says that it is dry: aridic, torri-, or an Aridisol."""
    subgroup, great_group, order = (
        components[column].fillna("").astype(str).str.casefold()
        for column in ("tax_subgroup", "tax_great_group", "tax_order")
    )
    dry = subgroup.str.contains("aridic", regex=False)
    return dry | great_group.str.contains("torr", regex=False) | order.eq("aridisols")


def treatment_layer(horizons: pd.DataFrame, *, depth_cm: float) -> pd.DataFrame:
    """Return the horizon of each component that holds `depth_cm`, by component key."""
    holds = (horizons["top_cm"] <= depth_cm) & (horizons["bottom_cm"] > depth_cm)
    return horizons[holds].drop_duplicates("cokey").set_index("cokey")
