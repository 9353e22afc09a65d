"""The region file: what a county declares. Read and checked once, immutable afterwards."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final, Literal

from pyproj import CRS
from pyproj.exceptions import CRSError

from riskmap.contract.columns import FIRST_YEAR, LAST_YEAR
from riskmap.contract.errors import RegionError
from riskmap.contract.given_values import is_line, is_number
from riskmap.contract.layers import LAYERS
from riskmap.contract.sources import ColumnSource, Source
from riskmap.contract.suggest import nearest, refuse_unknown
from riskmap.contract.units import FACTORS, FOOT_M
from riskmap.region.keys import (
    ACCEPT_RULES,
    COLUMN_KEYS,
    FLOW_RULES,
    KEYS,
    LAYER_KEYS,
    REQUIRED,
    SIZING_KEYS,
    SOIL_SURVEY,
    Key,
)
from riskmap.region.toml_file import decoded, read_small, toml_tables

LISTS: Final = ("files", "keep_private", "join_on")
"""Keys of a layer that are lists of texts; the others but ``columns`` are one text."""


@dataclass(frozen=True)
class SizingPeriod:
    """Sizing rules in force from one year to another, both included; None leaves an end open."""

    flow_rule: str
    accept_rule: str
    first_year: int | None = None
    last_year: int | None = None


@dataclass(frozen=True)
class Rules:
    """Local rules; see ``docs/region_file.md`` for each."""

    well_setback_m: float
    water_setback_m: float
    line_setback_m: float
    building_setback_m: float
    building_reach_m: float
    vertical_separation_m: float
    max_slope_pct: float
    flow_rule: str
    accept_rule: str
    sizing: tuple[SizingPeriod, ...]
    persons_per_dwelling: float
    horizon_yr: float
    unmended_yr: float
    class_cuts: tuple[float, float, float, float]


@dataclass(frozen=True)
class GroundwaterRules:
    """The aquifer and its water; see ``docs/region_file.md`` for each."""

    aquifer: str
    vadose: str
    conductivity_m_d: float
    porosity_frac: float
    recharge_m_yr: float
    background_mg_l: float
    denitrified_frac: float


@dataclass(frozen=True)
class LearningRules:
    """Whether and how to learn from visits; see ``docs/region_file.md`` for each."""

    use: str
    window_yr: float
    block_m: float
    service: str


@dataclass(frozen=True)
class FairnessRules:
    """A number by neighborhood to hold picks against; ``standing`` is None where none is given."""

    standing: Path | None
    neighborhood: str
    column: str


@dataclass(frozen=True)
class Region:
    """A county as its region file declares it.

    ``crs`` is None for ``auto`` until the parcels are read. ``model_file`` is None for the scoring
    model that comes with the program. ``sha256`` is the hash of the region file itself.
    """

    path: Path
    name: str
    state: str
    crs: CRS | None
    units: Literal["us", "si"]
    date: date
    contact: str
    sources: Mapping[str, Source]
    rules: Rules
    groundwater: GroundwaterRules
    model_file: Path | None
    inspection_rows: int
    list_order: str
    stops: int
    letters: int
    letter_texts: Path | None
    site_last_line: str
    base_map_tiles: str
    base_map_credit: str
    public_threshold: int
    public_cell_m: float
    chunk_parcels: int
    workers: int
    draws: int
    seed: int
    before: Path | None
    learning: LearningRules
    fairness: FairnessRules
    sha256: str


def read_region(path: Path | str) -> Region:
    """Read and check a region file.

    Raises
    ------
    RegionError
        If the file is missing, is not TOML, or a key is unknown, missing or out of range. The
        message names the key and, for an unknown one, the nearest known.
    """
    path = Path(path)
    content, digest = _read(path)
    refuse_unknown(
        content, {*(key.section for key in KEYS), "layers"}, "the region file", RegionError
    )
    values = {(key.section, key.name): _value(content, key) for key in KEYS}
    for section in dict.fromkeys(key.section for key in KEYS):
        refuse_unknown(content.get(section, {}), _names(section), f"[{section}]", RegionError)
    rules, water, learning, fairness = (
        {name: value for (section, name), value in values.items() if section == wanted}
        for wanted in ("rules", "groundwater", "learning", "fairness")
    )
    rules["class_cuts"] = _cuts(rules["class_cuts"])
    rules["sizing"] = tuple(_sizing(table) for table in rules["sizing"])
    model, before = values["model", "file"], values["run", "before"]
    texts = values["lists", "letter_texts"]
    standing = fairness["standing"]
    fairness["standing"] = path.parent / standing if standing else None
    return Region(
        path=path,
        name=values["county", "name"],
        state=values["county", "state"],
        crs=_crs(values["county", "crs"]),
        units=values["county", "units"],
        date=values["county", "date"],
        contact=values["county", "contact"],
        sources=_sources(content.get("layers", {}), path.parent),
        rules=Rules(**rules),
        groundwater=GroundwaterRules(**water),
        model_file=path.parent / model if model else None,
        inspection_rows=values["lists", "inspections"],
        list_order=values["lists", "order"],
        stops=values["lists", "stops"],
        letters=values["lists", "letters"],
        letter_texts=path.parent / texts if texts else None,
        site_last_line=values["lists", "site_last_line"],
        base_map_tiles=values["map", "base_map_tiles"],
        base_map_credit=values["map", "base_map_credit"],
        public_threshold=values["public", "threshold"],
        public_cell_m=values["public", "cell_m"],
        chunk_parcels=values["run", "chunk_parcels"],
        workers=values["run", "workers"],
        draws=values["run", "draws"],
        seed=values["run", "seed"],
        before=path.parent / before if before else None,
        learning=LearningRules(**learning),
        fairness=FairnessRules(**fairness),
        sha256=digest,
    )


def _read(path: Path) -> tuple[dict[str, Any], str]:
    raw = read_small(path, "the region file", RegionError)
    text = decoded(raw, str(path), RegionError)
    return toml_tables(text, str(path), RegionError), hashlib.sha256(raw).hexdigest()


def _names(section: str) -> set[str]:
    names = {key.name for key in KEYS if key.section == section}
    return names | {_in_feet(name) for name in names if name.endswith("_m")}


def _in_feet(name: str) -> str:
    return name[: -len("_m")] + "_ft"


def _value(content: Mapping[str, Any], key: Key) -> Any:
    section = content.get(key.section, {})
    if not isinstance(section, dict):
        raise RegionError(f"[{key.section}] must be a table of key = value lines.")
    feet = _in_feet(key.name) if key.name.endswith("_m") else ""
    if feet in section and key.name in section:
        raise RegionError(f"[{key.section}]: give {key.name} or {feet}, not both.")
    if feet in section:
        return _checked(section[feet], key, feet, FOOT_M)
    if key.name in section:
        return _checked(section[key.name], key, key.name, 1.0)
    if key.default is REQUIRED:
        raise RegionError(f"[{key.section}]: {key.name} is missing. {key.meaning}.")
    return key.default


def _checked(given: object, key: Key, name: str, factor: float) -> Any:
    place = f"[{key.section}] {name}"
    wrong = not isinstance(given, key.types) or isinstance(given, bool | datetime)
    if wrong or (isinstance(given, int | float) and not is_number(given)):
        wanted = " or ".join(kind.__name__ for kind in key.types)
        raise RegionError(f"{place} = {given!r:.80}: a {wanted} is wanted. {key.meaning}.")
    if isinstance(given, str) and (given or key.default is REQUIRED) and not is_line(given):
        raise RegionError(f"{place} = {given!r:.80}: one line of text is wanted. {key.meaning}.")
    if isinstance(given, date) and not FIRST_YEAR <= given.year <= LAST_YEAR:
        first, last = int(FIRST_YEAR), int(LAST_YEAR)
        raise RegionError(f"{place} = {given}: a day from {first} to {last} is wanted.")
    value: Any = given
    if key.choices and value not in key.choices:
        hint = nearest(value, key.choices)
        raise RegionError(f"{place} = {value!r}: use one of {', '.join(key.choices)}.{hint}")
    if key.low is not None and key.high is not None and not key.low <= value * factor <= key.high:
        low, high = key.low / factor, key.high / factor
        raise RegionError(f"{place} = {value}: must lie between {low:g} and {high:g}.")
    return value * factor if factor != 1.0 else value


def _cuts(cuts: Iterable[Any]) -> tuple[float, float, float, float]:
    cuts = tuple(cuts)
    numbers = all(is_number(cut) and 0 < cut < 100 for cut in cuts)
    if len(cuts) != 4 or not numbers or list(cuts) != sorted(set(cuts)):
        raise RegionError("[rules] class_cuts: four rising scores between 0 and 100 are wanted.")
    very_low, low, moderate, high = map(float, cuts)
    return very_low, low, moderate, high


def _sizing(table: Any) -> SizingPeriod:
    place = "[rules] sizing"
    refuse_unknown(table, SIZING_KEYS, place, RegionError)
    for name, known in (("flow_rule", FLOW_RULES), ("accept_rule", ACCEPT_RULES)):
        if table.get(name) not in known:
            raise RegionError(
                f"{place}: {name} = {table.get(name)!r}: use one of {', '.join(known)}."
                + nearest(str(table.get(name)), known)
            )
    first, last = table.get("from"), table.get("to")
    for name, year in (("from", first), ("to", last)):
        if year is not None and (not isinstance(year, int) or not 1850 <= year <= 2100):
            raise RegionError(f"{place}: {name} = {year!r}: a year is wanted.")
    if first is not None and last is not None and first > last:
        raise RegionError(f"{place}: the period ends ({last}) before it begins ({first}).")
    return SizingPeriod(table["flow_rule"], table["accept_rule"], first, last)


def _crs(text: str) -> CRS | None:
    if text == "auto":
        return None
    try:
        crs = CRS.from_user_input(text)
    except CRSError as error:
        raise RegionError(f"[county] crs = {text!r} is not known. Use EPSG:... or auto.") from error
    metric = all(axis.unit_name == "metre" for axis in crs.axis_info[:2])
    if not crs.is_projected or not metric:
        raise RegionError(
            f"[county] crs = {text!r} ({crs.name}) is not a projected system in meters. "
            "Use the UTM zone or state plane zone in meters, or auto."
        )
    return crs


def _sources(tables: Mapping[str, Any], folder: Path) -> dict[str, Source]:
    known = {*LAYERS, SOIL_SURVEY}
    refuse_unknown(tables, known, "[layers]", RegionError)
    for needed in ("parcels", SOIL_SURVEY):
        if needed not in tables:
            raise RegionError(
                f"[layers.{needed}] is missing. A run needs at least parcels and a soil survey."
            )
    return {name: _source(name, table, folder) for name, table in tables.items()}


def _source(name: str, table: Any, folder: Path) -> Source:
    place = f"[layers.{name}]"
    refuse_unknown(table, LAYER_KEYS, place, RegionError)
    if ("file" in table) == ("files" in table):
        raise RegionError(f"{place}: give either file or files.")
    _check_texts(table, place)
    files = table.get("files") or [table["file"]]
    join_on = table.get("join_on")
    if join_on is not None and len(join_on) != 2:
        raise RegionError(f"{place} join_on: two column names are wanted.")
    if ("attributes" in table) != (join_on is not None):
        raise RegionError(f"{place}: attributes and join_on go together.")
    plain = ("form", "table", "x", "y", "second_x", "second_y", "crs", "unit")
    return Source(
        layer=name,
        files=tuple(folder / file for file in files),
        columns=_columns(name, table.get("columns", {}), place),
        keep_private=_private(name, table.get("keep_private", []), place),
        attributes=folder / table["attributes"] if "attributes" in table else None,
        join_on=tuple(join_on) if join_on else None,
        **{key: table[key] for key in plain if key in table},
    )


def _check_texts(table: Mapping[str, Any], place: str) -> None:
    """Refuse a layer's keys that are not text, or lists of texts."""
    for name in set(LAYER_KEYS) - {"columns"}:
        given = table.get(name, "x" if name not in LISTS else ["x"])
        listed = isinstance(given, list) and (bool(given) or name == "keep_private")
        if name in LISTS and not (listed and all(map(is_line, given))):
            raise RegionError(f"{place} {name} = {given!r:.80}: a list of names is wanted.")
        if name not in LISTS and not is_line(given):
            raise RegionError(f"{place} {name} = {given!r:.80}: a line of text is wanted.")


def _private(name: str, wanted: list[str], place: str) -> tuple[str, ...]:
    layer = LAYERS.get(name)
    private = {c.name for c in layer.columns if c.private} if layer else set()
    for column in wanted:
        if column not in private:
            raise RegionError(
                f"{place} keep_private: {column!r} is not a private column of this layer."
                + nearest(column, private)
            )
    return tuple(wanted)


def _columns(name: str, table: Any, place: str) -> dict[str, ColumnSource]:
    place += ".columns"
    layer = LAYERS.get(name)
    refuse_unknown(table, layer.column_names if layer else (), place, RegionError)
    return {
        column: _column_source(name, column, entry, f"{place} {column}")
        for column, entry in table.items()
    }


def _column_source(layer: str, column: str, entry: Any, place: str) -> ColumnSource:
    if isinstance(entry, str):
        entry = {"column": entry}
    refuse_unknown(entry, COLUMN_KEYS, place, RegionError)
    for key in ("column", "unit", "date_format"):
        if key in entry and not is_line(entry[key]):
            raise RegionError(f"{place} {key} = {entry[key]!r:.80}: a line of text is wanted.")
    words = entry.get("values", {})
    if not isinstance(words, dict):
        raise RegionError(f"{place} values: a table of code = word is wanted.")
    for key, value in {"constant": entry.get("constant", ""), **words}.items():
        if not isinstance(value, str | bool) and not is_number(value):
            raise RegionError(
                f"{place}: {key!r:.80} = {value!r:.80}: a text, number or true/false is wanted."
            )
    if ("column" in entry) == ("constant" in entry):
        raise RegionError(f"{place}: give either column or constant.")
    declared = LAYERS[layer].column(column)
    unit = entry.get("unit")
    units = FACTORS.get(declared.unit, {})
    if unit is not None and unit not in units:
        raise RegionError(
            f"{place} unit = {unit!r}: use one of {', '.join(units) or '(none for this column)'}."
        )
    return ColumnSource(**entry)
