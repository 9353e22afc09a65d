"""The county to fetch for: from an outline or any map layer, or by name or code.

Outlines are the Census Bureau's cartographic boundaries of 2023, as the package us-atlas-2023 gives
them, good to a few kilometers (US public domain).
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from data_pipelines.shapes import shapes_of, source_crs
from data_pipelines.vector_files import open_table, read_rows
from riskmap.contract.errors import FetchError

HALO_DEG: Final = 0.03
"""Added on all sides: systems, wells and streams just outside the line play a part (about 3 km)."""
MOST_UNITED: Final = 50
"""Shapes that are united; of more, as parcels are, the hull is taken."""
LEAST_SHARE: Final = 0.02
"""Share of a place that lies in a county from which that county's own files are fetched."""


@dataclass(frozen=True)
class Place:
    """Where to fetch: name, five-digit codes of its counties, and its outline in degrees."""

    name: str
    codes: tuple[str, ...]
    outline: Any

    @property
    def box(self) -> tuple[float, float, float, float]:
        """West, south, east, north in degrees, the halo around it."""
        west, south, east, north = map(float, self.outline.bounds)
        return west - HALO_DEG, south - HALO_DEG, east + HALO_DEG, north + HALO_DEG

    @property
    def states(self) -> tuple[str, ...]:
        """Two-digit codes of its states."""
        return tuple(dict.fromkeys(code[:2] for code in self.codes))


@lru_cache(maxsize=1)
def counties() -> gpd.GeoDataFrame:
    """Every county: ``code`` (five digits), ``name``, ``state`` (two letters), ``geometry``.

    >>> len(counties())
    3233
    """
    with as_file(files("riskmap.fetching") / "counties.parquet") as path:
        return gpd.read_parquet(path)


def state_outline(letters: str) -> shapely.Geometry:
    """Outline of a state, in degrees.

    >>> [round(x) for x in state_outline("VT").bounds]
    [-73, 43, -71, 45]
    """
    own = counties().loc[counties()["state"].eq(letters.upper()), "geometry"]
    outline: shapely.Geometry = shapely.union_all(own.to_numpy())
    return outline


def county_place(said: str) -> Place:
    """Find a county by its code or by name and state.

    >>> county_place("50007").name, county_place("chittenden county, vt").codes
    ('Chittenden, VT', ('50007',))

    Raises
    ------
    FetchError
        If there is no such county, or several of the name.
    """
    table = counties()
    if re.fullmatch(r"\d{5}", said.strip()):
        found = table[table["code"].eq(said.strip())]
    else:
        name, _, state = (part.strip() for part in said.rpartition(","))
        plain = _plain(name)
        own = table["state"].eq(state.upper()) | table["state_name"].str.lower().eq(state.lower())
        found = table[own & table["name"].map(_plain).eq(plain)]
    if len(found) != 1:
        raise FetchError("county", *_not_one(said, found))
    row = found.iloc[0]
    return Place(f"{row['name']}, {row['state']}", (row["code"],), row["geometry"])


def _plain(name: str) -> str:
    """Name without its kind, case and signs."""
    words = re.sub(r"[^a-z ]", "", name.lower().replace(".", " ").replace("-", " ")).split()
    kinds = ("county", "parish", "borough", "census", "area", "city", "municipality")
    return " ".join(word for word in words if word not in kinds) or " ".join(words)


def _not_one(said: str, found: pd.DataFrame) -> tuple[str, str]:
    if len(found):
        codes = ", ".join(f"{row.code} ({row.name_})" for row in _rows(found))
        return f"there are several counties called {said!r}.", f"Give the code: {codes}."
    every = [f"{row.name_}, {row.state}" for row in _rows(counties())]
    near = difflib.get_close_matches(said.title(), every, n=3)
    hint = f" Near: {'; '.join(near)}." if near else ""
    return (
        f"there is no county {said!r}.",
        f'Give name and state, "Name, ST", or the five-digit code.{hint}',
    )


def _rows(table: pd.DataFrame) -> list[Any]:
    return list(table.rename(columns={"name": "name_"}).itertuples())


def outline_place(path: Path, crs: str | None = None) -> Place:
    """Take the outline from a map layer: the hull of all its shapes, parcels for example.

    Raises
    ------
    LayerError
        If the file cannot be read or has no reference system.
    FetchError
        If it lies in no county.
    """
    opened = open_table(path, layer="outline")
    rows = read_rows(opened, columns=[])
    system = source_crs(crs, opened.crs, name=path.name, layer="outline")
    given: list[Any] = list(shapes_of(rows.shapes)) if rows.shapes is not None else []
    shapes = shapely.make_valid([shape for shape in given if shape is not None])
    few = len(shapes) <= MOST_UNITED
    one = shapely.union_all(shapes) if few else shapely.geometrycollections(list(shapes))
    mover = Transformer.from_crs(system, CRS(4326), always_xy=True)

    def moved(places: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack(mover.transform(places[:, 0], places[:, 1]))

    outline: Any = shapely.transform(one if few else shapely.convex_hull(one), moved)
    table = counties()
    touched = table[table.intersects(outline)]
    parts: Any = shapely.intersection(touched.geometry.to_numpy(), outline)
    shares = shapely.area(parts) / max(float(shapely.area(outline)), 1e-12)
    codes = tuple(touched.loc[(shares >= LEAST_SHARE) | (len(touched) == 1), "code"])
    if not codes:
        raise FetchError(
            "outline", f"{path.name} lies in no county of the United States.", "Check its crs."
        )
    return Place(path.stem, codes, outline)
