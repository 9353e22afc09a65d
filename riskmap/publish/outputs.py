"""Everything a run writes, in order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

from riskmap.contract.vocabulary import CONDITION_SPOKE
from riskmap.publish.front_page import FileLink, write_data_quality, write_front_page
from riskmap.publish.gis.files import write_gis_files
from riskmap.publish.lists.inspection_list import write_inspection_list
from riskmap.publish.lists.mailing_list import write_mailing_list
from riskmap.publish.lists.sampling_list import write_sampling_list
from riskmap.publish.lists.zones_table import write_zone_layers, write_zone_list
from riskmap.publish.manifest import write_manifest
from riskmap.publish.map.county_map import lot_layers, write_county_map
from riskmap.publish.paper.day_sheets import write_day_sheets
from riskmap.publish.paper.letter_texts import county_letters
from riskmap.publish.paper.letters import write_letters
from riskmap.publish.public.edition import write_public_edition
from riskmap.publish.report.county_report import write_records, write_report_pages
from riskmap.publish.report.further import write_further_lists
from riskmap.publish.words.imprint import imprint_of
from riskmap.region.read import settings_in_force
from riskmap.stages.listing import as_listed
from riskmap.stages.progress import Progress
from riskmap.stages.result import Result

EXTRA_FILES: Final = (
    FileLink("public/index.html", "Public edition", "A folder of its own: no parcel in it."),
    FileLink("report/index.html", "County report", "To read and print: numbers, figures, method."),
    FileLink("sheets/day_sheets.pdf", "Day sheets, PDF", "A page a stop, in driving order."),
    FileLink("letters/letters_en.pdf", "Letters, English", "To print and post."),
    FileLink("letters/letters_es.pdf", "Letters, Spanish", "To print and post."),
    FileLink("letters/mail_merge.csv", "Letters, mail merge", "The same, for an office program."),
    FileLink("letters/letter_en.toml", "Words of the letter, English", "To copy and change."),
    FileLink("letters/letter_es.toml", "Words of the letter, Spanish", "To copy and change."),
    FileLink("lists/mailing.xlsx", "Mailing list, workbook", "Who is written to, and why."),
    FileLink("lists/well_sampling.xlsx", "Well sampling list", "Which wells to sample first."),
    FileLink("lists/zones.xlsx", "Planners' zones, table", "Areas to protect, and why."),
    FileLink("zones.gpkg", "Zones, GeoPackage", "Zones, capture areas and wells, for GIS."),
    FileLink("styles/priority.sld", "Map styles, OGC SLD", "The map's colors for GIS programs."),
    FileLink("metadata/collection.json", "Metadata, STAC", "What the layers are, for catalogs."),
    FileLink("metadata/record.xml", "Metadata, ISO 19115", "The same as an ISO record."),
)


def publish(folder: Path, result: Result, progress: Progress, *, kept: Sequence[str] = ()) -> None:
    """Write the whole result into `folder`.

    Parameters
    ----------
    kept
        Paths, from the folder that the result's lies in, of what people had changed in the result
        before this one.
    """
    region = result.region
    with progress.stage("write map"):
        zones = None if result.planning is None else result.planning.zones
        write_county_map(folder, result, zones=zones)
    with progress.stage("write lists"):
        listed = as_listed(result.parcels, region.lists.order)
        write_inspection_list(
            folder,
            listed,
            **imprint_of(region),
            workbook_rows=region.lists.inspections or len(result.parcels),
            top=None if result.doubt is None else result.doubt.top,
        )
        _write_other_lists(folder, result)
        write_further_lists(folder, result)
    with progress.stage("write day sheets and letters"):
        _write_paper(folder, result)
    with progress.stage("write GIS files"):
        write_gis_files(folder, result.parcels, extra=lot_layers(result))
        if result.planning is not None:
            plan = result.planning
            write_zone_layers(folder, plan.zones, plan.capture_zones, plan.wells)
    if region.public.threshold:
        with progress.stage("write public edition"):
            _write_public(folder, result)
    with progress.stage("write report"):
        write_report_pages(folder, result)
        write_records(folder, result)
    write_data_quality(folder, result.data_quality)
    _write_manifest(folder, result, progress, kept)
    write_front_page(
        folder,
        result.parcels,
        county=region.county.name,
        date=region.county.date,
        defects=result.data_quality,
        extra_files=EXTRA_FILES,
        kept=kept,
    )


def _write_public(folder: Path, result: Result) -> None:
    region, tables = result.region, result.county.tables
    write_public_edition(
        folder,
        parcels=result.parcels,
        crs=result.county.crs,
        **imprint_of(region),
        contact=region.county.contact,
        threshold=region.public.threshold,
        cell_m=region.public.cell_m or None,
        areas=tables.get("public_areas"),
        layers={name: tables[name] for name in ("streams", "waterbodies") if name in tables},
    )


def _write_other_lists(folder: Path, result: Result) -> None:
    region = result.region
    private = result.county.tables["parcels"].set_index("parcel_id")
    write_mailing_list(
        folder,
        result.parcels,
        **imprint_of(region),
        parcels=private,
        site_last_line=region.lists.site_last_line,
    )
    plan = result.planning
    if plan is not None:
        write_zone_list(
            folder,
            plan.zones,
            **imprint_of(region),
            notes=plan.notes,
        )
    if plan is not None and len(plan.wells):
        write_sampling_list(
            folder,
            result.parcels,
            plan.wells,
            **imprint_of(region),
            samples=result.county.tables.get("well_samples"),
            parcels=private,
        )


def _write_paper(folder: Path, result: Result) -> None:
    region = result.region
    tables = result.county.tables
    if region.lists.stops:
        write_day_sheets(
            folder,
            as_listed(result.parcels, region.lists.order),
            **imprint_of(region),
            contact=region.county.contact,
            stops=region.lists.stops,
            areas=result.areas,
            buildings=tables.get("buildings"),
            wells=tables.get("wells"),
            streams=tables.get("streams"),
            waterbodies=tables.get("waterbodies"),
        )
    if region.lists.letters:
        write_letters(
            folder,
            result.parcels,
            **imprint_of(region),
            contact=region.county.contact,
            parcels=tables["parcels"].set_index("parcel_id"),
            site_last_line=region.lists.site_last_line,
            texts=county_letters(region.letter_texts),
            most=region.lists.letters,
        )


def _write_manifest(folder: Path, result: Result, progress: Progress, kept: Sequence[str]) -> None:
    region = result.region
    parcels = result.parcels
    settings: dict[str, Any] = {
        "in_force": settings_in_force(region),
        "crs": result.county.crs.to_string(),
        "field_margin": result.field_margin.margin,
        "compared_with": None if result.drift is None else result.drift.before,
        "ranked_by": CONDITION_SPOKE if result.learning is None else result.learning.spoke,
        "model": asdict(result.model),
    }
    write_manifest(
        folder,
        inputs=result.inputs,
        settings=settings,
        counts={
            "parcels": len(parcels),
            "service": parcels["service"].value_counts().to_dict(),
            "ranked": int(parcels["rank"].notna().sum()),
            "ranked_apart": int(parcels["apart_rank"].notna().sum()),
            "defects": len(result.data_quality),
            "layers": {name: len(table) for name, table in result.county.tables.items()},
        },
        kept=kept,
        seconds=progress.seconds,
    )
