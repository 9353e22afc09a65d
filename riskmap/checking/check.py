"""The check as a whole: read everything, find everything at once, count what a run would rank."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import pandas as pd

from riskmap.checking.coverage import Coverage, coverage_of
from riskmap.checking.findings import (
    COLUMNS,
    SERIOUS,
    SOILS,
    finding,
    grades,
    match_sheet,
    of_coverage,
    of_defects,
    of_matches,
)
from riskmap.checking.lot_sizes import lot_size_trouble
from riskmap.contract.errors import RiskmapError
from riskmap.contract.features import FEATURES
from riskmap.contract.sources import no_defects
from riskmap.contract.vocabulary import may_be_onsite
from riskmap.publish.paper.letter_texts import county_letters
from riskmap.publish.words.unranked import Unranked, nothing_ranked, why_unranked
from riskmap.ranking.model import SCORES, Model
from riskmap.ranking.score import score
from riskmap.region.layers import SOIL_SURVEY
from riskmap.region.sections import Region
from riskmap.stages.making import Making, begin
from riskmap.stages.order import READING, STAGES
from riskmap.stages.progress import Progress
from riskmap.stages.result import Result

UNCOVERED: Final = ("well_samples", "places", "public_areas", "wellhead_areas")
"""Layers of which coverage says nothing about a parcel's own score."""


@dataclass(frozen=True)
class Checked:
    """What a check found.

    ``faults`` are errors that stop a run; the rest is as far as it could be read. ``findings`` has
    the columns of :data:`riskmap.checking.findings.COLUMNS`, ``matches`` those of the match sheet;
    ``costs`` says for each factor of the scores how much of its weight is unknown.
    """

    region: Region
    faults: tuple[str, ...]
    findings: pd.DataFrame
    matches: pd.DataFrame
    coverage: tuple[Coverage, ...]
    grades: Mapping[str, str]
    parcels: int
    ranked: int
    unranked: tuple[Unranked, ...]
    costs: pd.DataFrame
    defects: pd.DataFrame

    @property
    def serious(self) -> bool:
        """Whether something is wrong that changes the ranking, or stops a run."""
        return bool(self.faults) or bool(self.findings["weight"].eq(SERIOUS).any())


def check_county(
    region: Region, progress: Progress | None = None, *, kept: Path | None = None
) -> Checked:
    """Read everything that a run would and say what is wrong with it, all at once.

    Parameters
    ----------
    region
        As opened.
    progress
        Shows what is going on.
    kept
        Folder for what is kept, so that a run after it need not read again.

    Returns
    -------
    Checked
        Errors of single layers are in it, not raised.
    """
    making = begin(region, STAGES, progress or Progress(), kept=kept)
    faults = list(_read(making))
    things = making.things()
    tables = _tables(things, region, making)
    defects = _defects(things, making)
    ranked = None
    if not faults:
        try:
            making.bring_up("scored", "features", "model", "inventory")
            ranked = things["scored"].assign(service_reason=things["inventory"]["service_reason"])
        except RiskmapError as error:
            faults.append(str(error))
    sizes = {name: len(table) for name, table in tables.items() if isinstance(table, pd.DataFrame)}
    sizes[SOIL_SURVEY] = max([sizes.get(name, 0) for name in SOILS], default=0)
    matches = match_sheet(_plain(tables), defects, {"parcels": 0, **sizes})
    covers = tuple(_coverage(tables))
    rows = [*of_matches(matches), *of_coverage(covers), *of_defects(defects, sizes)]
    rows += _between(tables)
    if ranked is not None:
        rows += [finding(SERIOUS, "", said) for said in nothing_ranked(ranked)]
    findings = pd.DataFrame(rows, columns=list(COLUMNS))
    findings["layer"] = findings["layer"].mask(findings["layer"].isin(SOILS), SOIL_SURVEY)
    order = findings["weight"].ne(SERIOUS) * 1.0 - findings["share"].fillna(0) / 10
    findings = findings.iloc[order.argsort(kind="stable")].reset_index(drop=True)
    return Checked(
        region=region,
        faults=tuple(faults),
        findings=findings,
        matches=matches,
        coverage=covers,
        grades=grades(findings, list(region.sources), _wanted()),
        parcels=sizes.get("parcels", 0),
        ranked=0 if ranked is None else int(ranked["rank"].notna().sum()),
        unranked=() if ranked is None else tuple(why_unranked(ranked)),
        costs=_no_costs() if ranked is None else costs_of(things["features"], things["model"]),
        defects=defects,
    )


def _read(making: Making) -> Iterator[str]:
    """Do every stage that reads files; give the error of each that cannot, and go on."""
    lost: set[str] = set()
    try:
        county_letters(making.region.letter_texts)
    except RiskmapError as error:
        yield str(error)
    for stage in READING:
        if lost & set(stage.all_needs):
            lost |= set(stage.gives)
            continue
        try:
            making.bring_up(*stage.gives)
        except RiskmapError as error:
            lost |= set(stage.gives)
            yield str(error)


def _tables(things: Mapping[str, Any], region: Region, making: Making) -> dict[str, Any]:
    """Layers that could be read, by name: tables and grids."""
    county = Result(region, things).county
    names = [*county.tables, *county.rasters]
    made = {name: things[f"layer_{name}"] for name in names if f"layer_{name}" in making.made}
    return {name: layer for name, layer in made.items() if layer is not None}


def _plain(tables: Mapping[str, Any]) -> dict[str, pd.DataFrame]:
    return {name: table for name, table in tables.items() if isinstance(table, pd.DataFrame)}


def _defects(things: Mapping[str, Any], making: Making) -> pd.DataFrame:
    names = [name for name in making.made if name.startswith("defects_")]
    return pd.concat([no_defects(), *(things[name] for name in names)], ignore_index=True)


def _coverage(tables: Mapping[str, Any]) -> Iterator[Coverage]:
    parcels = tables.get("parcels")
    if parcels is None or not len(parcels):
        return
    lots = gpd.GeoDataFrame(parcels.set_index("parcel_id")[["geometry"]])
    for name, layer in tables.items():
        other_soils = name in SOILS and name != "soil_units"
        if name == "parcels" or other_soils or name in UNCOVERED:
            continue
        yield coverage_of(name, layer, lots)


def _between(tables: Mapping[str, Any]) -> list[dict[str, object]]:
    """Hold units and reference systems against each other."""
    parcels = tables.get("parcels")
    said = "" if parcels is None else lot_size_trouble(parcels)
    if not said:
        return []
    return [
        finding(
            SERIOUS,
            "parcels",
            said,
            column="recorded_area_m2",
            cost="setbacks, room and density are wrong if the map is",
            cure="Check the parcels' crs, and the unit of recorded_area_m2.",
        )
    ]


def _wanted() -> list[str]:
    """Layers that the scores use."""
    return ["parcels", SOIL_SURVEY, "sewer_area", "permits", "elevation", "wells", "streams",
            "waterbodies", "floodplain", "water_levels", "inspections", "buildings"]  # fmt: skip


COSTS: Final = ("score", "factor", "weight_frac", "unknown_frac", "lost_frac", "layer")


def _no_costs() -> pd.DataFrame:
    return pd.DataFrame(columns=list(COSTS))


def costs_of(features: pd.DataFrame, model: Model) -> pd.DataFrame:
    """Say how much of each score rests on what is not known, factor by factor, most first.

    Parameters
    ----------
    features
        One row per parcel; those that have or may have an onsite system count.
    model
        The scoring model.

    Returns
    -------
    DataFrame
        Columns :data:`COSTS`: the factor's share of its score's weight, the share of parcels of
        which it is unknown, and the product, the part of the score that is lost.
    """
    rows = features[may_be_onsite(features["service"])]
    limits = score(rows, model).limits
    found = []
    for kind in SCORES:
        total = sum(factor.weight for factor in model.of(kind))
        for factor in model.of(kind):
            share, unknown = factor.weight / total, float(limits[factor.name].isna().mean())
            declared = FEATURES.get(factor.feature)
            layer = declared.listed.source if declared is not None and declared.listed else ""
            found.append((kind, factor.label, share, unknown, share * unknown, layer))
    table = pd.DataFrame(found, columns=list(COSTS))
    return table.sort_values("lost_frac", ascending=False, kind="stable").reset_index(drop=True)
