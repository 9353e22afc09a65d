"""The county report, the metadata and the GIS styles of a run."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path
from typing import Final

import geopandas as gpd
import pandas as pd

from riskmap.failure.service_life import survival_table
from riskmap.publish.gis.metadata import write_metadata
from riskmap.publish.gis.metadata_further import further_layers
from riskmap.publish.gis.metadata_layers import layer_of
from riskmap.publish.gis.styles import STYLES, WORD_STYLES, write_styles
from riskmap.publish.lists.zones_table import LAYERS as ZONE_LAYERS
from riskmap.publish.map.county_map import lot_layers
from riskmap.publish.report.further import further_sections
from riskmap.publish.report.pages import Findings, write_report
from riskmap.publish.report.plan import nitrate_table, weights_table, zones_by_kind
from riskmap.publish.report.section import Section
from riskmap.publish.words.imprint import imprint_of
from riskmap.stages.listing import list_length
from riskmap.stages.result import Result

FEWEST_LIVES: Final = 20
"""Kinds with fewer lives on record get no survival table."""
REPORT_LAYERS: Final = ("streams", "waterbodies")


def write_report_pages(folder: Path, result: Result, *, sections: Sequence[Section] = ()) -> None:
    """Write ``report/`` and ``styles/``.

    Parameters
    ----------
    sections
        Further sections (validation, drift, fairness ...), after the groundwater part.
    """
    region = result.region
    tables = result.county.tables
    write_report(
        folder,
        result.parcels,
        **imprint_of(region),
        model=result.model,
        cuts=region.rules.class_cuts,
        findings=Findings(
            survival=_survival(result.service_history),
            aging=result.aging,
            information=None if result.doubt is None else result.doubt.collect,
            defects=result.data_quality,
            rows_read={name: len(table) for name, table in tables.items()},
            sections=(*_own_sections(result), *sections),
        ),
        map_layers={name: tables[name] for name in REPORT_LAYERS if name in tables},
        well_setback_m=region.rules.well_setback_m,
        horizon_yr=region.rules.horizon_yr,
        head=list_length(result.parcels, region.lists),
        contact=region.county.contact,
    )
    beside = [name for name, table in _beside(result).items() if len(table)]
    write_styles(folder, cuts=region.rules.class_cuts, names=(*STYLES, *WORD_STYLES, *beside))


def write_records(folder: Path, result: Result) -> None:
    """Write ``metadata/``: STAC and ISO 19115 records of what lies in the folder. Call it last."""
    region = result.region
    write_metadata(
        folder,
        [layer_of(result.parcels), *further_layers(_beside(result))],
        county=region.county.name,
        state=region.county.state,
        date=region.county.date,
        crs=result.county.crs,
        contact=region.county.contact,
        model_name=result.model.name,
        inputs=result.inputs,
        version=version("riskmap"),
    )


def _beside(result: Result) -> dict[str, gpd.GeoDataFrame]:
    """Spatial layers of the GIS files beside the parcels, by name."""
    layers = lot_layers(result)
    plan = result.planning
    if plan is not None:
        shapes = (plan.zones, plan.capture_zones, plan.wells)
        layers |= dict(zip(ZONE_LAYERS, shapes, strict=True))
    return layers


def _survival(history: pd.DataFrame) -> dict[str, pd.DataFrame]:
    tables = {}
    for kind, lives in history.groupby("kind", sort=True):
        if len(lives) >= FEWEST_LIVES and lives["failed"].any():
            tables[str(kind)] = survival_table(
                lives["age_yr"].to_numpy(float),
                lives["failed"].to_numpy(bool),
                entry_age_yr=lives["entry_age_yr"].to_numpy(float),
            )
    return tables


def _own_sections(result: Result) -> list[Section]:
    sections = [Section("How the clogging model was set", [result.field_margin.words])]
    if result.groundwater is not None:
        sections.append(Section("Where the water table comes from", list(result.groundwater.notes)))
    if result.planning is not None:
        plan = result.planning
        table = zones_by_kind(plan.zones, units=result.region.county.units)
        sections.append(Section("Areas to protect", (*plan.notes, table)))
    if result.well_validation is not None:
        found = result.well_validation
        blocks = (found.words, nitrate_table(found.table))
        sections.append(Section("Predicted nitrate against samples", blocks))
    if result.doubt is not None:
        doubt = result.doubt
        words = (
            f"The ranges and chances on the list come from {doubt.draws:,} draws over "
            f"{doubt.scenarios} scenarios. In each scenario every record that is open and the "
            "numbers of the models were drawn anew and the models run again. "
            f"{doubt.collect_words} The table shows which weight moves the "
            "list most when it goes to an end of its bounds."
        )
        moves = weights_table(doubt.sensitivity.head(10), result.model, top=doubt.top)
        sections.append(Section("How sure the list is", (words, moves)))
    return [*sections, *further_sections(result)]
