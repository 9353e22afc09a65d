"""Rate soil components for absorption fields by the national rule, with reasons and properties.

Source: USDA-NRCS, interpretation rule 208 "ENG - Septic Tank Absorption Fields". See
``docs/methods/soil_limits.md``.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from riskmap.inventory import soil_properties as properties
from riskmap.inventory import soil_rule as rule
from riskmap.inventory.soil_curves import RATING_DIGITS, rating_class
from riskmap.inventory.soil_hydrologic import infer_group

TRENCH_BOTTOM_CM: Final = 60.0
"""Usual depth of a trench bottom, about 24 in (EPA 625/1-80-012, 1980, table 3-2)."""
_REASON_BREAK: Final = "; "


def rate_components(
    components: pd.DataFrame,
    horizons: pd.DataFrame,
    restrictions: pd.DataFrame,
    months: pd.DataFrame,
    *,
    treatment_depth_cm: float = TRENCH_BOTTOM_CM,
) -> pd.DataFrame:
    """Rate every component by the national absorption-field rule.

    Parameters
    ----------
    components, horizons, restrictions, months
        Canonical layers ``soil_components``, ``soil_horizons``, ``soil_restrictions`` and
        ``soil_months``.
    treatment_depth_cm
        Depth at which conductivity and texture are reported; it does not change the rating.

    Returns
    -------
    pandas.DataFrame
        Indexed by ``cokey`` in the order of `components`: ``mukey``, ``comppct``, the properties of
        :func:`component_properties`, one ``limit_*`` column 0..1 for each sub-rule, ``rating``
        (their maximum; NaN where the component is not rated), ``rating_class``, and ``reasons``:
        the plain words of all limits above 0, largest first. A component with ``gaps`` is not
        rated: without a table of restrictions, say, no entry does not mean no rock.
    """
    described = component_properties(
        components, horizons, restrictions, months, treatment_depth_cm=treatment_depth_cm
    )
    limits = pd.DataFrame(
        {sub.column: sub.rate(described[sub.feature]) for sub in rule.SUB_RULES},
        index=described.index,
    )
    described_whole = components["gaps"].isna().to_numpy()
    rating = limits.max(axis=1).where(limits.notna().all(axis=1) & described_whole)
    named = limits.assign(
        rating=rating, rating_class=rating_class(rating), reasons=name_reasons(limits)
    )
    shares = components.set_index("cokey")[["mukey", "comppct"]]
    return pd.concat([shares, described, named], axis=1)


def component_properties(
    components: pd.DataFrame,
    horizons: pd.DataFrame,
    restrictions: pd.DataFrame,
    months: pd.DataFrame,
    *,
    treatment_depth_cm: float = TRENCH_BOTTOM_CM,
) -> pd.DataFrame:
    """Derive what ratings and later models need to know of each component.

    Parameters
    ----------
    components, horizons, restrictions, months
        Canonical soil tables, as in :func:`rate_components`.
    treatment_depth_cm
        Depth at which conductivity and texture are reported.

    Returns
    -------
    pandas.DataFrame
        Indexed by ``cokey``. Depths in cm, conductivity in um/s. ``wet_top_cm`` is the seasonal
        high water table, ``restriction_cm`` the first layer that stops roots or water,
        ``ksat_min_um_s`` the slowest layer below 60 cm, ``ksat_treatment_um_s`` that of the layer
        that holds the treatment depth. ``hydrologic_group_evidence`` is ``mapped``, ``inferred``
        or ``unknown``.

    Raises
    ------
    ValueError
        If a component key is repeated.
    """
    own = components.set_index("cokey")
    if own.index.has_duplicates:
        raise ValueError("each component key must be in soil_components once only")
    derived = {
        **_depths(restrictions, months),
        **_wetness(months),
        **_conductivity(horizons, restrictions),
        **_at_treatment(horizons, treatment_depth_cm),
        "permafrost_rating": properties.permafrost_rating(horizons, restrictions),
    }
    table = pd.DataFrame({name: series.reindex(own.index) for name, series in derived.items()})
    table["is_ponded"] = table["is_ponded"].eq(True)
    kept = ["slope_pct", "subsidence_cm", "drainage_class", "hydrologic_group"]
    table = table.join(own[kept])
    table["is_unstable_fill"] = _holds(own["local_phase"], "unstable fill")
    table["is_subaqueous"] = own["drainage_class"].eq("subaqueous").fillna(False).astype(bool)
    aridic = properties.is_aridic(own)
    table["seeps_below"] = table["ksat_bottom_um_s"].gt(rule.SEEPAGE_KSAT_UM_S) & ~aridic
    table["large_stones_pct"] = table["large_stones_pct"].mask(_is_bare_area(own, horizons))
    return _fill_group(table, horizons, restrictions, whole=own["gaps"].isna())


def _depths(restrictions: pd.DataFrame, months: pd.DataFrame) -> dict[str, pd.Series]:
    return {
        "wet_top_cm": properties.wet_top_cm(months),
        "restriction_cm": properties.first_barrier_cm(restrictions),
        "bedrock_cm": properties.restriction_top_cm(restrictions, rule.BEDROCK_KINDS),
        "cemented_pan_cm": properties.cemented_pan_cm(restrictions),
    }


def _wetness(months: pd.DataFrame) -> dict[str, pd.Series]:
    return {
        "flooding_frequency": properties.flooding_frequency(months),
        "ponding_frequency": properties.ponding_frequency(months),
        "is_ponded": properties.is_ponded(months),
    }


def _conductivity(horizons: pd.DataFrame, restrictions: pd.DataFrame) -> dict[str, pd.Series]:
    keys = pd.Index(horizons["cokey"].unique())
    first = properties.first_barrier_cm(restrictions).reindex(keys)
    barrier = first.fillna(rule.NO_RESTRICTION_CM).mask(first == 0, 1.0)
    bedrock = properties.restriction_top_cm(restrictions, rule.BEDROCK_KINDS)
    cut = barrier.where(barrier < rule.FILTER_RESTRICTION_CM, np.inf)
    return {
        "ksat_min_um_s": properties.lowest_ksat_um_s(horizons, barrier),
        "ksat_filter_um_s": properties.lowest_ksat_um_s(horizons, cut),
        "ksat_bottom_um_s": properties.bottom_ksat_um_s(horizons, bedrock),
        "large_stones_pct": properties.large_stones_pct(horizons, barrier),
    }


def _at_treatment(horizons: pd.DataFrame, depth_cm: float) -> dict[str, pd.Series]:
    layer = properties.treatment_layer(horizons, depth_cm=depth_cm)
    return {
        "ksat_treatment_um_s": layer["ksat_um_s"],
        "sand_treatment_pct": layer["sand_pct"],
        "clay_treatment_pct": layer["clay_pct"],
        "texture_treatment": layer["texture"],
    }


def _is_bare_area(own: pd.DataFrame, horizons: pd.DataFrame) -> pd.Series:
    """Miscellaneous areas (urban land) without any entry for stones: the survey rates none."""
    blank = own.index.isin(properties.without_fragment_data(horizons))
    return own["compkind"].eq("miscellaneous area").fillna(False).astype(bool) & blank


def _holds(text: pd.Series, words: str) -> pd.Series:
    return text.fillna("").astype(str).str.casefold().str.contains(words, regex=False)


def _fill_group(
    table: pd.DataFrame, horizons: pd.DataFrame, restrictions: pd.DataFrame, *, whole: pd.Series
) -> pd.DataFrame:
    """Infer the groups that the survey does not give, of components described as a whole."""
    given = table["hydrologic_group"]
    inferred = infer_group(horizons, restrictions, table["wet_top_cm"], table.index).where(whole)
    group = given.where(given.notna(), inferred)
    evidence = np.where(given.notna(), "mapped", np.where(group.notna(), "inferred", "unknown"))
    return table.assign(hydrologic_group=group, hydrologic_group_evidence=evidence)


def name_reasons(limits: pd.DataFrame) -> pd.Series:
    """Name the limits above 0 in plain words, largest first, equal ones in the rule's order."""
    columns = [sub.column for sub in rule.SUB_RULES]
    values = limits[columns].round(RATING_DIGITS).fillna(0).to_numpy()
    words = np.array([sub.reason for sub in rule.SUB_RULES], dtype=object)
    order = np.argsort(-values, axis=1, kind="stable")
    counts = (values > 0).sum(axis=1)
    text = [
        _REASON_BREAK.join(words[places[:count]])
        for places, count in zip(order, counts, strict=True)
    ]
    return pd.Series(text, index=limits.index, dtype=object)
