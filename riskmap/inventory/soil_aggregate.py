"""From components to map units: dominant component, dominant condition, weighted average.

A map unit is a mixture of components; each way of summing it up loses something, so all are given.
Source: the aggregation methods of USDA-NRCS soil reports, as coded in the agency's open packages.
"""

from __future__ import annotations

from typing import Final

import pandas as pd

from riskmap.inventory.soil_curves import RATING_CLASSES

_SEVERITY: Final = {
    "not rated": -1,
    "not limited": 0,
    "somewhat limited": 1,
    "very limited": 2,
}


def rate_mapunits(rated: pd.DataFrame) -> pd.DataFrame:
    """Sum up component ratings by map unit in all ways.

    Parameters
    ----------
    rated
        One row per component with ``mukey``, ``comppct``, ``rating`` (NaN: not rated) and
        ``rating_class``, indexed by ``cokey``, as
        :func:`riskmap.inventory.soil_limits.rate_components` returns it.

    Returns
    -------
    pandas.DataFrame
        Indexed by ``mukey``: ``component_*`` (dominant component), ``condition_*`` (dominant
        condition), ``mean_rating`` (weighted average), ``rated_pct``, ``least_class``,
        ``most_class``.
    """
    component = dominant_component(rated).add_prefix("component_")
    condition = dominant_condition(rated).add_prefix("condition_")
    return pd.concat([component, condition, weighted_average(rated), extremes(rated)], axis=1)


def dominant_component(rated: pd.DataFrame) -> pd.DataFrame:
    """Rating and class of the component with the largest share; a tie goes to the lowest key."""
    keys = rated.index.to_series().astype(str)
    order = pd.DataFrame(
        {"mukey": rated["mukey"], "share": -rated["comppct"].fillna(0), "size": keys.str.len()}
    ).assign(key=keys)
    ordered = rated.loc[order.sort_values(["mukey", "share", "size", "key"], kind="stable").index]
    first = ordered.drop_duplicates("mukey")
    return (
        first.assign(cokey=first.index)
        .set_index("mukey")[["cokey", "rating", "rating_class", "comppct"]]
        .rename(columns={"rating_class": "class", "comppct": "pct"})
    )


def dominant_condition(rated: pd.DataFrame) -> pd.DataFrame:
    """Class with the largest summed share, not rated included; a tie goes to the more limiting.

    The rating is the plain mean of the ratings of the components in that class.
    """
    shares = (
        rated.assign(pct=rated["comppct"].fillna(0))
        .groupby(["mukey", "rating_class"], as_index=False)
        .agg(pct=("pct", "sum"), rating=("rating", "mean"))
    )
    shares["severity"] = shares["rating_class"].map(_SEVERITY)
    ordered = shares.sort_values(
        ["mukey", "pct", "severity"], ascending=[True, False, False], kind="stable"
    )
    first = ordered.drop_duplicates("mukey").set_index("mukey")
    return first.rename(columns={"rating_class": "class"})[["rating", "class", "pct"]]


def weighted_average(rated: pd.DataFrame) -> pd.DataFrame:
    """Mean rating weighted by share over the rated components, and the share that is rated, %."""
    share = rated["comppct"].fillna(0).where(rated["rating"].notna(), 0.0)
    sums = pd.DataFrame({"share": share, "product": share * rated["rating"].fillna(0)})
    totals = sums.groupby(rated["mukey"]).sum()
    mean = (totals["product"] / totals["share"]).where(totals["share"] > 0)
    return pd.DataFrame({"mean_rating": mean, "rated_pct": totals["share"]})


def extremes(rated: pd.DataFrame) -> pd.DataFrame:
    """Least and most limiting class of each map unit, as far as they are certain.

    A component that is not rated could be anything. So a unit with one is surely very limited at
    most only if a rated component is, and surely not limited at least only if a rated component is;
    else the extreme is ``not rated``. The survey publishes its extremes in the same way.
    """
    severity = rated["rating_class"].map(_SEVERITY).where(rated["rating"].notna())
    grouped = severity.groupby(rated["mukey"])
    unsure = rated["rating"].isna().groupby(rated["mukey"]).any()
    least, most = grouped.min(), grouped.max()
    names = dict(enumerate(RATING_CLASSES[:3]))
    return pd.DataFrame(
        {
            "least_class": least.mask(unsure & least.ne(0)).map(names).fillna("not rated"),
            "most_class": most.mask(unsure & most.ne(2)).map(names).fillna("not rated"),
        }
    )
