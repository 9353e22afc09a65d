"""The national absorption-field rule as named data: 14 sub-rules, their curves and missing values.

Source: USDA-NRCS, interpretation rule 208 "ENG - Septic Tank Absorption Fields" and its property
definitions, as exported on 21 March 2025 in the agency's open interpretation database. Numbers and
names of sub-rules are the agency's, so that published factors can be matched; the words are ours.
The rule is a limitation rule: the largest sub-rating is the rating.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import pandas as pd

from riskmap.inventory.soil_curves import s_curve

RULE_NAME: Final = "ENG - Septic Tank Absorption Fields"
Shape = Literal["rising", "falling", "above", "flag", "words", "exclude"]


@dataclass(frozen=True)
class SubRule:
    """One sub-rule of the national rule.

    Parameters
    ----------
    column
        Column of the rating table.
    reason
        Plain words for lists and letters.
    source_id, source_name
        Number and name of the sub-rule in the agency's database.
    feature
        Component property that it judges.
    shape
        ``rising`` and ``falling`` S-curve from `low` to `high`; ``above``: 1 above `low`, else 0;
        ``flag``: 1 if true; ``words``: the value in `words`; ``exclude``: a true flag means that
        the component is not rated.
    missing_is_not_rated
        Whether a missing value leaves the whole component without a rating; else it counts 0.
    """

    column: str
    reason: str
    source_id: int
    source_name: str
    feature: str
    shape: Shape
    low: float = np.nan
    high: float = np.nan
    words: Mapping[str, float] | None = None
    missing_is_not_rated: bool = False

    def rate(self, values: pd.Series) -> pd.Series:
        """Rate `values` 0..1; NaN only where the component cannot be rated."""
        ratings = self._raw(values)
        if self.missing_is_not_rated:
            return ratings
        return ratings.fillna(0.0)

    def _raw(self, values: pd.Series) -> pd.Series:
        if self.shape == "words":
            return values.map(dict(self.words or {})).astype(float)
        numbers = values.astype(float)
        if self.shape in ("rising", "falling"):
            curve = s_curve(numbers, low=self.low, high=self.high, falling=self.shape == "falling")
            return pd.Series(curve, index=values.index)
        if self.shape == "above":
            return (numbers > self.low).astype(float).where(numbers.notna())
        if self.shape == "exclude":
            return pd.Series(np.where(numbers.eq(1), np.nan, 0.0), index=values.index)
        return numbers


SUB_RULES: Final = (
    SubRule("limit_permafrost", "permafrost", 204, "Permafrost", "permafrost_rating", "flag"),
    SubRule(
        "limit_flooding",
        "flooding",
        10909,
        "Flooding  Very Rare/Rare Freq.",
        "flooding_frequency",
        "words",
        words={
            "none": 0.0,
            "very rare": 0.2,
            "rare": 0.4,
            "occasional": 1.0,
            "frequent": 1.0,
            "very frequent": 1.0,
        },
    ),
    SubRule("limit_ponding", "ponding", 201, "Ponded > 4 hours", "is_ponded", "flag"),
    SubRule(
        "limit_bedrock",
        "shallow bedrock",
        229,
        "Shallow to Bedrock 100 - 180cm",
        "bedrock_cm",
        "falling",
        100.0,
        180.0,
    ),
    SubRule(
        "limit_cemented_pan",
        "shallow pan",
        230,
        "Shallow to Cemented Pan 100 - 180cm",
        "cemented_pan_cm",
        "falling",
        100.0,
        181.9,
    ),
    SubRule(
        "limit_saturated_zone",
        "high water table",
        231,
        "Wet, Ground Water Near the Surface (120 - 180cm)",
        "wet_top_cm",
        "falling",
        119.9,
        179.9,
    ),
    SubRule(
        "limit_poor_filter",
        "soil too fast to filter",
        232,
        'Filter Field 60 - 150cm (24-60")',
        "ksat_filter_um_s",
        "above",
        42.0,
    ),
    SubRule(
        "limit_slow_water",
        "slow water movement",
        233,
        'Percolation 60 - 180cm (24-72")',
        "ksat_min_um_s",
        "falling",
        3.99,
        13.99,
    ),
    SubRule(
        "limit_slope",
        "steep slope",
        10192,
        "Slope 8 to > 15%",
        "slope_pct",
        "rising",
        7.999,
        15.0,
        missing_is_not_rated=True,
    ),
    SubRule(
        "limit_subsidence",
        "subsidence",
        282,
        'Total Subsidence > 60cm (24")',
        "subsidence_cm",
        "above",
        60.0,
    ),
    SubRule(
        "limit_large_stones",
        "large stones",
        284,
        "Large Stones - Fract. >3in, 24.9 to >50%, Wght. Av. 0-40",
        "large_stones_pct",
        "rising",
        24.99,
        50.01,
        missing_is_not_rated=True,
    ),
    SubRule(
        "limit_seepage",
        "seepage through the bottom layer",
        433,
        "Seepage Bottom Layer, Not Aridic",
        "seeps_below",
        "flag",
    ),
    SubRule(
        "limit_unstable_fill", "unstable fill", 18120, "Unstable Fill", "is_unstable_fill", "flag"
    ),
    SubRule(
        "limit_subaqueous",
        "under water",
        63590,
        "SAS - Drainage Class Not Subaqueous (lim)",
        "is_subaqueous",
        "exclude",
        missing_is_not_rated=True,
    ),
)

LIMIT_COLUMNS: Final = tuple(rule.column for rule in SUB_RULES)
BEDROCK_KINDS: Final = ("lithic bedrock", "paralithic bedrock", "densic bedrock")
PAN_KINDS: Final = (
    "fragipan",
    "duripan",
    "petrocalcic",
    "ortstein",
    "petrogypsic",
    "petroferric",
)
NOT_CEMENTED: Final = ("noncoherent",)
NOT_A_BARRIER: Final = (
    "abrupt textural change",
    "strongly contrasting textural stratification",
)
"""A change of texture does not end the profile: the layers below it are rated too. The rule text
does not name these kinds; published classes are met only if neither counts."""
SEEPAGE_KSAT_UM_S: Final = 14.0
TREATMENT_TOP_CM: Final = 60.0
STONES_DEPTH_CM: Final = 100.0
PERMAFROST_CURVE_CM: Final = (50.0, 100.0)
NO_RESTRICTION_CM: Final = 250.0
"""Depth that the rule puts in place of a restriction where none is recorded."""
FILTER_RESTRICTION_CM: Final = 150.0
"""A restriction at this depth or deeper does not cut the filter sub-rule."""
