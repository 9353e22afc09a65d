"""The outputs of a run, in the order of the front page: the one list that writes, links and names.

An output is a step like a stage (:mod:`riskmap.stages.order`): it says what it needs and which
settings it reads, and what it wrote is kept under a key of these.
"""

from __future__ import annotations

from typing import Final

from riskmap.contract.layers import LAYERS
from riskmap.stages.order import ALL
from riskmap.stages.stage import LAYER, File, Output, Stage

_HERE: Final = "riskmap.publish"
_HEAD: Final = ("county.name", "county.date", "county.units")
"""What :func:`riskmap.publish.words.imprint.imprint_of` reads."""
_SENDER: Final = (*_HEAD, "county.contact")
_TABLES: Final = tuple(
    name.removeprefix(LAYER)
    for name in ALL
    if name.startswith(LAYER) and LAYERS[name.removeprefix(LAYER)].kind != "raster"
)
_LOT_LAYERS: Final = ("areas", "replacement_places")
_NO_TERRAIN: Final = "the county gives no elevation"

SUMMARY: Final = Stage(
    "sum up what was found",
    f"{_HERE}.summary:sum_up",
    gives=("summary",),
    needs=("parcels", "data_quality", "model", "field_margin", "drift", "learning"),
    layers=_TABLES,
)

OUTPUTS: Final = (
    Output(
        "write the map",
        f"{_HERE}.map.county_map:county_map",
        gives=("files_map",),
        needs=(
            "parcels",
            "model",
            "ledgers",
            "component_ratings",
            "groundwater",
            "planning",
            *_LOT_LAYERS,
        ),
        layers=(
            "streams",
            "waterbodies",
            "roads",
            "places",
            "floodplain",
            "sewer_area",
            "wells",
            "soil_mapunits",
            "soil_units",
            "elevation",
        ),
        settings=(
            *_HEAD,
            "lists.aim",
            "model_file",
            "map",
            "lists.inspections",
            "season.followup_frac",
        ),
        files=(
            File("map/index.html", "Map", "Opens in any browser, without a network. For staff."),
            File("map/relief.png", "Map, relief", "Shade of the land.", _NO_TERRAIN, linked=False),
            File("map/data/*.js", "Map, data", "What the page reads.", linked=False),
            File("map/page/**", "Map, parts", "Scripts and styles of the page.", linked=False),
        ),
    ),
    Output(
        "write the inspection list",
        f"{_HERE}.lists.inspection_list:inspection_list",
        gives=("files_inspections",),
        needs=("parcels", "inputs"),
        settings=(*_HEAD, "lists.order", "lists.inspections", "season.followup_frac"),
        files=(
            File(
                "lists/inspections.xlsx",
                "Inspection list, workbook",
                "To be worked in and printed: a sheet for each list.",
            ),
            File(
                "lists/inspections.csv",
                "Inspection list, CSV",
                "The same rows, for programs.",
            ),
            File(
                "lists/service_unknown.csv",
                "Service unknown, CSV",
                "Scored, ranked apart.",
                "it is known of every parcel where its sewage goes",
            ),
        ),
    ),
    Output(
        "write the GIS files",
        f"{_HERE}.gis.run_layers:parcel_files",
        gives=("files_parcels",),
        needs=("parcels", *_LOT_LAYERS),
        settings=("lists.inspections", "season.followup_frac"),
        files=(
            File("parcels.gpkg", "Parcels, GeoPackage", "Every column with its meaning; styles."),
            File("parcels.parquet", "Parcels, GeoParquet 1.1", "The same, for large tables."),
        ),
    ),
    Output(
        "write the list of defects",
        f"{_HERE}.lists.data_quality:data_quality",
        gives=("files_defects",),
        needs=("data_quality",),
        files=(
            File(
                "data_quality.csv", "Data quality, CSV", "Each defect and what was done about it."
            ),
        ),
    ),
    Output(
        "write the public edition",
        f"{_HERE}.public.edition:public_edition",
        gives=("files_public",),
        needs=("parcels",),
        layers=("public_areas", "roads", "places", "streams", "waterbodies"),
        settings=(*_SENDER, "public"),
        files=(
            File(
                "public/index.html",
                "Public edition",
                "A folder of its own: no parcel in it.",
                "[public] threshold is 0",
            ),
            File(
                "public/**",
                "Public edition, parts",
                "Map, table and what they read.",
                "[public] threshold is 0",
                linked=False,
            ),
        ),
    ),
    Output(
        "write the report",
        f"{_HERE}.report.county_report:county_report",
        gives=("files_report",),
        needs=(
            "parcels",
            "model",
            "service",
            "service_history",
            "aging",
            "field_margin",
            "groundwater",
            "planning",
            "well_validation",
            "learning",
            "backtest",
            "doubt",
            "fairness",
            "drift",
            "data_quality",
            "fetched",
        ),
        layers=_TABLES,
        settings=(*_SENDER, "rules", "lists.inspections", "season.followup_frac"),
        files=(
            File(
                "report/index.html",
                "County report, for staff",
                "To read and print: numbers, figures, method.",
            ),
        ),
    ),
    Output(
        "write the day sheets",
        f"{_HERE}.paper.day_sheets:day_sheets",
        gives=("files_sheets",),
        needs=("parcels", "areas", "ledgers", "inputs"),
        layers=("buildings", "wells", "roads", "streams", "waterbodies"),
        settings=(*_SENDER, "lists.order", "lists.stops", "season.followup_frac"),
        files=(
            File(
                "sheets/day_sheets.pdf",
                "Day sheets, PDF",
                "A page a stop, in driving order.",
                "[lists] stops is 0, or nothing is ranked",
            ),
        ),
    ),
    Output(
        "write the letters",
        f"{_HERE}.paper.letters:letters",
        gives=("files_letters",),
        needs=("parcels",),
        layers=("parcels",),
        settings=(
            *_SENDER,
            "letter_texts",
            "lists.letters",
            "lists.site_last_line",
            "mailing",
            "outcomes",
        ),
        files=(
            *(
                File(
                    f"letters/letters_{code}.pdf",
                    f"Letters, {language}",
                    "To print and post.",
                    "[lists] letters is 0, or nobody is written to in it",
                )
                for code, language in (("en", "English"), ("es", "Spanish"))
            ),
            File(
                "letters/mail_merge.csv",
                "Letters, mail merge",
                "The same, for an office program.",
                "[lists] letters is 0",
            ),
            *(
                File(
                    f"letters/letter_{code}.toml",
                    f"Words of the letter, {language}",
                    "To copy and change.",
                    "[lists] letters is 0",
                )
                for code, language in (("en", "English"), ("es", "Spanish"))
            ),
        ),
    ),
    Output(
        "write the mailing list",
        f"{_HERE}.lists.mailing_list:mailing_list",
        gives=("files_mailing",),
        needs=("parcels",),
        layers=("parcels",),
        settings=(*_HEAD, "lists.site_last_line", "mailing", "outcomes"),
        files=(
            File("lists/mailing.xlsx", "Mailing list, workbook", "Who is written to, and why."),
            File("lists/mailing.csv", "Mailing list, CSV", "The same, for programs."),
        ),
    ),
    Output(
        "write the well sampling list",
        f"{_HERE}.lists.sampling_list:sampling_list",
        gives=("files_sampling",),
        needs=("parcels", "planning"),
        layers=("parcels", "well_samples", "inspections"),
        settings=_HEAD,
        files=tuple(
            File(
                f"lists/well_sampling.{ending}",
                f"Well sampling list, {form}",
                "Which wells to sample first.",
                f"{_NO_TERRAIN}, or no wells",
            )
            for ending, form in (("xlsx", "workbook"), ("csv", "CSV"))
        ),
    ),
    Output(
        "write the list of zones",
        f"{_HERE}.lists.zones_table:zone_list",
        gives=("files_zone_list",),
        needs=("planning",),
        settings=_HEAD,
        files=tuple(
            File(
                f"lists/zones.{ending}",
                f"Planners' zones, {form}",
                "Areas to protect, and why.",
                _NO_TERRAIN,
            )
            for ending, form in (("xlsx", "workbook"), ("csv", "CSV"))
        ),
    ),
    Output(
        "write the GIS file of zones",
        f"{_HERE}.gis.run_layers:zone_layers",
        gives=("files_zones",),
        needs=("planning", "parcels"),
        settings=("lists.inspections", "season.followup_frac"),
        files=(
            File(
                "zones.gpkg",
                "Zones, GeoPackage",
                "Zones, capture areas and wells, for GIS.",
                _NO_TERRAIN,
            ),
        ),
    ),
    Output(
        "write the list of changes",
        f"{_HERE}.lists.further_lists:changes_list",
        gives=("files_changes",),
        needs=("drift",),
        files=(
            File(
                "lists/changes.csv",
                "Changes, CSV",
                "How each system moved since the earlier run, and why.",
                "no earlier run is named",
            ),
        ),
    ),
    Output(
        "write the learned reasons",
        f"{_HERE}.lists.further_lists:learned_reasons_list",
        gives=("files_learned",),
        needs=("parcels", "learned_reasons"),
        files=(
            File(
                "lists/learned_reasons.csv",
                "Learned reasons, CSV",
                "Share of each feature in the learned odds of the listed systems.",
                "what was learned from visits does not rank",
            ),
        ),
    ),
    Output(
        "write the map styles",
        f"{_HERE}.gis.run_layers:styles",
        gives=("files_styles",),
        needs=("parcels", "planning", *_LOT_LAYERS),
        settings=("lists.inspections", "season.followup_frac"),
        files=(
            File("styles/priority.sld", "Map styles, OGC SLD", "The map's colors for a GIS."),
            File("styles/*.sld", "Map styles, others", "One a column or layer.", linked=False),
        ),
    ),
    Output(
        "write the metadata",
        f"{_HERE}.gis.run_layers:metadata",
        gives=("files_metadata",),
        needs=(
            "parcels",
            "planning",
            *_LOT_LAYERS,
            "model",
            "inputs",
            "files_parcels",
            "files_zones",
            "files_styles",
            "files_defects",
        ),
        settings=(*_SENDER, "county.state"),
        files=(
            File(
                "metadata/collection.json",
                "Metadata, STAC",
                "What the layers are, for catalogs.",
            ),
            File("metadata/record.xml", "Metadata, ISO 19115", "The same as an ISO record."),
            File("metadata/items/*.json", "Metadata, layers", "A layer each.", linked=False),
        ),
    ),
    Output(
        "write the run record",
        f"{_HERE}.run_record:run_record",
        gives=("files_run",),
        needs=("summary", "inputs", "fetched"),
        files=(File("run.json", "Run record", "Inputs, versions, settings: to repeat it."),),
        each_run=True,
    ),
    Output(
        "write the front page",
        f"{_HERE}.front_page:front_page",
        gives=("files_front",),
        needs=("summary",),
        settings=_HEAD,
        files=(File("index.html", "Front page", "Where to begin.", linked=False),),
        each_run=True,
    ),
)
"""All outputs."""

PUBLISHING: Final = (SUMMARY, *(output for output in OUTPUTS if not output.each_run))
"""Steps of publishing whose results are kept, in order."""
LAST: Final = tuple(output for output in OUTPUTS if output.each_run)
"""Outputs that every run writes again, in order."""


def titled(path: str) -> str:
    """Return the title of a file of the result folder.

    >>> titled("zones.gpkg")
    'Zones, GeoPackage'
    """
    return next(file.title for output in OUTPUTS for file in output.files if file.holds(path))
