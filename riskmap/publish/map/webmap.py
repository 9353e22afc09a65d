"""The interactive map: one folder that opens by double-click, with no network at all.

The page is composed by :mod:`riskmap.publish.map.compose`. The parcels travel as packed columns
(:mod:`riskmap.publish.map.packing`) in script files, which browsers open from disk where they
refuse to fetch.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import geopandas as gpd
import pandas as pd
from markupsafe import Markup

from riskmap.contract.features import WHY
from riskmap.contract.features.ranks import RECORDS
from riskmap.contract.grid import Grid
from riskmap.contract.quantities import Units
from riskmap.publish.map.compose import compose_page, copy_page_files
from riskmap.publish.map.data import (
    BLOCK_ROWS,
    CELL_MARK,
    ROW_MARK,
    drawable,
    pack_details,
    pack_facts,
    pack_parcels,
)
from riskmap.publish.map.doubt import doubt_plan
from riskmap.publish.map.facts import BY_PAIRS, Fact, facts_of, installed_from
from riskmap.publish.map.layers import ON_LOTS, first_lots, kept_layers, pack_layers
from riskmap.publish.map.model import MapModel, largest_difference, limitations
from riskmap.publish.map.packing import Package
from riskmap.publish.map.plan import BaseMap, count_parcels, layer_entries, make_plan
from riskmap.publish.map.relief import draw_relief
from riskmap.publish.map.threats import pack_threats
from riskmap.publish.map.zones import zone_of_parcels
from riskmap.publish.words.cautions import LOCAL_CODE, SCREENING, STAFF_ONLY
from riskmap.publish.words.imprint import Imprint
from riskmap.publish.words.text_safety import plain_text

MAP_CAUTIONS: Final = (SCREENING, LOCAL_CODE, STAFF_ONLY)
RESCORE_TOLERANCE: Final = 0.1
"""The page offers to move weights only if its own sum gives back the table's scores this closely
(points); limitations travel in thousandths, which alone is at most 0.05."""


@dataclass(frozen=True)
class MapReport:
    """What was written: counts, sizes and whether weights can be moved in the page.

    `opening_bytes` are read with the page, `details_bytes` in all with cards and weights (a card
    reads the block of its own parcel, wells reached and shapes on the lots; moved weights read
    every block); `sizes` are the bytes of each data file.
    """

    parcels: int
    drawn: int
    without_shape: int
    opening_bytes: int
    details_bytes: int
    weights_ready: bool
    rescore_difference: float
    sizes: Mapping[str, int]


AT_OPENING: Final = ("parcels", "facts", "layers", "relief")
"""Data files that are read with the page; the others with the first card, filter or weight."""


def write_map(
    folder: Path,
    ranked: gpd.GeoDataFrame,
    imprint: Imprint,
    *,
    model: MapModel,
    layers: Mapping[str, gpd.GeoDataFrame],
    terrain: Grid | None = None,
    cautions: Sequence[str] = MAP_CAUTIONS,
    base_map: BaseMap | None = None,
    threats: pd.DataFrame | None = None,
    top: int | None = None,
) -> MapReport:
    """Write ``map/index.html`` and what lies next to it into the result's `folder`.

    Parameters
    ----------
    folder
        The result's own folder; ``map`` is made in it.
    ranked
        One row per parcel (index: parcel number), lot polygons in a projected system, inventory
        columns, scores, classes, ranks, reasons and ``<factor>_points``.
    layers
        Optional layers by name: ``soils`` (with a class column), ``streams``, ``waterbodies``,
        ``wells`` (:func:`riskmap.publish.map.threats.wells_with_risk`), ``floodplain``,
        ``sewer_area``, ``zones`` (:data:`riskmap.contract.results.ZONES`),
        ``treatment_areas`` and ``replacement_places`` (index: parcel number); others are drawn
        plainly.
    imprint
        County, day and units of the page.
    base_map
        An online background, off until a reader turns it on; without it the page never asks the
        network for anything.
    threats
        Which parcel's water reaches which well; see
        :func:`riskmap.publish.map.threats.pack_threats`.
    top
        Length of the list that the column ``top_chance`` is for.
    """
    folder, units = folder / "map", imprint.units
    kept = kept_layers(_on_first_lots(layers, ranked))
    rows = drawable(ranked)
    if "zones" in kept:
        rows = rows.assign(zone=zone_of_parcels(rows, kept["zones"]))
    pairs = threats if threats is not None and "wells" in kept else None
    facts = facts_of(rows, units=units, without=() if pairs is None else BY_PAIRS)
    limitation = limitations(rows, model.factors)
    # A factor without limitations (weight zero, or no points) cannot be moved in the page.
    model = replace(model, factors=[f for f in model.factors if f.name in limitation])
    difference = largest_difference(rows, limitation, model)
    relief = draw_relief(terrain) if terrain is not None else None
    data = _packages(rows, facts, limitation, kept, pairs, units)
    plan = make_plan(
        county=imprint.county,
        date=imprint.date,
        units=units,
        counts=count_parcels(ranked, len(rows)),
        bounds=_bounds(rows),
        model=model,
        facts=facts,
        layers=layer_entries(kept, relief=relief is not None, base_map=base_map),
        weights_ready=difference <= RESCORE_TOLERANCE,
        relief={"file": "relief.png", "bounds": list(relief.bounds)} if relief else None,
        base_map=_safe(base_map),
        extras={
            "doubt": doubt_plan(rows, top=top),
            "ledger": {"row": ROW_MARK, "cell": CELL_MARK},
            "why": [
                {"name": found.name, "head": f"{found.label}: " if found in RECORDS else ""}
                for found in WHY
            ],
            "installed_from": installed_from(rows),
            "files": sorted(data),
            "block_rows": BLOCK_ROWS,
            "has_stage": "stage" in rows,
        },
    )
    copy_page_files(folder)
    sizes = _write_data(folder, data)
    if relief is not None:
        (folder / "relief.png").write_bytes(relief.png)
        sizes["relief"] = len(relief.png)
    page = compose_page(plan, cautions=cautions)
    (folder / "index.html").write_bytes(page.encode("utf-8"))
    opening = sum(sizes.get(name, 0) for name in AT_OPENING)
    return MapReport(
        parcels=len(ranked),
        drawn=len(rows),
        without_shape=len(ranked) - len(rows),
        opening_bytes=opening,
        details_bytes=sum(sizes.values()) - opening,
        weights_ready=plan["weights_ready"],
        rescore_difference=difference,
        sizes=sizes,
    )


def _packages(
    rows: gpd.GeoDataFrame,
    facts: Sequence[Fact],
    limitation: pd.DataFrame,
    kept: Mapping[str, gpd.GeoDataFrame],
    pairs: pd.DataFrame | None,
    units: Units,
) -> dict[str, Package]:
    """Pack the data files; `limitation` is in the order of `rows`."""
    places = {name: kept[name] for name in ON_LOTS if name in kept}
    order = {name: rows.index.get_indexer(table.index) for name, table in places.items()}
    others = {name: table for name, table in kept.items() if name not in places}
    parcels = pack_parcels(rows)
    first = pack_facts(rows, facts, units=units, given=parcels.known())
    known = parcels.known() | first.known()
    data = {
        "parcels": parcels,
        "facts": first,
        "layers": pack_layers(others, units=units, rows={}),
        "details": pack_details(rows, facts, limitation, units=units, given=known),
    }
    if places:
        data["places"] = pack_layers(places, units=units, rows=order)
    if pairs is not None:
        wells = kept["wells"]["well_id"]
        data["threats"] = pack_threats(pairs, parcels=rows.index, wells=wells, units=units)
    return data


def _on_first_lots(
    layers: Mapping[str, gpd.GeoDataFrame], ranked: gpd.GeoDataFrame
) -> dict[str, gpd.GeoDataFrame]:
    """Layers with a shape a parcel are cut to the head of the list; empty layers are dropped."""
    drawn = drawable(ranked).index
    cut = {
        name: first_lots(layer, ranked, drawn) if name in ON_LOTS else layer
        for name, layer in layers.items()
    }
    return {name: layer for name, layer in cut.items() if len(layer)}


def _write_data(folder: Path, data: Mapping[str, Package]) -> dict[str, int]:
    """Write the data files and return their sizes."""
    sizes = {}
    for name, package in data.items():
        rows = BLOCK_ROWS if name == "details" else None
        for script, text in package.to_scripts(name, rows).items():
            sizes[script] = (folder / "data" / f"{script}.js").write_bytes(text.encode("ascii"))
    return sizes


def _bounds(rows: gpd.GeoDataFrame) -> tuple[float, float, float, float]:
    if rows.empty:
        return (-100.0, 30.0, -80.0, 45.0)
    west, south, east, north = rows.to_crs(4326).total_bounds
    return (float(west), float(south), float(east), float(north))


def _safe(base_map: BaseMap | None) -> BaseMap | None:
    """Leaflet shows an attribution as markup: escape it."""
    if base_map is None:
        return None
    return BaseMap(base_map.url, str(Markup.escape(plain_text(base_map.attribution))))
