"""Words of the survey's closed lists, made canonical.

The lists are those that every export carries in its own domain table (``msdomdet.txt``, USDA-NRCS
SSURGO); the database's inner spelling ("bedrock, lithic") is accepted as well as the exported one
("Lithic bedrock"). Matching ignores case, surrounding blanks and an explanation in brackets.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import pandas as pd

from data_pipelines.soil_survey.defects import Defect, shown
from riskmap.contract.vocabulary import (
    DRAINAGE_CLASSES,
    FLOODING_FREQUENCIES,
    HYDROLOGIC_GROUPS,
    PONDING_FREQUENCIES,
)


def _same(*words: str) -> dict[str, str]:
    return {word.casefold(): word for word in words}


COMPONENT_KINDS: Final = _same(
    "family", "miscellaneous area", "series", "taxadjunct", "taxon above family", "variant"
)
DRAINAGE: Final = {
    **_same(*DRAINAGE_CLASSES),
    **{f"{name} drained": name for name in DRAINAGE_CLASSES},
}
GROUPS: Final = _same(*HYDROLOGIC_GROUPS)
FLOODING: Final = _same(*FLOODING_FREQUENCIES)
FLOODING_DURATIONS: Final = _same("extremely brief", "very brief", "brief", "long", "very long")
PONDING: Final = _same(*PONDING_FREQUENCIES)
PONDING_DURATIONS: Final = _same("very brief", "brief", "long", "very long")
MOISTURE: Final = {
    **_same("dry", "moist", "wet", "saturation", "frozen"),
    "saturation from capillary fringe": "saturation",
}
RESTRICTIONS: Final = {
    **_same(
        "abrupt textural change",
        "densic bedrock",
        "lithic bedrock",
        "paralithic bedrock",
        "cemented horizon",
        "densic material",
        "duripan",
        "fragipan",
        "manufactured layer",
        "natric",
        "ortstein",
        "permafrost",
        "petrocalcic",
        "petroferric",
        "petrogypsic",
        "placic",
        "plinthite",
        "salic",
        "strongly contrasting textural stratification",
        "sulfuric",
        "undefined",
    ),
    "bedrock, densic": "densic bedrock",
    "bedrock, lithic": "lithic bedrock",
    "bedrock, paralithic": "paralithic bedrock",
}
HARDNESS: Final = {
    **_same(
        "noncemented",
        "extremely weakly cemented",
        "very weakly cemented",
        "weakly cemented",
        "moderately cemented",
        "strongly cemented",
        "very strongly cemented",
        "indurated",
        "noncoherent",
        "extremely strong",
        "hard",
        "soft",
    ),
    **{f"{word} cemented*": f"{word} cemented" for word in ("weakly", "moderately", "strongly")},
}
RATING_CLASSES: Final = _same("not limited", "somewhat limited", "very limited", "not rated")
MONTHS: Final = {
    name: str(number)
    for number, name in enumerate(
        (
            "january",
            "february",
            "march",
            "april",
            "may",
            "june",
            "july",
            "august",
            "september",
            "october",
            "november",
            "december",
        ),
        start=1,
    )
}
FLAGS: Final = {"yes": "yes", "1": "yes", "true": "yes", "no": "no", "0": "no", "false": "no"}


def canonical_words(
    values: pd.Series,
    domain: Mapping[str, str],
    *,
    layer: str,
    column: str,
    rows: pd.Series,
) -> tuple[pd.Series, list[Defect]]:
    """Map `values` to the words of `domain`; what is not in it becomes missing, with a defect.

    Parameters
    ----------
    values
        Text, missing where blank.
    domain
        Case-folded source word -> canonical word.
    rows
        Key of each row, for the defect.
    """
    folded = values.astype("string").str.replace(r"\s*\(.*\)\s*$", "", regex=True)
    folded = folded.str.strip().str.casefold()
    mapped = folded.map(domain).astype("string")
    unknown = values.notna() & mapped.isna()
    defects = [
        Defect(layer, column, "unknown value", str(row), shown(value), "read as unknown")
        for row, value in zip(rows[unknown], values[unknown], strict=True)
    ]
    return mapped, defects
