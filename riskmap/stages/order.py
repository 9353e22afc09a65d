"""The stages of a run, in order: the one list that runs, resumes and draws them."""

from __future__ import annotations

from typing import Final

from data_pipelines.cross_keys import POINTERS
from riskmap.contract.layers import INSPECTIONS, LAYERS, PARCELS
from riskmap.contract.soil_layers import SOIL_LAYERS
from riskmap.region.layers import SOIL_SURVEY
from riskmap.stages.county import SOIL
from riskmap.stages.stage import LAYER, Stage

READ_ALONE: Final = tuple(
    name
    for name, layer in LAYERS.items()
    if layer not in (PARCELS, INSPECTIONS) and layer not in SOIL_LAYERS
)
"""Layers that come from one source each."""
SOURCES: Final = (PARCELS.name, INSPECTIONS.name, *READ_ALONE, SOIL_SURVEY)

_HERE: Final = "riskmap.stages"
_FEATURES: Final = ("inventory", "failing", "room", "condition")


def _reading(name: str) -> Stage:
    words = name.replace("_", " ")
    return Stage(
        f"read {words}",
        f"{_HERE}.loading:read_alone",
        gives=(f"{LAYER}{name}", f"defects_{name}"),
        needs=("crs", "extent"),
        layers=tuple(pointer.to for pointer in POINTERS if pointer.layer == name),
        settings=(f"sources.{name}",),
        fixed={"layer": name},
    )


READING: Final = (
    Stage(
        "read parcels",
        f"{_HERE}.loading:read_all_parcels",
        gives=(f"{LAYER}parcels", "defects_parcels", "crs", "extent", "strays"),
        settings=("sources.parcels", "county.crs"),
    ),
    Stage(
        "read inspections",
        f"{_HERE}.loading:read_visits",
        gives=(f"{LAYER}{INSPECTIONS.name}", f"defects_{INSPECTIONS.name}"),
        needs=("crs", "extent"),
        layers=tuple(pointer.to for pointer in POINTERS if pointer.layer == INSPECTIONS.name),
        settings=(f"sources.{INSPECTIONS.name}", "county.date", "outcomes"),
    ),
    *(_reading(name) for name in READ_ALONE),
    Stage(
        "read soil survey",
        f"{_HERE}.loading:read_soils",
        gives=(*(f"{LAYER}{name}" for name in SOIL), f"defects_{SOIL_SURVEY}"),
        needs=("crs", "extent"),
        settings=(f"sources.{SOIL_SURVEY}",),
    ),
    Stage(
        "compare layers with each other",
        f"{_HERE}.loading:cross_check",
        gives=("defects_between",),
        layers=("parcels", "wells", "waterbodies", "permits", "elevation", "water_table"),
    ),
    Stage(
        "gather defects",
        f"{_HERE}.loading:gather_defects",
        gives=("data_quality",),
        needs=(*(f"defects_{name}" for name in SOURCES), "defects_between"),
        settings=("sources",),
        fixed={"sources": SOURCES},
    ),
    Stage(
        "list the files read",
        f"{_HERE}.loading:list_inputs",
        gives=("inputs", "fetched"),
        settings=(
            "path",
            "sha256",
            "sources",
            "catalogs",
            "outcomes",
            "model_file",
            "letter_texts",
            "standing_file",
            "before/run.json",
            "before/parcels.parquet",
            "backtest/backtest.json",
        ),
    ),
    Stage(
        "read the scoring model",
        f"{_HERE}.scoring:read_scoring_model",
        gives=("model",),
        settings=("model_file",),
    ),
    Stage(
        "read the earlier run",
        f"{_HERE}.drift:read_run_before",
        gives=("earlier",),
        settings=("before/run.json", "before/parcels.parquet"),
    ),
    Stage(
        "read the backtest",
        f"{_HERE}.kept_backtest:read_kept_backtest",
        gives=("backtest",),
        settings=("backtest/backtest.json",),
    ),
    Stage(
        "read the number by neighborhood",
        f"{_HERE}.fairness:read_county_standing",
        gives=("standing",),
        settings=("fairness", "standing_file"),
    ),
)
"""Stages that read files: with them every fault of a region's files comes to light."""

STAGES: Final = (
    *READING,
    Stage(
        "rate soils",
        f"{_HERE}.inventory:rate_soils",
        gives=("component_ratings",),
        layers=("soil_components", "soil_horizons", "soil_restrictions", "soil_months"),
    ),
    Stage(
        "find the water table",
        f"{_HERE}.water_table:find_water_table",
        gives=("water_surface",),
        layers=("elevation", "water_table", "water_levels", "wells"),
    ),
    Stage(
        "describe parcels",
        f"{_HERE}.inventory:describe_parcels",
        gives=("described", "areas", "soil_shares"),
        needs=("component_ratings", "water_surface"),
        layers=(
            "parcels",
            "soil_units",
            "permits",
            "inspections",
            "buildings",
            "sewer_area",
            "streams",
            "waterbodies",
            "floodplain",
            "wells",
            "elevation",
            "water_table",
        ),
        settings=("county.date", "county.sewers", "rules"),
        on="chunks",
    ),
    Stage(
        "trace the lives of systems",
        f"{_HERE}.inventory:trace_lives",
        gives=("service_history",),
        needs=("described",),
        layers=("parcels", "permits"),
        settings=("county.date",),
    ),
    Stage(
        "infer service",
        f"{_HERE}.service:fill_service",
        gives=("inventory", "service"),
        needs=("described",),
        layers=("parcels", "sewer_area"),
        settings=("learning.service", "service", "run.seed"),
    ),
    Stage(
        "learn how systems age",
        f"{_HERE}.failure:learn_county_aging",
        gives=("aging",),
        needs=("service_history",),
    ),
    Stage(
        "assess failure",
        f"{_HERE}.failure:assess_county_failure",
        gives=("failing", "field_margin"),
        needs=("inventory", "aging"),
        settings=("rules", "failure"),
    ),
    Stage(
        "find room on the lots",
        f"{_HERE}.room:room_features",
        gives=("room", "replacement_places"),
        needs=("inventory", "failing", "areas"),
        layers=("parcels", "buildings", "wells", "waterbodies", "streams"),
        settings=("rules",),
        on="chunks",
    ),
    Stage(
        "follow each system through its years",
        f"{_HERE}.condition:follow_systems",
        gives=("condition", "condition_fit"),
        needs=("inventory", "failing", "room", "model"),
        layers=("parcels", "permits", "inspections"),
        settings=("county.date", "rules.horizon_yr", "failure.hazard_ratio"),
    ),
    Stage(
        "follow groundwater",
        f"{_HERE}.groundwater:groundwater_features",
        gives=("water", "groundwater"),
        needs=(*_FEATURES, "water_surface"),
        layers=(
            "parcels",
            "wells",
            "streams",
            "waterbodies",
            "soil_units",
            "soil_components",
            "soil_horizons",
            "soil_restrictions",
        ),
        settings=("groundwater", "wells", "rules", "county.date", "run.draws"),
    ),
    Stage(
        "gather features",
        f"{_HERE}.scoring:gather_features",
        gives=("features",),
        needs=(*_FEATURES, "water"),
    ),
    Stage(
        "score and rank",
        f"{_HERE}.scoring:score_and_rank",
        gives=("scored",),
        needs=("features", "model"),
        settings=("county.units", "lists.aim"),
    ),
    Stage(
        "learn from visits",
        f"{_HERE}.learning:learn_from_visits",
        gives=("learning",),
        needs=("features", "model"),
        layers=("parcels", "permits", "inspections"),
        settings=("learning", "county.date", "run.seed", "rules", "failure"),
    ),
    Stage(
        "follow what was learned",
        f"{_HERE}.learning:follow_learning",
        gives=("ranked", "learned_reasons"),
        needs=("scored", "features", "learning", "model"),
        settings=(
            "lists.inspections",
            "lists.aim",
            "run.seed",
            "county.units",
            "learning",
        ),
    ),
    Stage(
        "carry doubt",
        f"{_HERE}.doubt:carry_doubt",
        gives=("doubted", "doubt"),
        needs=(
            "features",
            "ranked",
            "model",
            "component_ratings",
            "soil_shares",
            "field_margin",
            "groundwater",
            "learning",
            "condition_fit",
        ),
        layers=("parcels",),
        settings=(
            "county.date",
            "run.draws",
            "run.seed",
            "lists.inspections",
            "lists.aim",
            "rules",
            "failure",
            "groundwater",
        ),
    ),
    Stage(
        "make the two lists",
        f"{_HERE}.lists:make_lists",
        gives=("listed", "ledgers"),
        needs=("ranked", "doubted", "condition_fit", "model"),
        settings=("lists.order", "lists.inspections", "season.followup_frac"),
    ),
    Stage(
        "gather parcels",
        f"{_HERE}.scoring:gather_parcels",
        gives=("parcels",),
        needs=("features", "ranked", "doubted", "listed", "strays"),
        layers=("parcels",),
    ),
    Stage(
        "compare picks with need",
        f"{_HERE}.fairness:judge_fairness",
        gives=("fairness",),
        needs=("parcels", "standing"),
        settings=("lists.order", "lists.inspections", "lists.letters"),
    ),
    Stage(
        "compare with the earlier run",
        f"{_HERE}.drift:compare_with_earlier",
        gives=("drift",),
        needs=("earlier", "parcels", "model"),
        settings=("county.date", "lists.inspections", "rules", "failure"),
    ),
    Stage(
        "learn from well samples",
        f"{_HERE}.well_samples:learn_from_samples",
        gives=("well_nitrate",),
        needs=("groundwater",),
        layers=("well_samples",),
        settings=("groundwater", "wells", "county.date", "run.seed"),
    ),
    Stage(
        "draw zones, check wells",
        f"{_HERE}.zones:plan_zones",
        gives=("planning",),
        needs=("parcels", "groundwater", "well_nitrate"),
        layers=(
            "soil_units",
            "soil_components",
            "soil_horizons",
            "soil_restrictions",
            "wellhead_areas",
        ),
        settings=("groundwater", "zones", "rules", "county.units"),
    ),
    Stage(
        "compare predicted nitrate with samples",
        f"{_HERE}.validation:validate_county",
        gives=("well_validation",),
        needs=("groundwater",),
        layers=("well_samples",),
        settings=("run.seed", "learning", "groundwater", "wells", "county.date"),
    ),
)
"""All stages from a county's files to its ranked parcels and zones. What a run writes follows:
:data:`riskmap.publish.outputs.OUTPUTS`."""

ALL: Final = tuple(name for stage in STAGES for name in stage.gives)
"""Names of all things that stages give."""
