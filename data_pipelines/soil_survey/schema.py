"""Which tables and columns of the survey this reader uses: declared here, once.

Each table and each column says what becomes of a survey that lacks it:

- ``needed``: the survey cannot be read;
- ``rating``: its components are not rated, since a limit that was not looked for is not "no limit";
- ``optional``: the defect table says what it costs.

Source of the names: USDA-NRCS, Soil Survey Geographic (SSURGO) data model, as each export carries
them in its own metadata tables.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Literal

import pandas as pd

from data_pipelines.soil_survey import domains
from data_pipelines.soil_survey.defects import Defect

RULE_WORDS: Final = "septic tank absorption fields"
"""Interpretations whose rule name holds these words are read, all others are left out."""

Need = Literal["needed", "rating", "optional"]
NOT_RATED: Final = "components are not rated"


@dataclass(frozen=True)
class Field:
    """One source column.

    Parameters
    ----------
    name
        Canonical column made from it; empty where it only joins tables or marks a layer.
    source
        The survey's own name.
    kind
        ``key``, ``text``, ``number``, ``flag`` or ``words`` (a closed list, in `domain`).
    need, cost
        What becomes of a survey without it; `cost` in words for the defect table.
    """

    name: str
    source: str
    kind: str = "text"
    domain: Mapping[str, str] | None = None
    need: Need = "optional"
    cost: str = "column left empty"


@dataclass(frozen=True)
class TableSpec:
    """One source table.

    Parameters
    ----------
    layer
        Canonical layer that it goes into.
    key, parent, parent_key
        Its own key, the table it hangs on, and the key of that.
    signature
        Columns that give it away in a file without a telling name.
    need, cost
        What becomes of a survey without it; `cost` in words for the defect table.
    """

    layer: str
    key: str
    parent: str | None
    parent_key: str | None
    signature: tuple[str, ...]
    need: Need
    cost: str
    fields: tuple[Field, ...]


def _key(name: str, source: str = "") -> Field:
    return Field(name, source or name, "key", need="needed")


def _link(source: str, *, need: Need = "optional", cost: str = "rows cannot be joined") -> Field:
    return Field("", source, "key", need=need, cost=cost)


def _number(name: str, source: str, need: Need = "optional") -> Field:
    return Field(name, source, "number", need=need)


def _words(
    name: str, source: str, domain: Mapping[str, str], need: Need = "optional", cost: str = ""
) -> Field:
    return Field(name, source, "words", domain, need, cost or "column left empty")


_NO_CLASS: Final = "published classes are not shown"
_NO_TEXTURE: Final = "texture and frozen layers unknown"
_DRY: Final = "soils of dry climates are rated like others"

TABLES: Final[Mapping[str, TableSpec]] = {
    "legend": TableSpec(
        "soil_mapunits", "lkey", None, None, ("lkey", "areasymbol"),
        "optional", "survey areas have no symbol",
        (_link("lkey"), Field("", "areasymbol")),
    ),
    "mapunit": TableSpec(
        "soil_mapunits", "mukey", "legend", "lkey", ("mukey", "muname"),
        "optional", "map units have no names",
        (
            _key("mukey"),
            Field("musym", "musym"),
            Field("muname", "muname"),
        ),
    ),
    "muaggatt": TableSpec(
        "soil_mapunits", "mukey", "mapunit", "mukey", ("mukey", "engstafdcd"),
        "optional", _NO_CLASS,
        (
            _link("mukey", cost=_NO_CLASS),
            _words("published_class", "engstafdcd", domains.RATING_CLASSES),
            _words("published_class_least", "engstafll", domains.RATING_CLASSES),
            _words("published_class_most", "engstafml", domains.RATING_CLASSES),
        ),
    ),
    "component": TableSpec(
        "soil_components", "cokey", "mapunit", "mukey", ("cokey", "mukey", "comppct_r"),
        "needed", "",
        (
            _key("cokey"),
            _key("mukey"),
            Field("compname", "compname"),
            _number("comppct", "comppct_r", "needed"),
            _words("compkind", "compkind", domains.COMPONENT_KINDS, "rating"),
            Field("major", "majcompflag", "flag"),
            _number("slope_pct", "slope_r", "rating"),
            _words("drainage_class", "drainagecl", domains.DRAINAGE, "rating"),
            _words("hydrologic_group", "hydgrp", domains.GROUPS, cost="groups are inferred"),
            Field("tax_subgroup", "taxsubgrp", cost=_DRY),
            Field("tax_great_group", "taxgrtgroup", cost=_DRY),
            Field("tax_order", "taxorder", cost=_DRY),
            _number("subsidence_cm", "totalsub_r", "rating"),
            Field("local_phase", "localphase", need="rating"),
        ),
    ),
    "chorizon": TableSpec(
        "soil_horizons", "chkey", "component", "cokey", ("cokey", "hzdept_r"),
        "needed", "",
        (
            _key("cokey"),
            _key("chkey"),
            Field("name", "hzname"),
            _number("top_cm", "hzdept_r", "needed"),
            _number("bottom_cm", "hzdepb_r", "needed"),
            _number("ksat_um_s", "ksat_r", "needed"),
            _number("sand_pct", "sandtotal_r"),
            _number("clay_pct", "claytotal_r"),
            _number("fragments_76_250_pct", "frag3to10_r", "rating"),
            _number("fragments_over_250_pct", "fraggt10_r", "rating"),
        ),
    ),
    "corestrictions": TableSpec(
        "soil_restrictions", "corestrictkey", "component", "cokey", ("cokey", "reskind"),
        "rating", NOT_RATED,
        (
            _key("cokey"),
            _words("kind", "reskind", domains.RESTRICTIONS, "rating"),
            _words("hardness", "reshard", domains.HARDNESS, cost="loose pans count as hard"),
            _number("top_cm", "resdept_r", "rating"),
            _number("bottom_cm", "resdepb_r"),
        ),
    ),
    "comonth": TableSpec(
        "soil_months", "comonthkey", "component", "cokey", ("cokey", "month"),
        "rating", NOT_RATED,
        (
            _key("cokey"),
            _link("comonthkey", need="rating"),
            _words("month", "month", domains.MONTHS, cost="wet months are not told apart"),
            _words("flooding_frequency", "flodfreqcl", domains.FLOODING, "rating"),
            _words("flooding_duration", "floddurcl", domains.FLOODING_DURATIONS),
            _words("ponding_frequency", "pondfreqcl", domains.PONDING, "rating"),
            _words("ponding_duration", "ponddurcl", domains.PONDING_DURATIONS, "rating"),
        ),
    ),
    "cosoilmoist": TableSpec(
        "soil_months", "cosoilmoistkey", "comonth", "comonthkey", ("comonthkey", "soimoiststat"),
        "rating", NOT_RATED,
        (
            Field("comonthkey", "comonthkey", "key", need="rating"),
            _words("status", "soimoiststat", domains.MOISTURE, "rating"),
            _number("wet_top_cm", "soimoistdept_r", "rating"),
            _number("wet_bottom_cm", "soimoistdepb_r"),
        ),
    ),
    "cointerp": TableSpec(
        "soil_interpretations", "cointerpkey", "component", "cokey", ("cokey", "mrulename"),
        "optional", "published ratings are not compared",
        (
            Field("cokey", "cokey", "key", cost="published ratings are not compared"),
            Field("rule", "mrulename"),
            Field("factor", "rulename"),
            _number("rule_depth", "ruledepth"),
            _number("rating", "interphr"),
            Field("class", "interphrc"),
        ),
    ),
    "chtexturegrp": TableSpec(
        "soil_horizons", "chtgkey", "chorizon", "chkey", ("chkey", "rvindicator"),
        "optional", _NO_TEXTURE,
        (
            _link("chkey", cost=_NO_TEXTURE),
            _link("chtgkey", cost=_NO_TEXTURE),
            Field("", "texture", cost=_NO_TEXTURE),
            Field("", "rvindicator", cost=_NO_TEXTURE),
        ),
    ),
    "chtexture": TableSpec(
        "soil_horizons", "chtkey", "chtexturegrp", "chtgkey", ("chtgkey", "lieutex"),
        "optional", _NO_TEXTURE,
        (
            _link("chtgkey", cost=_NO_TEXTURE),
            _link("chtkey", cost=_NO_TEXTURE),
            Field("", "lieutex", cost=_NO_TEXTURE),
        ),
    ),
    "chtexturemod": TableSpec(
        "soil_horizons", "chtexmodkey", "chtexture", "chtkey", ("chtkey", "texmod"),
        "optional", _NO_TEXTURE,
        (_link("chtkey", cost=_NO_TEXTURE), Field("", "texmod", cost=_NO_TEXTURE)),
    ),
}  # fmt: skip
"""Parents come before their children."""

MAY_BE_EMPTY: Final = ("corestrictions", "chtexturemod", "cointerp")
"""Tables without a row in many areas; every other has rows wherever there are soils."""

FROZEN_TABLES: Final = ("chtexturegrp", "chtexture", "chtexturemod")
FROZEN_ORDER: Final = "gelisols"
"""Without the texture tables nothing says whether a layer is frozen. Only this order of soils has
permafrost (USDA, Soil Taxonomy, 1999), so only its soils then go unrated."""


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


def keep_wanted_rules(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Cut the interpretations table down to the absorption-field rules; pass others through."""
    if table != "cointerp" or "mrulename" not in frame:
        return frame
    names = frame["mrulename"].fillna("").astype(str).str.casefold()
    return frame[names.str.contains(RULE_WORDS, regex=False)].reset_index(drop=True)
