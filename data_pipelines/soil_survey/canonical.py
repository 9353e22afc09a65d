"""Turn the survey's tables into the canonical soil layers of ``riskmap.contract.layers``."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import pandas as pd

from data_pipelines.soil_survey import domains
from data_pipelines.soil_survey.defects import Defect
from data_pipelines.soil_survey.schema import CANONICAL_LAYER, TABLES
from riskmap.contract.layers import LAYERS

Tables = Mapping[str, pd.DataFrame]
Result = tuple[pd.DataFrame, list[Defect]]


@dataclass(frozen=True)
class Field:
    """One canonical column: the source column it comes from and what it holds.

    ``kind`` is ``key``, ``text``, ``number``, ``flag`` or ``words`` (a closed list, in `domain`).
    """

    name: str
    source: str
    kind: str = "text"
    domain: Mapping[str, str] | None = None


def _numbers(*pairs: tuple[str, str]) -> tuple[Field, ...]:
    return tuple(Field(name, source, "number") for name, source in pairs)


MAPUNIT_FIELDS: Final = (
    Field("mukey", "mukey", "key"),
    Field("area_symbol", "areasymbol"),
    Field("musym", "musym"),
    Field("muname", "muname"),
    Field("published_class", "engstafdcd", "words", domains.RATING_CLASSES),
    Field("published_class_least", "engstafll", "words", domains.RATING_CLASSES),
    Field("published_class_most", "engstafml", "words", domains.RATING_CLASSES),
)
COMPONENT_FIELDS: Final = (
    Field("cokey", "cokey", "key"),
    Field("mukey", "mukey", "key"),
    Field("compname", "compname"),
    Field("comppct", "comppct_r", "number"),
    Field("compkind", "compkind", "words", domains.COMPONENT_KINDS),
    Field("major", "majcompflag", "flag"),
    *_numbers(
        ("slope_low_pct", "slope_l"), ("slope_pct", "slope_r"), ("slope_high_pct", "slope_h")
    ),
    Field("drainage_class", "drainagecl", "words", domains.DRAINAGE),
    Field("hydrologic_group", "hydgrp", "words", domains.GROUPS),
    Field("hydric", "hydricrating", "words", domains.HYDRIC),
    Field("tax_subgroup", "taxsubgrp"),
    Field("tax_great_group", "taxgrtgroup"),
    Field("tax_order", "taxorder"),
    Field("subsidence_cm", "totalsub_r", "number"),
    Field("local_phase", "localphase"),
)
HORIZON_FIELDS: Final = (
    Field("cokey", "cokey", "key"),
    Field("chkey", "chkey", "key"),
    Field("name", "hzname"),
    *_numbers(
        ("top_cm", "hzdept_r"),
        ("bottom_cm", "hzdepb_r"),
        ("ksat_low_um_s", "ksat_l"),
        ("ksat_um_s", "ksat_r"),
        ("ksat_high_um_s", "ksat_h"),
        ("sand_pct", "sandtotal_r"),
        ("silt_pct", "silttotal_r"),
        ("clay_pct", "claytotal_r"),
        ("organic_matter_pct", "om_r"),
        ("bulk_density_g_cm3", "dbthirdbar_r"),
        ("fragments_76_250_pct", "frag3to10_r"),
        ("fragments_over_250_pct", "fraggt10_r"),
    ),
)
RESTRICTION_FIELDS: Final = (
    Field("cokey", "cokey", "key"),
    Field("kind", "reskind", "words", domains.RESTRICTIONS),
    Field("hardness", "reshard", "words", domains.HARDNESS),
    *_numbers(("top_cm", "resdept_r"), ("bottom_cm", "resdepb_r")),
)
MONTH_FIELDS: Final = (
    Field("cokey", "cokey", "key"),
    Field("month", "month", "words", domains.MONTHS),
    Field("flooding_frequency", "flodfreqcl", "words", domains.FLOODING),
    Field("flooding_duration", "floddurcl", "words", domains.FLOODING_DURATIONS),
    Field("ponding_frequency", "pondfreqcl", "words", domains.PONDING),
    Field("ponding_duration", "ponddurcl", "words", domains.PONDING_DURATIONS),
)
INTERPRETATION_FIELDS: Final = (
    Field("cokey", "cokey", "key"),
    Field("rule", "mrulename"),
    Field("factor", "rulename"),
    Field("rule_depth", "ruledepth", "number"),
    Field("rating", "interphr", "number"),
    Field("class", "interphrc"),
)
_FROZEN_WORDS: Final = ("consolidated permafrost", "cpf", "permanently frozen", "pf")


def convert(source: pd.DataFrame, table: str, fields: tuple[Field, ...]) -> Result:
    """Make the canonical columns of `fields` from one source table; rows keep their order."""
    layer = CANONICAL_LAYER[table]
    rows = _row_keys(source, table)
    columns: dict[str, pd.Series] = {}
    defects: list[Defect] = []
    for item in fields:
        values = _source_column(source, item.source)
        columns[item.name], found = _convert_column(values, item, layer, rows)
        defects += found
    return pd.DataFrame(columns, index=source.index), defects


def _row_keys(source: pd.DataFrame, table: str) -> pd.Series:
    spec = TABLES[table]
    for key in (spec.key, spec.parent_key):
        if key is not None and key in source and source[key].notna().any():
            return source[key].astype("string").fillna("")
    return pd.Series(source.index.astype("string"), index=source.index)


def _source_column(source: pd.DataFrame, name: str) -> pd.Series:
    if name in source:
        return source[name]
    return pd.Series(pd.NA, index=source.index, dtype="string")


def _convert_column(
    values: pd.Series, item: Field, layer: str, rows: pd.Series
) -> tuple[pd.Series, list[Defect]]:
    if item.kind == "number":
        return _to_number(values, item.name, layer, rows)
    if item.kind == "words":
        assert item.domain is not None
        return domains.canonical_words(
            values, item.domain, layer=layer, column=item.name, rows=rows
        )
    if item.kind == "flag":
        words, defects = domains.canonical_words(
            values, domains.FLAGS, layer=layer, column=item.name, rows=rows
        )
        return words.map({"yes": True, "no": False}).astype("boolean"), defects
    if item.kind == "key":
        values = values.astype("string").str.replace(r"\.0+$", "", regex=True)
    return values.astype("string"), []


def _to_number(
    values: pd.Series, column: str, layer: str, rows: pd.Series
) -> tuple[pd.Series, list[Defect]]:
    numbers = pd.Series(pd.to_numeric(values, errors="coerce"), dtype="Float64").astype(float)
    bad = values.notna() & numbers.isna()
    low, high = _possible_range(layer, column)
    beyond = (numbers < low) | (numbers > high)
    defects = [
        Defect(layer, column, check, str(row), str(value), "read as unknown")
        for check, wrong in (("not a number", bad), ("not possible", beyond))
        for row, value in zip(rows[wrong], values[wrong], strict=True)
    ]
    return numbers.mask(beyond), defects


def _possible_range(layer: str, column: str) -> tuple[float, float]:
    declared = LAYERS[layer].column(column)
    low = -math.inf if declared.low is None else declared.low
    return low, math.inf if declared.high is None else declared.high


def mapunits(tables: Tables) -> Result:
    """Make ``soil_mapunits``: the map units with area symbol and published classes."""
    source = tables["mapunit"]
    if "areasymbol" not in source:
        source = _add_columns(source, tables["legend"], "lkey", ["areasymbol"])
    published = [item.source for item in MAPUNIT_FIELDS if item.kind == "words"]
    if published[0] not in source:
        source = _add_columns(source, tables["muaggatt"], "mukey", published)
    return convert(source, "mapunit", MAPUNIT_FIELDS)


def _add_columns(
    left: pd.DataFrame, right: pd.DataFrame, key: str, columns: list[str]
) -> pd.DataFrame:
    if key not in left or key not in right:
        return left
    wanted = [column for column in columns if column in right]
    lookup = right.dropna(subset=[key]).drop_duplicates(subset=[key]).set_index(key)[wanted]
    return left.join(lookup, on=key)


def components(tables: Tables) -> Result:
    """Make ``soil_components``."""
    return convert(tables["component"], "component", COMPONENT_FIELDS)


def horizons(tables: Tables) -> Result:
    """Make ``soil_horizons``, in depth order, with texture and the mark of frozen ground."""
    frame, defects = convert(tables["chorizon"], "chorizon", HORIZON_FIELDS)
    frame["texture"] = frame["chkey"].map(_representative_texture(tables["chtexturegrp"]))
    frame["texture"] = frame["texture"].astype("string")
    frame["frozen"] = frame["chkey"].isin(_frozen_horizons(tables)).astype("boolean")
    order = ["cokey", "top_cm", "bottom_cm", "chkey"]
    return frame.sort_values(order, kind="stable", ignore_index=True), defects


def _representative_texture(groups: pd.DataFrame) -> dict[str, str]:
    if not {"chkey", "rvindicator", "texture"} <= set(groups.columns):
        return {}
    chosen = groups["rvindicator"].astype("string").str.strip().str.casefold().map(domains.FLAGS)
    rows = groups[(chosen == "yes") & groups["texture"].notna()].drop_duplicates("chkey")
    return dict(zip(rows["chkey"], rows["texture"], strict=True))


def _frozen_horizons(tables: Tables) -> set[str]:
    """Keys of horizons of which any texture entry, representative or not, says frozen."""
    groups, textures, modifiers = (
        tables[name] for name in ("chtexturegrp", "chtexture", "chtexturemod")
    )
    by_modifier = _frozen_keys(modifiers, "texmod", "chtkey")
    in_lieu = _frozen_keys(textures, "lieutex", "chtgkey")
    if {"chtkey", "chtgkey"} <= set(textures.columns):
        in_lieu |= set(textures.loc[textures["chtkey"].isin(by_modifier), "chtgkey"])
    if not {"chtgkey", "chkey"} <= set(groups.columns):
        return set()
    frozen = groups["chtgkey"].isin(in_lieu)
    if "texture" in groups:
        parts = groups["texture"].fillna("").astype(str).str.casefold().str.split(r"[- ]")
        frozen |= parts.map(lambda words: "pf" in words or "cpf" in words)
    return set(groups.loc[frozen, "chkey"])


def _frozen_keys(frame: pd.DataFrame, column: str, key: str) -> set[str]:
    if column not in frame or key not in frame:
        return set()
    words = frame[column].astype("string").str.replace(r"\s*\(.*\)\s*$", "", regex=True)
    marks = words.str.strip().str.casefold().isin(_FROZEN_WORDS)
    return set(frame.loc[marks, key].dropna())


def restrictions(tables: Tables) -> Result:
    """Make ``soil_restrictions``, shallowest first within each component."""
    frame, defects = convert(tables["corestrictions"], "corestrictions", RESTRICTION_FIELDS)
    return frame.sort_values(["cokey", "top_cm"], kind="stable", ignore_index=True), defects


def months(tables: Tables) -> Result:
    """Make ``soil_months``: flooding, ponding and the shallowest wet layer of each month."""
    source = tables["comonth"]
    frame, defects = convert(source, "comonth", MONTH_FIELDS)
    frame["month"] = pd.to_numeric(frame["month"]).astype(float)
    wet, found = _wet_layers(tables["cosoilmoist"])
    keys = _source_column(source, "comonthkey")
    for column in ("wet_top_cm", "wet_bottom_cm"):
        frame[column] = keys.map(wet[column]).astype(float)
    return frame.sort_values(["cokey", "month"], kind="stable", ignore_index=True), defects + found


def _wet_layers(moisture: pd.DataFrame) -> Result:
    fields = (
        Field("comonthkey", "comonthkey"),
        Field("status", "soimoiststat", "words", domains.MOISTURE),
        *_numbers(("wet_top_cm", "soimoistdept_r"), ("wet_bottom_cm", "soimoistdepb_r")),
    )
    layers, defects = convert(moisture, "cosoilmoist", fields)
    wet = layers[layers["status"].isin(["wet", "saturation"]) & layers["wet_top_cm"].notna()]
    shallowest = wet.sort_values(["comonthkey", "wet_top_cm"], kind="stable")
    return shallowest.drop_duplicates("comonthkey").set_index("comonthkey"), defects


def interpretations(tables: Tables) -> Result:
    """Make ``soil_interpretations``: published absorption-field ratings and their factors."""
    frame, defects = convert(tables["cointerp"], "cointerp", INTERPRETATION_FIELDS)
    overall = frame["rule_depth"] == 0
    frame["class"] = frame["class"].where(~overall, frame["class"].str.casefold())
    return frame.reset_index(drop=True), defects


def drop_orphans(child: pd.DataFrame, layer: str, key: str, parents: pd.Series) -> Result:
    """Leave out rows whose `key` is blank or not among `parents`; one defect for each key."""
    lost = ~child[key].isin(set(parents.dropna()))
    counts = child.loc[lost, key].fillna("").value_counts(sort=False)
    defects = [
        Defect(layer, key, "parent missing", str(name), f"{count} rows", "rows left out")
        for name, count in counts.items()
    ]
    return child[~lost].reset_index(drop=True), defects
