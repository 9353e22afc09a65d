"""Every key of the region file, declared once: checks, defaults and ``docs/region_file.md``."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any, Final


@dataclass(frozen=True)
class Key:
    """One key of the region file; ``length`` keys are also taken with ``_ft`` instead of ``_m``."""

    section: str
    name: str
    types: tuple[type, ...]
    default: Any
    meaning: str
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None


REQUIRED: Final = object()
NUMBER: Final = (int, float)
TEXT: Final = (str,)

FLOW_RULES: Final = (
    "person_use",
    "person_design",
    "bedroom_illinois",
    "bedroom_montana",
    "bedroom_trade",
)

ACCEPT_RULES: Final = (
    "texas_soil_class",
    "montana_percolation",
    "illinois_percolation",
)

AQUIFERS: Final = (
    "massive shale",
    "metamorphic or igneous",
    "weathered metamorphic or igneous",
    "glacial till",
    "bedded sandstone, limestone, shale",
    "massive sandstone",
    "massive limestone",
    "sand and gravel",
    "basalt",
    "karst limestone",
)
VADOSE_ZONES: Final = (
    "confining layer",
    "silt or clay",
    "shale",
    "limestone",
    "sandstone",
    "bedded sandstone, limestone, shale",
    "sand and gravel with silt and clay",
    "sand and gravel",
    "basalt",
    "karst limestone",
)

KEYS: Final = (
    Key("county", "name", TEXT, REQUIRED, "The county's name, as it shall stand on every page"),
    Key("county", "state", TEXT, "", "State or province, for the pages"),
    Key(
        "county",
        "crs",
        TEXT,
        "auto",
        "Projected reference system to compute in (`EPSG:...`), or `auto` for the UTM zone of the "
        "parcels' middle",
    ),
    Key("county", "units", TEXT, "us", "Units that people read", ("us", "si")),
    Key("county", "date", (date,), REQUIRED, "The day the run speaks for; ages count to it"),
    Key("county", "contact", TEXT, "", "Office and telephone printed on lists and letters"),
    Key("rules", "well_setback_m", NUMBER, 30.48, "Field to drinking-water well", low=0, high=1000),
    Key("rules", "water_setback_m", NUMBER, 15.24, "Field to stream or lake", low=0, high=1000),
    Key("rules", "line_setback_m", NUMBER, 3.048, "Field to lot line", low=0, high=100),
    Key("rules", "building_setback_m", NUMBER, 3.048, "Field to building", low=0, high=100),
    Key(
        "rules",
        "building_reach_m",
        NUMBER,
        30.0,
        "How far from the building a field is likely to lie",
        low=5,
        high=500,
    ),
    Key(
        "rules",
        "vertical_separation_m",
        NUMBER,
        0.9144,
        "Unsaturated soil wanted below the field (2 to 4 ft in most codes)",
        low=0,
        high=5,
    ),
    Key(
        "rules",
        "max_slope_pct",
        NUMBER,
        25.0,
        "Steepest ground a field may lie on",
        low=1,
        high=100,
    ),
    Key(
        "rules",
        "flow_rule",
        TEXT,
        "person_use",
        "How daily flow is reckoned where it is not known",
        FLOW_RULES,
    ),
    Key(
        "rules",
        "accept_rule",
        TEXT,
        "texas_soil_class",
        "How much water a soil is held to accept in the long term",
        ACCEPT_RULES,
    ),
    Key("rules", "persons_per_dwelling", NUMBER, 2.5, "Persons where unknown", low=0.1, high=20),
    Key(
        "rules",
        "horizon_yr",
        NUMBER,
        5.0,
        "Years the chance of failing looks ahead",
        low=0.5,
        high=50,
    ),
    Key(
        "rules",
        "sizing",
        (list,),
        (),
        "Sizing rules by year of installation: tables with `flow_rule`, `accept_rule` and, where "
        "there is one, `from` and `to` year; one open period of trade practice if none is given",
    ),
    Key(
        "rules",
        "unmended_yr",
        NUMBER,
        5.0,
        "Years a failed field stands before it is mended; sets how many fields are taken as failed",
        low=0.5,
        high=30,
    ),
    Key(
        "rules",
        "class_cuts",
        (list,),
        (30.0, 40.0, 50.0, 60.0),
        "Four scores that part very low, low, moderate, high and very high",
    ),
    Key(
        "groundwater",
        "aquifer",
        TEXT,
        "sand and gravel",
        "Aquifer that the wells draw on",
        AQUIFERS,
    ),
    Key(
        "groundwater",
        "vadose",
        TEXT,
        "sand and gravel with silt and clay",
        "What lies between soil and water table",
        VADOSE_ZONES,
    ),
    Key(
        "groundwater",
        "conductivity_m_d",
        NUMBER,
        10.0,
        "Hydraulic conductivity of the aquifer, m/day",
        low=1e-4,
        high=1e4,
    ),
    Key("groundwater", "porosity_frac", NUMBER, 0.2, "Effective porosity", low=0.01, high=0.6),
    Key(
        "groundwater",
        "recharge_m_yr",
        NUMBER,
        0.25,
        "Rain that reaches the water table, m/yr",
        low=0.001,
        high=3,
    ),
    Key(
        "groundwater",
        "background_mg_l",
        NUMBER,
        0.5,
        "Nitrate-nitrogen of recharge without systems (0.5 to 1.0 in Hantzsche & Finnemore 1992)",
        low=0,
        high=50,
    ),
    Key(
        "groundwater",
        "denitrified_frac",
        NUMBER,
        0.15,
        "Share of the nitrogen lost below the field (0.10 to 0.35 in Hantzsche & Finnemore 1992)",
        low=0,
        high=1,
    ),
    Key(
        "model",
        "file",
        TEXT,
        "",
        "Scoring-model file; empty for the one that comes with the program",
    ),
    Key(
        "lists",
        "inspections",
        (int,),
        200,
        "Rows of the inspection list; 0 for all",
        low=0,
        high=10**7,
    ),
    Key("lists", "stops", (int,), 40, "Stops on the day sheets; 0 for none", low=0, high=2000),
    Key(
        "lists",
        "letters",
        (int,),
        200,
        "Letters at most, to the systems likeliest to fail; 0 for none",
        low=0,
        high=100000,
    ),
    Key(
        "lists",
        "letter_texts",
        TEXT,
        "",
        "Folder with the county's own `letter_en.toml` or `letter_es.toml`; empty: as they come",
    ),
    Key(
        "lists",
        "site_last_line",
        TEXT,
        "",
        "City, state and ZIP code of site addresses, where the records have none",
    ),
    Key(
        "lists",
        "order",
        TEXT,
        "priority",
        "What the inspection list is ordered by: the priority, or the chance to be truly among the "
        "first",
        ("priority", "chance"),
    ),
    Key(
        "map",
        "base_map_tiles",
        TEXT,
        "",
        "Address of online background tiles with {z}, {x}, {y}; off until a reader turns it on. "
        "Empty: the page never asks the network for anything",
    ),
    Key("map", "base_map_credit", TEXT, "", "Credit line of that background"),
    Key(
        "public",
        "threshold",
        (int,),
        10,
        "Counts from 1 to this are withheld in the public edition; 0: no public edition",
        low=0,
        high=1000,
    ),
    Key(
        "public",
        "cell_m",
        NUMBER,
        0,
        "Width of the public map's hexagons; 0: chosen. Keep it from year to year",
        low=0,
        high=50000,
    ),
    Key("run", "chunk_parcels", (int,), 20000, "Parcels worked on at a time", low=50, high=10**7),
    Key(
        "run",
        "workers",
        (int,),
        0,
        "Work done at the same time; 0: as much as there are processor cores",
        low=0,
        high=1000,
    ),
    Key(
        "run",
        "draws",
        (int,),
        512,
        "Draws of the Monte Carlo behind ranges and chances, best a power of two; 0 for none",
        low=0,
        high=65536,
    ),
    Key("run", "seed", (int,), 1, "Seed of everything random", low=0, high=2**31),
    Key(
        "run",
        "before",
        TEXT,
        "",
        "Result folder of an earlier run to compare with; relative to the region file",
    ),
    Key(
        "learning",
        "use",
        TEXT,
        "compare",
        "Learning from visits: not at all, compared with the score and reported, or allowed to "
        "replace or correct the score where it is surely better",
        ("off", "compare", "allow"),
    ),
    Key(
        "learning",
        "window_yr",
        NUMBER,
        5.0,
        "Years before the run whose visits are learned from",
        low=0.5,
        high=30,
    ),
    Key(
        "learning",
        "block_m",
        NUMBER,
        2000.0,
        "Side of the places held out; wider than the distance over which neighbors fail together",
        low=100,
        high=100000,
    ),
    Key(
        "learning",
        "service",
        TEXT,
        "infer",
        "Whether to infer sewer or onsite for built parcels of which no record says it",
        ("off", "infer"),
    ),
    Key(
        "fairness",
        "standing",
        TEXT,
        "",
        "CSV file with a number by neighborhood, such as income or share of tenants; used for the "
        "fairness check only, never to rank",
    ),
    Key("fairness", "neighborhood", TEXT, "neighborhood", "Its column with the neighborhood"),
    Key("fairness", "column", TEXT, "", "Its column with the number; empty for the second column"),
)

LAYER_KEYS: Final = {
    "file": "The file, or the folder of a soil survey; relative to the region file",
    "files": "Several files of the same layer",
    "form": "Distribution form where the name cannot tell: `rdb`, `quality_portal`, `csv` ...",
    "table": "Layer or table inside the file",
    "attributes": "Second table with more columns, many rows per shape allowed",
    "join_on": "Key column in `file` and key column in `attributes`",
    "x": "Easting or longitude column of a plain table",
    "y": "Northing or latitude column of a plain table",
    "second_x": "Second pair of coordinates, compared with the first",
    "second_y": "Second pair of coordinates, compared with the first",
    "crs": "Reference system where the file does not say",
    "unit": "Vertical unit of a raster (`m` or `ft`)",
    "keep_private": "Private columns to keep (`owner`, `mail_address` ...); dropped otherwise",
    "columns": "Canonical column = source column, or a table (below)",
}

COLUMN_KEYS: Final = {
    "column": "Source column",
    "unit": "Unit of the source values",
    "values": "Translation of codes into the words of the data dictionary",
    "constant": "One value for all rows",
    "date_format": "Date format in `strptime` letters",
}

SIZING_KEYS: Final = {
    "flow_rule": "Design flow, one of the flow rules",
    "accept_rule": "Acceptance rate, one of the acceptance rules",
    "from": "First year in force; open if left out",
    "to": "Last year in force; open if left out",
}

SOIL_SURVEY: Final = "soil_survey"
"""Layer name under which the region file gives a soil survey (it yields six layers)."""
