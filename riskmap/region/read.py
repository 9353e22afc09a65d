"""The region file: what a county declares. Read and checked once, immutable afterwards."""

from __future__ import annotations

import hashlib
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from pyproj import CRS
from pyproj.exceptions import CRSError

from riskmap.contract.errors import RegionError
from riskmap.contract.suggest import unknown_keys
from riskmap.outcomes.log import log_state
from riskmap.region.layers import read_sources
from riskmap.region.sections import Region, sections
from riskmap.region.toml_file import decoded, faults_together, read_small, toml_tables
from riskmap.region.values import keys_of, read_section, shown


def read_region(path: Path | str) -> Region:
    """Read and check a region file.

    Raises
    ------
    RegionError
        If the file is missing, is not TOML, or anything in it is unknown, missing or out of
        bounds: all faults together, each with the key and, for a mistyped word, the nearest known.
    """
    path = Path(path)
    content, digest = _read(path)
    belongs = {key: f"[{name}]" for name, kind in sections().items() for key in keys_of(kind)}
    faults = unknown_keys(content, [*sections(), "layers"], "the region file", belongs)
    made = {
        name: read_section(kind, content.get(name, {}), f"[{name}]", faults, belongs)
        for name, kind in sections().items()
    }
    day = getattr(made["county"], "date", None)
    sources = read_sources(content.get("layers", {}), path.parent, faults, day=day)
    county = content.get("county", {})
    if isinstance(county, dict) and isinstance(county.get("crs"), str):
        faults += _crs_faults(county["crs"])
    if isinstance(county, dict) and county.get("sewers") == "none" and "sewer_area" in sources:
        faults.append(
            '[county] sewers = "none", but [layers.sewer_area] gives a sewer map. Take one out.'
        )
    if faults:
        raise RegionError(faults_together(path.name, faults))
    region = Region(path=path, sources=sources, sha256=digest, **made)  # type: ignore[arg-type]
    return replace(region, outcomes=log_state(region.log_place))


def _read(path: Path) -> tuple[dict[str, Any], str]:
    raw = read_small(path, "the region file", RegionError)
    text = decoded(raw, path.name, RegionError)
    return toml_tables(text, path.name, RegionError), hashlib.sha256(raw).hexdigest()


def _crs_faults(text: str) -> list[str]:
    if text == "auto":
        return []
    try:
        crs = CRS.from_user_input(text)
    except (CRSError, ValueError):
        return [f"[county] crs = {shown(text)} is not known. Use EPSG:... or auto."]
    metric = all(axis.unit_name == "metre" for axis in crs.axis_info[:2])
    if crs.is_projected and metric:
        return []
    return [
        f"[county] crs = {shown(text)} ({crs.name}) is not a projected system in meters. "
        "Use the UTM zone or state plane zone in meters, or auto."
    ]


def settings_in_force(region: Region) -> dict[str, dict[str, Any]]:
    """Return every setting of every section, as it was in force, by section and name."""
    return {name: asdict(getattr(region, name)) for name in sections()}


def sources_in_force(region: Region) -> dict[str, dict[str, Any]]:
    """Return the source of every layer as it was in force; paths from the region file's folder."""
    folder = region.path.parent

    def plain(value: Any) -> Any:
        if isinstance(value, Path):
            return value.relative_to(folder).as_posix() if value.is_relative_to(folder) else value
        if isinstance(value, dict):
            return {key: plain(item) for key, item in value.items()}
        return [plain(item) for item in value] if isinstance(value, list | tuple) else value

    return {name: plain(asdict(source)) for name, source in region.sources.items()}
