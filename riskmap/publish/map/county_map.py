"""The map of a run: its layers, wells and zones gathered for the page."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import geopandas as gpd
import pandas as pd

from riskmap.contract.vocabulary import DECIDED_BY_CONDITION
from riskmap.inventory.soil_aggregate import rate_mapunits
from riskmap.publish.gis.run_layers import lot_layers
from riskmap.publish.map.data import CELL_MARK, ROW_MARK
from riskmap.publish.map.facts import LEDGER
from riskmap.publish.map.model import MapModel
from riskmap.publish.map.plan import BaseMap
from riskmap.publish.map.threats import wells_with_risk
from riskmap.publish.map.webmap import MapReport, write_map
from riskmap.publish.words.imprint import imprint_of
from riskmap.publish.words.ledger import ledger_rows
from riskmap.ranking.model import Model
from riskmap.ranking.priority import reaches_water
from riskmap.ranking.score import limits_used
from riskmap.region.model_file import model_text
from riskmap.region.sections import Region
from riskmap.stages.listing import find_visits, list_length
from riskmap.stages.result import Result

PLAIN_LAYERS: Final = ("streams", "waterbodies", "roads", "places", "floodplain", "sewer_area")


def county_map(folder: Path, result: Result) -> MapReport:
    """Write ``map/`` of a run."""
    region = result.region
    model = result.model
    groundwater = result.groundwater
    return write_map(
        folder,
        with_ledgers(with_limitations(result.parcels, model), result.ledgers),
        imprint_of(region),
        model=MapModel(
            model.factors,
            reaches_water(region.lists.aim),
            find_visits(result.parcels, region),
            text=model_text(region.model_file),
        ),
        layers=map_layers(result),
        terrain=result.county.rasters.get("elevation"),
        threats=None if groundwater is None else groundwater.pairs,
        top=list_length(result.parcels, region.lists),
        base_map=base_map(region),
    )


def base_map(region: Region) -> BaseMap | None:
    """Return the online background that the region file allows, if any."""
    if not region.map.base_map_tiles:
        return None
    return BaseMap(region.map.base_map_tiles, region.map.base_map_credit)


def with_limitations(parcels: gpd.GeoDataFrame, model: Model) -> gpd.GeoDataFrame:
    """Add ``<factor>_limitation``, as scored: the page then adds up the very same numbers."""
    if "decided_by" in parcels and parcels["decided_by"].eq(DECIDED_BY_CONDITION).all():
        parcels = parcels.drop(columns="decided_by")
    limits = limits_used(parcels, model)
    scored = parcels["priority"].notna()
    return parcels.join(limits.where(scored).add_suffix("_limitation"))


def with_ledgers(parcels: gpd.GeoDataFrame, ledgers: pd.DataFrame) -> gpd.GeoDataFrame:
    """Add ``ledger``: the sum behind the chance, its lines as words, term and sum; else empty."""
    lines = {
        lot: ROW_MARK.join(CELL_MARK.join(_unmarked(cell) for cell in row) for row in rows)
        for lot, rows in ledger_rows(ledgers).items()
    }
    words = pd.Series(lines, dtype="string").reindex(parcels.index)
    return parcels.assign(**{LEDGER: words})


def _unmarked(cell: str) -> str:
    return cell.replace(ROW_MARK, " ").replace(CELL_MARK, " ")


def map_layers(result: Result) -> dict[str, gpd.GeoDataFrame]:
    """Layers other than the parcels: as they came, soils with classes, wells with their risk."""
    tables = result.county.tables
    layers = {name: tables[name] for name in PLAIN_LAYERS if name in tables}
    wells = tables.get("wells")
    if isinstance(wells, gpd.GeoDataFrame):
        layers["wells"] = wells_with_risk(wells, _assessed_wells(result))
    layers["soils"] = _soil_limits(result)
    zones = {} if result.planning is None else {"zones": result.planning.zones}
    return layers | lot_layers(result) | zones


def _assessed_wells(result: Result) -> pd.DataFrame | None:
    """Wells with their risk, and with setbacks and zones where the run drew zones."""
    behind = result.planning or result.groundwater
    return None if behind is None else pd.DataFrame(behind.wells)


def _soil_limits(result: Result) -> gpd.GeoDataFrame:
    """Soil polygons with map unit name and the class by the national rule."""
    tables = result.county.tables
    rated = rate_mapunits(result.component_ratings)
    names = tables["soil_mapunits"].set_index("mukey")["muname"]
    units = tables["soil_units"][["mukey", "musym", "geometry"]]
    return units.assign(
        muname=units["mukey"].map(names),
        soil_class=units["mukey"].map(rated["condition_class"]),
    )
