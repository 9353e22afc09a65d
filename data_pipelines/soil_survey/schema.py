"""Which tables and columns of the survey's public data model this reader uses, and how they join.

Source: USDA-NRCS, Soil Survey Geographic (SSURGO) data model; the names are those that each export
carries in its own metadata tables.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import pandas as pd

from data_pipelines.soil_survey.defects import Defect

RULE_WORDS: Final = "septic tank absorption fields"
"""Interpretations whose rule name holds these words are read, all others are left out."""


@dataclass(frozen=True)
class TableSpec:
    """One source table: its own key, the parent it hangs on, and columns that give it away."""

    key: str
    parent: str | None
    parent_key: str | None
    signature: tuple[str, ...]


TABLES: Final[Mapping[str, TableSpec]] = {
    "legend": TableSpec("lkey", None, None, ("lkey", "areasymbol")),
    "mapunit": TableSpec("mukey", "legend", "lkey", ("mukey", "muname")),
    "muaggatt": TableSpec("mukey", "mapunit", "mukey", ("mukey", "engstafdcd")),
    "component": TableSpec("cokey", "mapunit", "mukey", ("cokey", "mukey", "comppct_r")),
    "chorizon": TableSpec("chkey", "component", "cokey", ("cokey", "hzdept_r")),
    "corestrictions": TableSpec("corestrictkey", "component", "cokey", ("cokey", "reskind")),
    "comonth": TableSpec("comonthkey", "component", "cokey", ("cokey", "month")),
    "cosoilmoist": TableSpec(
        "cosoilmoistkey", "comonth", "comonthkey", ("comonthkey", "soimoiststat")
    ),
    "cointerp": TableSpec("cointerpkey", "component", "cokey", ("cokey", "mrulename")),
    "chtexturegrp": TableSpec("chtgkey", "chorizon", "chkey", ("chkey", "rvindicator")),
    "chtexture": TableSpec("chtkey", "chtexturegrp", "chtgkey", ("chtgkey", "lieutex")),
    "chtexturemod": TableSpec("chtexmodkey", "chtexture", "chtkey", ("chtkey", "texmod")),
}
"""Parents stand before their children."""

CANONICAL_LAYER: Final[Mapping[str, str]] = {
    "legend": "soil_mapunits",
    "mapunit": "soil_mapunits",
    "muaggatt": "soil_mapunits",
    "component": "soil_components",
    "chorizon": "soil_horizons",
    "corestrictions": "soil_restrictions",
    "comonth": "soil_months",
    "cosoilmoist": "soil_months",
    "cointerp": "soil_interpretations",
    "chtexturegrp": "soil_horizons",
    "chtexture": "soil_horizons",
    "chtexturemod": "soil_horizons",
}


@dataclass(frozen=True)
class RawSource:
    """Tables of one source as text, missing where blank, with the defects met on the way."""

    name: str
    tables: Mapping[str, pd.DataFrame]
    defects: tuple[Defect, ...] = field(default=())

    @property
    def is_empty(self) -> bool:
        """Whether no table has a row."""
        return all(table.empty for table in self.tables.values())


def short_name(path: Path) -> str:
    """Name a file or folder by its last two parts, so that reports are alike on every machine.

    >>> short_name(Path("/data/AR017/tabular"))
    'AR017/tabular'
    """
    return "/".join(path.parts[-2:])


def is_wanted_rule(names: pd.Series) -> pd.Series:
    """Mark rows whose rule name is an absorption-field rule, national or of a state."""
    marks: pd.Series = (
        names.fillna("").astype(str).str.casefold().str.contains(RULE_WORDS, regex=False)
    )
    return marks


def keep_wanted_rules(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Cut the interpretations table down to the absorption-field rules; pass others through."""
    if table != "cointerp" or "mrulename" not in frame:
        return frame
    return frame[is_wanted_rule(frame["mrulename"])].reset_index(drop=True)
