"""An invented ranked county for the map: irregular lots, dense in the middle, with dirt.

Everything is drawn from one seed; nothing in it stands for a real place or person.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from riskmap.action.worklists import part_lists
from riskmap.contract.grid import Grid
from riskmap.publish.map.model import MapFactor, MapModel

REGION_CRS = CRS.from_epsg(32616)
CENTER = (500_000.0, 4_600_000.0)
FACTORS = (
    MapFactor("age", "failure", "Age of the system", 20.0),
    MapFactor("soil", "failure", "Soil limits", 16.0),
    MapFactor("wet", "failure", "Seasonal water table", 14.0),
    MapFactor("load", "failure", "Load against capacity", 12.0),
    MapFactor("pumping", "failure", "Pump-out overdue", 8.0),
    MapFactor("slope", "failure", "Slope", 5.0),
    MapFactor("complaints", "failure", "Complaints on record", 10.0),
    MapFactor("well", "groundwater", "Drinking well nearby", 20.0),
    MapFactor("depth", "groundwater", "Depth to the water table", 15.0),
    MapFactor("drain", "groundwater", "Fast-draining soil", 10.0),
    MapFactor("density", "groundwater", "Systems close together", 10.0),
    MapFactor("shore", "groundwater", "Water nearby", 8.0),
)
MODEL = MapModel(FACTORS, visits=40)
SHARE = 0.6
SUM = "any system of the county~-1.83~-1.83|found failed at a visit in May 2021~+3.05~+1.22"
"""A sum behind a chance, as the map's data holds it."""
STREETS = (
    "Alder",
    "Bramble",
    "Cedar",
    "Dogwood",
    "Elm",
    "Fern",
    "Gorse",
    "Hazel",
    "Iris",
    "Juniper",
)
REASONS = {
    "age": "the system is old",
    "soil": "the soil limits a field",
    "wet": "the ground is wet in spring",
    "load": "more flow than the field was made for",
    "pumping": "no pump-out on record for long",
    "slope": "the lot is steep",
    "complaints": "complaints on record",
}


def make_lots(count: int, *, seed: int = 5) -> np.ndarray:
    """About `count` irregular lots of eight corners that share their edges, farms outside."""
    rng = np.random.default_rng(seed)
    side = int(np.ceil(np.sqrt(count * 1.06)))
    line = np.linspace(-1, 1, 2 * side + 1)
    u, v = np.meshgrid(line, line)
    reach = 24.0 * side
    jitter = 0.32 / side
    u = u + rng.uniform(-jitter, jitter, u.shape)
    v = v + rng.uniform(-jitter, jitter, v.shape)
    far = np.sqrt(u**2 + v**2)
    x = CENTER[0] + reach * u * (0.55 + 0.75 * far)
    y = CENTER[1] + reach * v * (0.55 + 0.75 * far)
    row, column = (2 * grid.ravel() for grid in np.mgrid[0:side, 0:side])
    steps = [(0, 0), (0, 1), (0, 2), (1, 2), (2, 2), (2, 1), (2, 0), (1, 0)]
    ring_x = np.stack([x[row + r, column + c] for r, c in steps], axis=1)
    ring_y = np.stack([y[row + r, column + c] for r, c in steps], axis=1)
    lots = shapely.polygons(np.stack([ring_x, ring_y], axis=2))
    keep = np.sort(rng.permutation(len(lots))[:count])
    return np.asarray(lots[keep])


def make_ranked(count: int, *, seed: int = 5) -> gpd.GeoDataFrame:
    """Build a ranked table of `count` parcels with the columns that the map reads."""
    rng = np.random.default_rng(seed)
    lots = make_lots(count, seed=seed)
    center = shapely.centroid(lots)
    x, y = shapely.get_x(center) - CENTER[0], shapely.get_y(center) - CENTER[1]
    scale = max(1.0, float(np.abs(x).max()))
    frame = _facts(rng, count, x / scale, y / scale, shapely.area(lots))
    limitation = _limitations(rng, frame, x / scale, y / scale)
    frame = frame.join(_scores(limitation, frame["service"].eq("onsite").to_numpy()))
    frame.index = pd.Index(
        [f"{10 + i // 10000:02d}-{i % 10000:04d}-{i * 7 % 97:02d}" for i in range(count)]
    )
    frame.index.name = "parcel_id"
    return gpd.GeoDataFrame(frame, geometry=lots, crs=REGION_CRS)


def _facts(
    rng: np.random.Generator, count: int, x: np.ndarray, y: np.ndarray, lot_m2: np.ndarray
) -> pd.DataFrame:
    house = rng.integers(1, 9900, count)
    street = np.array(STREETS)[rng.integers(0, len(STREETS), count)]
    town = np.hypot(x, y) < 0.22
    vacant = rng.random(count) < 0.12
    service = np.select([vacant, town & (rng.random(count) < 0.9)], ["none", "sewer"], "onsite")
    service = np.where(rng.random(count) < 0.03, "unknown", service)
    age = np.clip(rng.gamma(4, 8, count) + 12 * (x < 0), 0, 90).round()
    age[rng.random(count) < 0.1] = np.nan
    evidence = rng.choice(["measured", "inferred", "assumed"], count, p=[0.5, 0.3, 0.2])
    pumped = np.where(rng.random(count) < 0.4, rng.gamma(2, 4, count).round(), np.nan)
    known = lambda values: np.where(np.isnan(values), "unknown", evidence)  # noqa: E731
    kinds = rng.choice(["trench", "bed", "mound", "seepage_pit"], count, p=[0.6, 0.2, 0.15, 0.05])
    block = (np.floor(x * 4 + 4) * 8 + np.floor(y * 4 + 4)).astype(int)
    frame = pd.DataFrame(
        {
            "address": [f"{n} {s} Lane" for n, s in zip(house, street, strict=True)],
            "neighborhood": [f"Made-up Tract {n}" for n in block],
            "land_use": np.where(vacant, "vacant", "residential"),
            "service": service,
            "service_evidence": rng.choice(["measured", "inferred"], count),
            "lot_m2": lot_m2,
            "kind": kinds,
            "kind_evidence": evidence,
            "age_yr": age,
            "age_yr_evidence": known(age),
            "bedrooms": rng.integers(1, 6, count).astype(float),
            "years_since_pumped_yr": pumped,
            "years_since_pumped_yr_evidence": known(pumped),
            "complaints": rng.poisson(0.08, count).astype(float),
            "soil_class": rng.choice(["Very limited", "Somewhat limited", "Not limited"], count),
            "soil_class_evidence": "mapped",
            "wet_depth_cm": np.clip(90 + 60 * np.sin(6 * x) + rng.normal(0, 12, count), 0, 200),
            "wet_depth_cm_evidence": "mapped",
            "slope_pct": np.abs(4 + 4 * np.sin(9 * y) + rng.normal(0, 1, count)),
            "slope_pct_evidence": "mapped",
            "well_distance_m": rng.gamma(2, 60, count),
            "well_distance_m_evidence": "mapped",
            "stream_distance_m": np.abs(np.sin(5 * x + y)) * 900,
            "stream_distance_m_evidence": "mapped",
        }
    )
    return frame


def _limitations(
    rng: np.random.Generator, frame: pd.DataFrame, x: np.ndarray, y: np.ndarray
) -> pd.DataFrame:
    count = len(frame)
    wave = 0.5 + 0.5 * np.sin(5 * x) * np.cos(4 * y)
    noise = rng.random((count, 4))
    table = {
        "age": (frame["age_yr"].fillna(30) / 60).clip(0, 1),
        "soil": 0.7 * wave + 0.3 * noise[:, 0],
        "wet": (1 - frame["wet_depth_cm"] / 180).clip(0, 1),
        "load": 0.6 * noise[:, 1] + 0.4 * wave,
        "pumping": (frame["years_since_pumped_yr"].fillna(8) / 15).clip(0, 1),
        "slope": (frame["slope_pct"] / 15).clip(0, 1),
        "complaints": frame["complaints"].clip(0, 2) / 2,
        "well": (1 - frame["well_distance_m"] / 250).clip(0, 1),
        "depth": 0.8 * (1 - wave) + 0.2 * noise[:, 2],
        "drain": noise[:, 3],
        "density": np.clip(1 - np.hypot(x, y), 0, 1),
        "shore": (1 - frame["stream_distance_m"] / 600).clip(0, 1),
    }
    return pd.DataFrame(table).round(3)


def _scores(limitation: pd.DataFrame, onsite: np.ndarray) -> pd.DataFrame:
    result = pd.DataFrame(index=limitation.index)
    for score in ("failure", "groundwater"):
        factors = MODEL.of(score)
        total = sum(factor.weight for factor in factors)
        points = {f.name: (limitation[f.name] * f.weight * (100 / total)).round(3) for f in factors}
        for name, values in points.items():
            result[f"{name}_points"] = values.where(onsite)
        result[f"{score}_score"] = pd.DataFrame(points).sum(axis=1).round(3)
    share = SHARE
    parts = share * result["failure_score"], (1 - share) * result["groundwater_score"]
    result["priority"] = (parts[0] + parts[1]).round(3)
    for column in ("failure_score", "groundwater_score", "priority"):
        result[column] = result[column].where(onsite)
    result["chance_failed_frac"] = result["priority"] / 100
    result["rank"] = result["priority"].rank(method="first", ascending=False).astype("Int64")
    result = with_lists(result)
    result["not_ranked_reason"] = np.where(onsite, "", "no onsite system is known here")
    leading = np.argsort(-limitation[list(REASONS)].to_numpy(), axis=1, kind="stable")[:, :3]
    words = np.array(list(REASONS.values()))
    for place in range(3):
        result[f"reason_{place + 1}"] = np.where(onsite, words[leading[:, place]], "")
    result["unknown"] = np.where(onsite & (leading[:, 0] == 0), "last pump-out; tank volume", "")
    return result


def with_lists(ranked: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Add the two lists and the records behind them; every fortieth ranked system is on file."""
    owed = ranked.index[ranked["rank"].fillna(0).to_numpy(int) % 40 == 7]
    words = "found failed at a visit in May 2021; no later repair on file"
    years = 2015.0 + np.arange(len(owed)) % 9
    cases = pd.DataFrame({"on_file": words, "on_file_year": years}, index=owed)
    lists = part_lists(ranked, cases, visits=MODEL.visits, followup_frac=0.2)
    lists["ledger"] = lists["on_file"].map(lambda _: SUM, na_action="ignore")
    lists["county_records"] = lists["on_file"].str.split(";").str[0]
    return ranked.join(lists)


def make_layers(ranked: gpd.GeoDataFrame, *, seed: int = 5) -> dict[str, gpd.GeoDataFrame]:
    """Streams, a lake, soils, wells and a sewer area over the county."""
    rng = np.random.default_rng(seed)
    west, south, east, north = ranked.total_bounds
    along = np.linspace(0, 1, 400)
    lines = [
        shapely.linestrings(
            west + (east - west) * along,
            south + (north - south) * (start + 0.08 * np.sin(9 * along + k) + 0.2 * along),
        )
        for k, start in enumerate(np.linspace(0.05, 0.7, 5))
    ]
    middle = shapely.Point((west + east) / 2, (south + north) / 2)
    town = middle.buffer(0.11 * (east - west))
    corner = shapely.Point(west + 0.3 * (east - west), south + 0.68 * (north - south))
    lake = corner.buffer(0.05 * (east - west), quad_segs=24).union(
        shapely.Point(corner.x + 0.05 * (east - west), corner.y).buffer(0.03 * (east - west))
    )
    cells = shapely.box(
        *(
            part.ravel()
            for part in (
                *(
                    g
                    for g in np.meshgrid(
                        np.linspace(west, east, 13)[:-1], np.linspace(south, north, 13)[:-1]
                    )
                ),
                *(
                    g
                    for g in np.meshgrid(
                        np.linspace(west, east, 13)[1:], np.linspace(south, north, 13)[1:]
                    )
                ),
            )
        )
    )
    words = rng.choice(["Very limited", "Somewhat limited", "Not limited", "Not rated"], len(cells))
    number = max(20, len(ranked) // 8)
    crs = ranked.crs
    wells = gpd.GeoDataFrame(
        {
            "well_id": [f"W{n:06d}" for n in range(number)],
            "use": rng.choice(["domestic", "public", "irrigation"], number, p=[0.9, 0.03, 0.07]),
            "depth_m": rng.gamma(4, 10, number),
        },
        geometry=shapely.points(rng.uniform(west, east, number), rng.uniform(south, north, number)),
        crs=crs,
    )
    return {
        "soils": gpd.GeoDataFrame({"soil_class": words}, geometry=cells, crs=crs),
        "streams": gpd.GeoDataFrame(geometry=lines, crs=crs),
        "waterbodies": gpd.GeoDataFrame(geometry=[lake], crs=crs),
        "sewer_area": gpd.GeoDataFrame(geometry=[town], crs=crs),
        "wells": wells,
    }


def make_terrain(ranked: gpd.GeoDataFrame, *, cells: int = 300) -> Grid:
    """Make rolling ground, a little wider than the county."""
    west, south, east, north = ranked.total_bounds
    size = max(east - west, north - south) * 1.04 / cells
    x, y = np.meshgrid(np.linspace(0, 1, cells), np.linspace(1, 0, cells))
    height = (
        200 + 60 * np.sin(7 * x + 3 * y) + 35 * np.cos(11 * y - 5 * x) + 12 * np.sin(31 * x * y)
    )
    return Grid(
        height, west - 0.02 * cells * size, north + 0.02 * cells * size, size, size, REGION_CRS
    )
