"""Turn the survey's tables into the canonical soil layers of ``riskmap.contract.layers``."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final, NamedTuple

import pandas as pd

from data_pipelines.soil_survey import domains
from data_pipelines.soil_survey.defects import Defect, shown
from data_pipelines.soil_survey.needs import GAPS
from data_pipelines.soil_survey.schema import NOT_RATED, TABLES, Field
from riskmap.contract.layers import LAYERS

Tables = Mapping[str, pd.DataFrame]


class Made(NamedTuple):
    """A canonical table, its defects, and keys of components with an unreadable number in it.

    Such a number is one that a rating needs: unknown, it must not make the soil look better.
    """

    frame: pd.DataFrame
    defects: list[Defect]
    hurt: frozenset[str] = frozenset()


_FROZEN_WORDS: Final = ("consolidated permafrost", "cpf", "permanently frozen", "pf")


def convert(source: pd.DataFrame, table: str, fields: Sequence[Field] = ()) -> Made:
    """Make the canonical columns of one source table; rows keep their order.

    Parameters
    ----------
    source
        Table of the survey, as texts or numbers, under its own column names.
    table
        Name of the table in the survey's schema.
    fields
        Fields to make; empty: those that the table declares.
    """
    layer = TABLES[table].layer
    rows = _row_keys(source, table)
    columns: dict[str, pd.Series] = {}
    defects: list[Defect] = []
    lost = pd.Series(False, index=source.index)
    for item in fields or TABLES[table].fields:
        if item.name:
            values = _source_column(source, item.source)
            columns[item.name], found = _convert_column(values, item, layer, rows)
            defects += found
            if found and item.kind == "number" and item.need != "optional":
                lost |= values.notna() & columns[item.name].isna()
    hurt = frozenset(_source_column(source, "cokey")[lost].dropna())
    return Made(pd.DataFrame(columns, index=source.index), defects, hurt)


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
    return values.astype("string"), []


def _to_number(
    values: pd.Series, column: str, layer: str, rows: pd.Series
) -> tuple[pd.Series, list[Defect]]:
    numbers = pd.Series(pd.to_numeric(values, errors="coerce"), dtype="Float64").astype(float)
    bad = values.notna() & numbers.isna()
    low, high = _possible_range(layer, column)
    beyond = (numbers < low) | (numbers > high)
    defects = [
        Defect(layer, column, check, str(row), shown(value), "read as unknown")
        for check, wrong in (("not a number", bad), ("not possible", beyond))
        for row, value in zip(rows[wrong], values[wrong], strict=True)
    ]
    return numbers.mask(beyond), defects


def _possible_range(layer: str, column: str) -> tuple[float, float]:
    declared = LAYERS[layer].column(column)
    low = -math.inf if declared.low is None else declared.low
    return low, math.inf if declared.high is None else declared.high


def mapunits(tables: Tables) -> Made:
    """Make ``soil_mapunits``: the map units with area symbol and published classes."""
    source = tables["mapunit"]
    symbol = Field("area_symbol", "areasymbol")
    classes = [item for item in TABLES["muaggatt"].fields if item.name]
    if symbol.source not in source:
        source = _add_columns(source, tables["legend"], "lkey", [symbol.source])
    if classes[0].source not in source:
        names = [item.source for item in classes]
        source = _add_columns(source, tables["muaggatt"], "mukey", names)
    key, *rest = TABLES["mapunit"].fields
    return convert(source, "mapunit", [key, symbol, *rest, *classes])


def _add_columns(
    left: pd.DataFrame, right: pd.DataFrame, key: str, columns: list[str]
) -> pd.DataFrame:
    if key not in left or key not in right:
        return left
    wanted = [column for column in columns if column in right]
    lookup = right.dropna(subset=[key]).drop_duplicates(subset=[key]).set_index(key)[wanted]
    return left.join(lookup, on=key)


def components(tables: Tables) -> Made:
    """Make ``soil_components``."""
    source = tables["component"]
    frame, defects, hurt = convert(source, "component")
    return Made(frame.assign(gaps=_source_column(source, GAPS)), defects, hurt)


def horizons(tables: Tables) -> Made:
    """Make ``soil_horizons``, in depth order, with texture and the mark of frozen ground."""
    frame, defects, hurt = convert(tables["chorizon"], "chorizon")
    frame["texture"] = frame["chkey"].map(_representative_texture(tables["chtexturegrp"]))
    frame["texture"] = frame["texture"].astype("string")
    frame["frozen"] = frame["chkey"].isin(_frozen_horizons(tables)).astype("boolean")
    order = ["cokey", "top_cm", "bottom_cm", "chkey"]
    frame = frame.sort_values(order, kind="stable", ignore_index=True)
    return Made(frame, defects + _profile_gaps(frame), hurt)


def _profile_gaps(ordered: pd.DataFrame) -> list[Defect]:
    """Find layers that do not begin where the one above ends: a row between them is lost."""
    above = ordered.groupby("cokey")["bottom_cm"].shift().fillna(0.0)
    apart = ordered[ordered["top_cm"] != above].assign(above=above)
    return [
        Defect(
            "soil_horizons", "top_cm", "layers do not meet", str(row.cokey),
            f"one ends at {row.above:g} cm, the next begins at {row.top_cm:g} cm", "kept",
        )
        for row in apart.dropna(subset=["cokey", "top_cm"]).itertuples()
    ]  # fmt: skip


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


def restrictions(tables: Tables) -> Made:
    """Make ``soil_restrictions``, shallowest first within each component."""
    frame, defects, hurt = convert(tables["corestrictions"], "corestrictions")
    ordered = frame.sort_values(["cokey", "top_cm"], kind="stable", ignore_index=True)
    return Made(ordered, defects, hurt)


def months(tables: Tables) -> Made:
    """Make ``soil_months``: flooding, ponding and the shallowest wet layer of each month."""
    source = tables["comonth"]
    frame, defects, hurt = convert(source, "comonth")
    frame["month"] = pd.to_numeric(frame["month"]).astype(float)
    keys = _source_column(source, "comonthkey")
    component = dict(zip(keys, frame["cokey"], strict=True))
    moisture = tables["cosoilmoist"]
    owner = _source_column(moisture, "comonthkey").map(component)
    wet, found, dry = _wet_layers(moisture.assign(cokey=owner))
    for column in ("wet_top_cm", "wet_bottom_cm"):
        frame[column] = keys.map(wet[column]).astype(float)
    ordered = frame.sort_values(["cokey", "month"], kind="stable", ignore_index=True)
    return Made(ordered, defects + found, hurt | dry)


def _wet_layers(moisture: pd.DataFrame) -> Made:
    layers, defects, hurt = convert(moisture, "cosoilmoist")
    wet = layers[layers["status"].isin(["wet", "saturation"]) & layers["wet_top_cm"].notna()]
    shallowest = wet.sort_values(["comonthkey", "wet_top_cm"], kind="stable")
    first = shallowest.dropna(subset="comonthkey").drop_duplicates("comonthkey")
    return Made(first.set_index("comonthkey"), defects, hurt)


def interpretations(tables: Tables) -> Made:
    """Make ``soil_interpretations``: published absorption-field ratings and their factors."""
    frame, defects, _ = convert(tables["cointerp"], "cointerp")
    overall = frame["rule_depth"] == 0
    frame["class"] = frame["class"].where(~overall, frame["class"].str.casefold())
    return Made(frame.reset_index(drop=True), defects)


def drop_keyless(frame: pd.DataFrame, layer: str) -> Made:
    """Leave out rows without one of the layer's own keys; children without a parent come later."""
    defects: list[Defect] = []
    for column in LAYERS[layer].columns:
        if column.nullable or (column.name == "cokey" and layer != "soil_components"):
            continue
        blank = frame[column.name].isna()
        defects += [
            Defect(layer, column.name, "key blank", str(row), "", "row left out")
            for row in frame.index[blank]
        ]
        frame = frame[~blank]
    return Made(frame.reset_index(drop=True), defects)


def drop_orphans(child: pd.DataFrame, layer: str, key: str, parents: pd.Series) -> Made:
    """Leave out rows whose `key` is blank or not among `parents`; one defect for each key.

    Parameters
    ----------
    child
        Canonical rows.
    layer
        Name of their layer.
    key
        Column that names the parent.
    parents
        Keys that exist.
    """
    lost = ~child[key].isin(set(parents.dropna()))
    counts = child.loc[lost, key].fillna("").value_counts(sort=False)
    defects = [
        Defect(layer, key, "parent missing", str(name), f"{count} rows", "rows left out")
        for name, count in counts.items()
    ]
    return Made(child[~lost].reset_index(drop=True), defects)


def unjoined(tables: Tables) -> list[Defect]:
    """Count rows whose parent is not there, of tables that only add to another.

    Rows that belong to a component are looked at one by one, by :func:`drop_orphans`.
    """
    defects = []
    for name, spec in TABLES.items():
        key = spec.parent_key
        if spec.parent is None or key is None or key == "cokey" or key not in tables[name]:
            continue
        parents = tables[spec.parent]
        known = set(parents[key].dropna()) if key in parents else set()
        lost = int((~tables[name][key].isin(known)).sum())
        if lost and not (parents.empty and spec.parent == "mapunit"):
            told = f"{lost} of {len(tables[name])} rows of {name}"
            defects.append(Defect(spec.layer, "", "not joined", "(all)", told, f"no {key} to join"))
    return defects


def count_childless(layers: Tables, units: pd.DataFrame | None) -> list[Defect]:
    """Count map units without components, components without layers, months or percentage.

    Polygons of a map unit that has no components are named one by one: they lie on the map.
    """
    parents, own = layers["soil_mapunits"], layers["soil_components"]
    lacking = {
        ("soil_mapunits", "no components"): (
            ~parents["mukey"].isin(own["mukey"]), "soil unknown there"),
        ("soil_components", "no percentage"): (
            own["comppct"].isna(), "left out of its map unit"),
        ("soil_components", "no horizons"): (
            ~own["cokey"].isin(layers["soil_horizons"]["cokey"]), NOT_RATED),
        ("soil_components", "no months"): (
            ~own["cokey"].isin(layers["soil_months"]["cokey"]),
            "rated as dry, as the national rule does"),
    }  # fmt: skip
    defects = [
        Defect(layer, "", check, "(all)", f"{int(marks.sum())} of {len(marks)}", action)
        for (layer, check), (marks, action) in lacking.items()
        if marks.any()
    ]
    if units is None:
        return defects
    strange = units.loc[~units["mukey"].isin(set(own["mukey"])), "mukey"]
    return defects + [
        Defect("soil_units", "mukey", "no components", str(mukey), f"{count} polygons", "kept")
        for mukey, count in strange.value_counts(sort=False).items()
    ]
