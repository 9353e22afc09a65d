"""Reads well samples: water-quality portal results (old and new profile), or a county's table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Final

import pandas as pd
from pyproj import CRS

from data_pipelines.columns import find_column, resolve
from data_pipelines.defect_log import DefectLog
from data_pipelines.mapping import complete_keys, drop_repeats, map_columns
from data_pipelines.portal_results import FIELDS, samples_of
from data_pipelines.tables import (
    demand_files,
    list_columns,
    log_of_file,
    parse_files,
    parse_table,
    stack_files,
)
from data_pipelines.values import as_text, to_number
from data_pipelines.vector import Bounds
from data_pipelines.water_replies import refuse_page
from riskmap.contract.errors import SourceFormatError
from riskmap.contract.layers import WELL_SAMPLES
from riskmap.contract.sources import ColumnSource, Reading, Source

_LESS: Final = r"^\s*<\s*"
_NOT_DETECTED: Final = ("nd", "not detected", "non-detect", "nondetect", "bdl", "u")


def read_well_samples(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read samples; portal files need no mapping. `crs` and `bounds` play no part.

    ``attributes`` may name the portal's site file: then only its wells are kept.
    """
    del crs, bounds
    log = DefectLog(WELL_SAMPLES.name)
    for path in [*demand_files(source), *([source.attributes] if source.attributes else [])]:
        refuse_page(path, source.layer)
    names = list_columns(source.files[0], layer=source.layer, table=source.table)
    if portal_profile(names) is None:
        return canonical_samples(parse_files(source, WELL_SAMPLES, log=log), source, log)
    raw = parse_results(source, log)
    return canonical_results(raw, source, log)


def portal_profile(names: list[str]) -> Mapping[str, str] | None:
    """Field names of the portal profile that has these columns, or None."""
    for profile in FIELDS:
        needed = (profile["site"], profile["date"], profile["what"], profile["value"])
        if all(find_column(name, names) for name in needed):
            return profile
    return None


def parse_results(source: Source, log: DefectLog) -> pd.DataFrame:
    """Portal results as text, under the reader's own field names (``site``, ``what`` ...).

    `log` tells the rows that are set aside.
    """
    frames = []
    for number, path in enumerate(demand_files(source)):
        with log_of_file(log, source.files, number) as part:
            table = parse_table(path, layer=source.layer, log=part)
        profile = portal_profile(list(table.columns))
        if profile is None:
            raise SourceFormatError(
                source.layer,
                f"{path.name} has not the columns of water-quality portal results, other files of "
                "this layer have.",
                "Give portal results only, or a table of your own only.",
            )
        columns = {}
        for field, name in profile.items():
            found = find_column(name, table.columns)
            columns[field] = (
                pd.Series(pd.NA, index=table.index, dtype="string")
                if found is None
                else as_text(table[found])
            )
        frames.append(pd.DataFrame(columns, index=table.index))
    return stack_files(frames, source.files)


def canonical_results(raw: pd.DataFrame, source: Source, log: DefectLog) -> Reading:
    """Canonical samples of portal results: wells only, one row per well, day and activity."""
    kinds = _site_types(source, source.attributes, log) if source.attributes else {}
    site_type = raw["site_type"].fillna(raw["site"].map(kinds).astype("string"))
    if kinds or raw["site_type"].notna().any():
        untold = site_type.isna() & raw["site"].notna()
        counts = raw.loc[untold, "site"].value_counts().sort_index()
        told = counts.astype(str) + " results"
        log.add("well_id", "kind_of_site_unknown", told, "taken as a well")
    raw = raw.assign(site_type=site_type)
    other = ~site_type.fillna("Well").str.contains(r"^(?:Well|Subsurface|Collector)")
    _report_sites(raw[other], log)
    frame = samples_of(raw[~other], log, day=source.day)
    return Reading(complete_keys(frame, WELL_SAMPLES, log), log.table())


def _site_types(source: Source, path: Path, log: DefectLog) -> dict[str, str]:
    """Kind of each site of the portal's site file, in either profile."""
    with log_of_file(log, [*source.files, path], len(source.files)) as part:
        sites = parse_table(path, layer=source.layer, log=part)
    for profile in FIELDS:
        site, kind = (find_column(profile[name], sites.columns) for name in ("site", "site_type"))
        if site and kind:
            table = pd.DataFrame({"site": as_text(sites[site]), "kind": as_text(sites[kind])})
            table = table.dropna().drop_duplicates("site")
            return dict(zip(table["site"], table["kind"], strict=True))
    needed = " and ".join(FIELDS[0][name] for name in ("site", "site_type"))
    raise SourceFormatError(
        source.layer,
        f"{path.name} has not the columns of a site file ({needed}).",
        "Fetch the portal's sites again, or leave the file out.",
    )


def _report_sites(raw: pd.DataFrame, log: DefectLog) -> None:
    counts = raw.groupby(["site", "site_type"]).size().rename("n").reset_index()
    told = counts["site_type"] + ": " + counts["n"].astype(str) + " results"
    log.add("well_id", "not_a_well", told.set_axis(counts["site"], axis=0), "left out")


def canonical_samples(raw: pd.DataFrame, source: Source, log: DefectLog) -> Reading:
    """Canonical samples of a county's table; ``<0.5`` and ``ND`` are non-detects, not errors."""
    found = resolve(source, WELL_SAMPLES, raw.columns)
    raw, below, found = _split_limits(raw, found)
    frame = map_columns(raw, source, WELL_SAMPLES, log, found=found)
    flag = frame["nitrate_below_limit"]
    frame["nitrate_below_limit"] = flag.mask(below, True).fillna(below).astype("boolean")
    frame.loc[frame["nitrate_mg_l"].isna() & ~below, "nitrate_below_limit"] = pd.NA
    silent = below & frame["nitrate_mg_l"].isna()
    log.add("nitrate_mg_l", "limit_not_given", frame.loc[silent, "well_id"].fillna(""), "kept")
    frame = complete_keys(frame, WELL_SAMPLES, log)
    return Reading(drop_repeats(frame, log, column="well_id"), log.table())


def _split_limits(
    raw: pd.DataFrame, found: dict[str, str]
) -> tuple[pd.DataFrame, pd.Series, dict[str, str]]:
    """Take ``<`` and ``ND`` out of the nitrate column; say which rows had them."""
    below = pd.Series(False, index=raw.index)
    name = found.get("nitrate_mg_l")
    if name is None or pd.api.types.is_numeric_dtype(raw[name].dtype):
        return raw, below, found
    text = as_text(raw[name])
    less = text.str.contains(_LESS).fillna(False).astype(bool)
    none = text.str.lower().isin(_NOT_DETECTED).fillna(False).astype(bool)
    cleaned = text.str.replace(_LESS, "", regex=True).mask(none)
    return raw.assign(_nitrate=cleaned), less | none, {**found, "nitrate_mg_l": "_nitrate"}


def nitrate_as_n(values: pd.Series, *, unit: str) -> pd.Series:
    """Nitrate in mg/L as N from a source unit of :data:`riskmap.contract.units.FACTORS`.

    >>> nitrate_as_n(pd.Series([44.27]), unit="mg_l_as_no3").round(2).tolist()
    [10.0]
    """
    log = DefectLog(WELL_SAMPLES.name)
    column = replace(WELL_SAMPLES.column("nitrate_mg_l"), high=None)
    return to_number(values, column, ColumnSource(unit=unit), log)
