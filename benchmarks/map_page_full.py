"""An invented county with everything a run puts on the map: the bundled model and all that follows.

Features are drawn at random, smooth over the ground where nature is, and tied as a run's columns
are: what the soil survey gives follows the map unit (three lots in four lie in one unit, the others
share two), records of a system are missing together, and marks mostly follow what is on record of
the system. All else is independent, which a county is not: load, reserve, chance and years follow
from each other there. Scores, ranks and reasons are the program's own. Nothing in it stands for a
real place or person.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from benchmarks.map_page_input import MODEL, with_lists
from riskmap.contract.vocabulary import REPLACEMENTS, STAGES
from riskmap.publish.map.model import MapModel
from riskmap.ranking.model import Model
from riskmap.ranking.priority import CHANCES
from riskmap.ranking.reasons import REASON_PARTS
from riskmap.ranking.score import limits_used
from riskmap.ranking.table import ranked_table
from riskmap.region.model_file import model_text, read_model

COUNTS = {"complaints": 0.1, "repairs": 0.15, "wells_within_150_m": 2.0, "wells_soon": 0.8}
"""Features that are small whole numbers, with their means."""
SMOOTH = (
    "wet_depth_cm", "ksat_um_s", "restriction_cm", "slope_pct", "wetness", "water_table_m",
    "stream_distance_m", "waterbody_distance_m", "systems_per_km2", "vulnerability",
    "lot_nitrate_mg_l", "soil_rating",
)  # fmt: skip
SOIL = (
    "wet_depth_cm", "ksat_um_s", "restriction_cm", "soil_rating", "drainage_class",
    "limit_flooding", "limit_poor_filter", "limit_seepage",
)  # fmt: skip
"""Features that the soil survey gives by map unit."""
UNIT_KINDS, UNIT_SIDE_M = 60, 400.0
RECORDS_APART = 3
"""Records that are missing together: permit, inspections, the rest."""
TIED_MARKS = 0.9
SITE = ("lot_m2", "address", "neighborhood", "land_use", "service", "service_evidence")
YEARS = (
    "years_to_stressed_yr", "years_to_failed_yr", "years_gained_half_flow_yr",
    "years_gained_pumping_yr", "years_gained_resting_yr",
)  # fmt: skip
EVIDENCE_SHARES = {"measured": 0.4, "inferred": 0.35, "assumed": 0.25}
TOP = 200


@dataclass(frozen=True)
class FullCounty:
    """What the map is given, and what it came from."""

    ranked: gpd.GeoDataFrame
    features: pd.DataFrame
    model: Model
    map_model: MapModel
    layers: dict[str, gpd.GeoDataFrame]
    pairs: pd.DataFrame


def make_full(
    base: gpd.GeoDataFrame, layers: dict[str, gpd.GeoDataFrame], *, seed: int = 8
) -> FullCounty:
    """Complete the lots, sites and layers of :mod:`map_page_input`."""
    rng = np.random.default_rng(seed)
    model = read_model()
    features = _features(rng, base, model)
    chances = np.sort(rng.beta(0.5, 4.0, (len(features), 3)), axis=1)
    onsite = features["service"].isin(["onsite", "unknown"]).to_numpy()
    features[list(CHANCES)] = np.where(onsite[:, None], chances, np.nan)
    table = ranked_table(features, model, units="us")
    limits = limits_used(features, model)
    served = features["service"].isin(["onsite", "unknown"])
    ranked = gpd.GeoDataFrame(
        features.join(table).join(limits.where(served).add_suffix("_limitation")),
        geometry=base.geometry,
        crs=base.crs,
    )
    ranked = with_lists(ranked.join(_doubt(rng, ranked)))
    wells = _with_risk(rng, layers["wells"])
    everything = layers | _lots(ranked) | {"wells": wells, "zones": _zones(ranked)}
    text = MapModel(model.factors, visits=MODEL.visits, text=model_text())
    return FullCounty(ranked, features, model, text, everything, _pairs(rng, ranked, wells))


def _features(rng: np.random.Generator, base: gpd.GeoDataFrame, model: Model) -> pd.DataFrame:
    count = len(base)
    middle = base.geometry.centroid
    x, y = ((part - part.mean()) / max(part.std(), 1.0) for part in (middle.x, middle.y))
    served = base["service"].isin(["onsite", "unknown"]).to_numpy()
    columns: dict[str, object] = {name: base[name] for name in SITE}
    units, share = _map_units(rng, base)
    on_record = rng.random((RECORDS_APART, count)) > 0.12
    record = _drawn_marks(rng, count)
    for place, factor in enumerate(model.factors):
        name = factor.feature
        if name in columns:
            continue
        values = _values(rng, name, factor, np.sin(x * (1 + place % 5) + place) * np.cos(y + place))
        if name in SOIL:
            values = _by_unit(rng, values, units, share)
        elif name not in SMOOTH:
            values = pd.Series(values).where(served & on_record[place % RECORDS_APART]).to_numpy()
        columns[name] = values
        columns[f"{name}_evidence"] = "mapped" if name in SOIL else _marks(rng, values, record)
    for name in sorted(_told(model) - set(columns)):
        columns[name] = np.where(served, rng.gamma(2, 0.15, count).round(2), np.nan)
    for name in YEARS:
        years = np.where(rng.random(count) < 0.4, 100.0, rng.gamma(2, 6, count).round(1))
        columns[name] = np.where(served, np.where(rng.random(count) < 0.3, 0.0, years), np.nan)
        columns[f"{name}_evidence"] = _marks(rng, columns[name], record)
    for name, words in (("stage", STAGES), ("replacement", REPLACEMENTS[:3])):
        drawn = pd.Series(rng.choice(words, count)).where(served).to_numpy()
        columns[name] = drawn
        columns[f"{name}_evidence"] = _marks(rng, drawn, record)
    age = np.asarray(columns["age_yr"], float)
    columns["installed_year"] = 2026 - age
    columns["installed_year_evidence"] = columns["age_yr_evidence"]
    reached = np.asarray(columns["wells_soon"], float) + rng.poisson(1.0, count)
    columns["wells_reached"] = reached
    return pd.DataFrame(columns, index=base.index)


def _told(model: Model) -> set[str]:
    """Features that a reason mentions beside its own."""
    parts = [REASON_PARTS.findall(factor.reason) for factor in model.factors]
    return {name for found in parts for _, name in found if name not in {"", "value"}}


def _values(rng: np.random.Generator, name: str, factor: object, wave: pd.Series) -> np.ndarray:
    count = len(wave)
    table, curve = factor.table, factor.curve  # type: ignore[attr-defined]
    if table:
        return rng.choice([word for word, _ in table], count)
    if name in COUNTS:
        return rng.poisson(COUNTS[name], count).astype(float)
    low, high = curve[0][0], curve[-1][0]
    share = 0.5 + 0.45 * wave.to_numpy() + rng.normal(0, 0.05, count)
    if name not in SMOOTH:
        share = 0.3 * share + rng.gamma(1.6, 0.3, count)
    return np.maximum(low + (high - low) * share * 1.15, 0.0).round(3)


def _map_units(rng: np.random.Generator, base: gpd.GeoDataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Draw the map unit under each lot and the one beside it, and the first one's share."""
    middle = base.geometry.centroid
    patch = np.stack([middle.x // UNIT_SIDE_M, middle.y // UNIT_SIDE_M]).astype(int)
    patch -= patch.min(axis=1, keepdims=True)
    kinds = rng.integers(0, UNIT_KINDS, patch.max(axis=1) + 2)
    units = np.stack([kinds[patch[0], patch[1]], kinds[patch[0] + 1, patch[1]]])
    share = np.where(rng.random(len(base)) < 0.75, 1.0, rng.random(len(base)))
    return units, share


def _by_unit(
    rng: np.random.Generator, values: np.ndarray, units: np.ndarray, share: np.ndarray
) -> np.ndarray:
    """Give every map unit one of the values; lots that share two units get their mean."""
    of_unit = rng.choice(values, UNIT_KINDS)
    if of_unit.dtype == object or of_unit.dtype.kind == "U":
        return of_unit[units[0]]
    return (share * of_unit[units[0]] + (1 - share) * of_unit[units[1]]).round(3)


def _drawn_marks(rng: np.random.Generator, count: int) -> np.ndarray:
    return rng.choice(list(EVIDENCE_SHARES), count, p=[*EVIDENCE_SHARES.values()])


def _marks(rng: np.random.Generator, values: object, record: np.ndarray) -> np.ndarray:
    """Draw marks that mostly follow what is on record of the system; unknown where nothing is."""
    count = len(record)
    drawn = np.where(rng.random(count) < TIED_MARKS, record, _drawn_marks(rng, count))
    return np.where(pd.isna(pd.Series(values)), "unknown", drawn)


def _doubt(rng: np.random.Generator, ranked: pd.DataFrame) -> pd.DataFrame:
    ranks = ranked["rank"].astype(float)
    width = rng.gamma(4, 1.0, (2, len(ranked)))
    spread = ranks * 0.3 + 20
    return pd.DataFrame(
        {
            "priority_low": ranked["priority"] - width[0],
            "priority_high": ranked["priority"] + width[1],
            "rank_low": (ranks - spread).clip(lower=1),
            "rank_high": (ranks + spread).clip(upper=ranks.max()),
            "top_chance": (1.2 - ranks / TOP).clip(0, 1),
            "chance_failed_low_frac": 0.5 * ranked["chance_failed_frac"],
            "chance_failed_high_frac": 0.5 + 0.5 * ranked["chance_failed_frac"],
        }
    )


def _lots(ranked: gpd.GeoDataFrame) -> dict[str, gpd.GeoDataFrame]:
    served = ranked[ranked["rank"].notna()]
    areas = served.geometry.buffer(-4).simplify(0.5)
    box = shapely.oriented_envelope(areas.buffer(-6).to_numpy())
    places = gpd.GeoSeries(box, index=areas.index, crs=ranked.crs)
    return {
        "treatment_areas": gpd.GeoDataFrame(geometry=areas[~areas.is_empty]),
        "replacement_places": gpd.GeoDataFrame(geometry=places[places.area > 0]),
    }


def _with_risk(rng: np.random.Generator, wells: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    risk = rng.beta(1, 6, len(wells))
    nitrate = rng.gamma(1.5, 2.0, len(wells))
    return wells.assign(
        well_risk_frac=risk, well_risk_low=risk * 0.6, well_risk_high=1 - (1 - risk) * 0.7,
        nitrate_predicted_mg_l=nitrate, nitrate_low_mg_l=nitrate / 3, nitrate_high_mg_l=nitrate * 3,
        chance_above_limit_frac=risk / 3, systems_reaching=rng.poisson(4, len(wells)),
        well_unknowns=rng.choice(["", "casing", "casing; depth"], len(wells)),
    )  # fmt: skip


def _zones(ranked: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    west, south, east, north = ranked.total_bounds
    wide, tall = (east - west) / 5, (north - south) / 5
    boxes = [
        shapely.box(
            west + i * wide, south + i * tall, west + (i + 1.3) * wide, south + (i + 1) * tall
        )
        for i in range(4)
    ]
    return gpd.GeoDataFrame(
        {
            "zone_id": ["C01", "C02", "D01", "N01"],
            "kind": ["capture", "capture", "dense_old", "nitrate"],
            "why": [f"An invented reason, number {i}." for i in range(4)],
            "systems": [40, 30, 20, 10],
            "wells": [4, 3, 2, 1],
            "people": [100, 75, 50, 25],
        },
        geometry=boxes,
        crs=ranked.crs,
    )


def _pairs(
    rng: np.random.Generator, ranked: gpd.GeoDataFrame, wells: gpd.GeoDataFrame
) -> pd.DataFrame:
    """About two wells a system, near ones; as many as a real county showed."""
    served = ranked[ranked["rank"].notna()]
    tree = shapely.STRtree(wells.geometry.to_numpy())
    system, well = tree.query(served.geometry.centroid.to_numpy(), "dwithin", 220.0)
    keep = np.sort(rng.permutation(len(system))[: 2 * len(served)])
    system, well = system[keep], well[keep]
    distance = shapely.distance(
        served.geometry.centroid.to_numpy()[system], wells.geometry.to_numpy()[well]
    )
    return pd.DataFrame(
        {
            "parcel_id": served.index.to_numpy()[system],
            "well_id": wells["well_id"].to_numpy()[well],
            "distance_m": distance,
            "travel_time_d": distance / rng.uniform(0.05, 0.4, len(distance)) + 1,
            "nitrate_added_mg_l": 0.01 + rng.gamma(0.5, 0.3, len(distance)),
        }
    )
