"""Every choice that a setting offers changes a result; the physics takes every bound."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.action.aims import worth as stop_worth
from riskmap.action.mailing import addressees
from riskmap.action.mailing_settings import MailingSettings
from riskmap.action.outreach import meant_by_rule
from riskmap.action.zone_reasons import ZoneSettings, reasons_of_cells
from riskmap.contract.grid import Grid, grid_from_bounds
from riskmap.contract.quantities import LENGTH, text
from riskmap.contract.rules import RulePeriod, Rules
from riskmap.contract.settings import Section, settings_of
from riskmap.failure.assess import assess_failure
from riskmap.failure.settings import FailureSettings
from riskmap.groundwater.assess import assess_groundwater
from riskmap.groundwater.nitrogen import neighborhood_nitrate_mg_l
from riskmap.groundwater.setbacks import virus_aquifer
from riskmap.groundwater.settings import GroundwaterSettings, WellSettings
from riskmap.inventory.service import describe_service
from riskmap.ranking.priority import CHANCES, priority
from riskmap.region.sections import sections
from riskmap.season.mailing_folder import by_language
from riskmap.stages.listing import in_list_order
from riskmap.stages.vulnerability import index_frac

REPO = Path(__file__).resolve().parents[1]
FIELDS = pd.DataFrame(
    {
        "kind": ["trench", "bed", "mound", "trench", "seepage_pit", "trench"],
        "age_yr": [8.0, 30.0, 25.0, np.nan, 40.0, 30.0],
        "installed_year": [1985.0, 1990.0, 2001.0, 2010.0, np.nan, 1988.0],
        "bedrooms": [3.0, 4.0, np.nan, 3.0, 2.0, np.nan],
        "occupants": [np.nan, 5.0, np.nan, 2.0, np.nan, np.nan],
        "dwellings": 1.0,
        "design_flow_l_d": [np.nan, np.nan, np.nan, np.nan, np.nan, 1500.0],
        "field_area_m2": [60.0, 90.0, np.nan, 60.0, np.nan, np.nan],
        "loading_class": ["III", None, "loam, weak", None, "16-<31", None],
        "percolation_min_cm": [np.nan, 12.0, np.nan, 4.0, np.nan, np.nan],
        "ksat_um_s": [6.0, 2.0, 10.0, 20.0, 3.0, np.nan],
        "wet_depth_cm": [90.0, 70.0, 60.0, np.nan, 80.0, 75.0],
        "years_since_pumped_yr": [12.0, np.nan, 9.0, 2.0, 20.0, np.nan],
        "tank_volume_l": [3785.0, np.nan, 5000.0, 3785.0, 3785.0, np.nan],
    }
)


def failure(rules: Rules, physics: FailureSettings | None = None) -> bytes:
    found = assess_failure(FIELDS, rules=rules, physics=physics or FailureSettings(), margin=1.5)
    return found.select_dtypes("number").to_numpy().tobytes()


def slope() -> Grid:
    flat = grid_from_bounds(west_m=0, north_m=1200, cell_m=30, values=np.zeros((40, 60)))
    x, y = flat.centers()
    return flat.with_values(60 - 0.005 * x + 0.5 * np.sin(y / 300))


def water(settings: GroundwaterSettings, build: WellSettings | None = None) -> bytes:
    rng = np.random.default_rng(4)
    systems = pd.DataFrame(
        {"x_m": rng.uniform(100, 900, 40), "y_m": rng.uniform(200, 1000, 40), "persons": 3.0,
         "kind": "trench", "age_yr": rng.uniform(1, 40, 40), "chance_failing_frac": 0.2,
         "vulnerability_frac": 0.5}
    )  # fmt: skip
    wells = pd.DataFrame(
        {"x_m": rng.uniform(300, 1500, 25), "y_m": rng.uniform(200, 1000, 25),
         "depth_m": [*rng.uniform(3, 50, 24), np.nan],
         "casing_m": [*rng.uniform(0, 2, 12), *rng.uniform(5, 28, 12), np.nan],
         "age_yr": [*rng.uniform(5, 70, 24), np.nan], "static_level_m": 2.0,
         "dug": rng.integers(0, 2, 25), "use": ["public"] + ["domestic"] * 24}
    )  # fmt: skip
    found = assess_groundwater(systems, wells, slope(), settings, build or WellSettings())
    balance = neighborhood_nitrate_mg_l(
        systems["x_m"], systems["y_m"], load_kg_yr=found.systems["nitrogen_load_kg_yr"],
        flow_l_d=np.full(40, 600.0), target_x_m=systems["x_m"], target_y_m=systems["y_m"],
        settings=settings,
    )  # fmt: skip
    numbers = [table.select_dtypes("number").to_numpy() for table in (found.systems, found.wells)]
    return b"".join(part.tobytes() for part in (*numbers, balance))


def seven_factors(settings: GroundwaterSettings) -> float:
    found = index_frac(settings, depth_m=[5.0], slope_pct=[3.0], soil=[6.0])
    return float(found[0])


def zones(settings: ZoneSettings) -> bytes:
    rng = np.random.default_rng(3)
    cells = grid_from_bounds(west_m=0, north_m=4000, cell_m=50, values=np.ones((80, 80)))
    x, y = rng.uniform(0, 4000, 1500), rng.uniform(0, 4000, 1500)
    scores = {
        name: rng.normal(40, 5, 1500) + 15 * (np.hypot(x - at, y - at) < 700)
        for name, at in (("groundwater_score", 1000), ("failure_score", 2000), ("priority", 3000))
    }
    systems = pd.DataFrame(
        {"x_m": x, "y_m": y, "age_yr": rng.uniform(5, 60, 1500), "nitrogen_load_kg_yr": 10.0,
         "daily_flow_l_d": 600.0, **scores}
    )  # fmt: skip
    nowhere = np.zeros((80, 80), bool)
    found = reasons_of_cells(
        cells, systems, wellhead=nowhere, capture=nowhere, settings=settings,
        vulnerability_frac=rng.uniform(0, 1, (80, 80)), water=GroundwaterSettings(),
    )  # fmt: skip
    return b"".join(flags.tobytes() for flags in found.values())


def built_lot(sewers: str) -> str:
    lot = gpd.GeoDataFrame(
        {"service": [None], "land_use": ["residential"], "improved": [True], "year_built": [1980]},
        geometry=[shapely.box(0, 0, 40, 40)],
    )
    return str(describe_service(lot, rules=Rules(), unsewered=sewers == "none")["service"].iloc[0])


def listed(order: str) -> list[str]:
    table = pd.DataFrame(
        {"rank": [1, 2, 3], "priority": [50.0, 40.0, 30.0], "top_chance": [0.3, 0.2, 0.9]},
        index=["a", "b", "c"],
    )
    return list(in_list_order(table, order).sort_values("rank").index)


def meant(settings: MailingSettings) -> list[bool]:
    table = pd.DataFrame(
        {"rank": [1, 2, None], "priority_class": ["high", "low", None],
         "pump_overdue_yr": [0.0, 3.0, 0.0]},
        index=["a", "b", "c"],
    )  # fmt: skip
    none = pd.Series(dtype=object)
    return meant_by_rule(table, settings, zone_of=none, with_wells={"c"}).tolist()


def away(residents_too: bool) -> int:
    lot = pd.DataFrame(
        {"address": ["7 Oak Road"], "priority_class": ["high"], "rank": [1.0]}, index=["a"]
    )
    owner = pd.DataFrame({"parcel_id": ["a"], "owner": ["X"], "mail_address": ["PO Box 1"]})
    return len(addressees(lot, owner, residents_too=residents_too))


TWO = pd.DataFrame({"chance_failed_frac": [0.2, 0.1], "priority": [10.0, 40.0], "rank": [2, 1]})


def aimed(aim: str) -> list[float]:
    chances = pd.DataFrame(dict(zip(CHANCES, [[0.2], [0.5], [0.6]], strict=True)))
    return priority(aim, chances, [40.0]).tolist()


PROBES: dict[tuple[str, str], Callable[[Any], Any]] = {
    ("county", "units"): lambda word: text(30.48, LENGTH, word),
    ("county", "sewers"): built_lot,
    ("rules", "flow_rule"): lambda word: failure(Rules(flow_rule=word)),
    ("rules", "accept_rule"): lambda word: failure(Rules(accept_rule=word)),
    ("sizing", "flow_rule"): lambda word: failure(
        Rules(sizing=(RulePeriod(word, "texas_soil_class"),))
    ),
    ("sizing", "accept_rule"): lambda word: failure(
        Rules(sizing=(RulePeriod("bedroom_trade", word),))
    ),
    ("groundwater", "aquifer"): lambda word: (
        seven_factors(GroundwaterSettings(aquifer=word)), str(virus_aquifer([word])[0]),
    ),
    ("groundwater", "vadose"): lambda word: seven_factors(GroundwaterSettings(vadose=word)),
    ("zones", "hot_score"): lambda word: zones(ZoneSettings(hot_score=word)),
    ("lists", "order"): listed,
    ("lists", "aim"): aimed,
    ("season", "stops_by"): lambda word: stop_worth(TWO, word).tolist(),
    ("mailing", "to"): lambda word: meant(MailingSettings(to=word)),
    ("mailing", "languages"): lambda word: [
        (languages, len(own))
        for languages, own in by_language(pd.DataFrame({"language": ["es", ""]}), word)
    ],
    ("mailing", "residents_too"): away,
}  # fmt: skip
"""Setting with choices -> what it gives, from the choice."""

ALIKE = {("groundwater", "aquifer"), ("groundwater", "vadose")}
"""Some media have the same published rating: the words do not all differ."""

SHOWN_ELSEWHERE = {
    ("learning", "use"): "tests/stages/test_learning_stage.py: "
    "test_a_better_ranking_takes_over_only_where_allowed",
    ("learning", "service"): "tests/stages/test_service_stage.py: test_nothing_open_and_too_few",
}
"""Choices whose effect takes a whole county to see -> the test that shows it."""


def offered() -> dict[tuple[str, str], tuple[Any, ...]]:
    found: dict[tuple[str, str], tuple[Any, ...]] = {}
    every: dict[str, type[Section]] = {**sections(), "sizing": RulePeriod}
    for name, section in every.items():
        for one in settings_of(section).values():
            if one.choices or one.kind is bool:
                found[name, one.name] = one.choices or (False, True)
    return found


@pytest.mark.parametrize("key", list(offered()), ids=".".join)
def test_every_choice_changes_a_result(key: tuple[str, str]) -> None:
    if key in SHOWN_ELSEWHERE:
        file, name = SHOWN_ELSEWHERE[key].split(": ")
        assert f"def {name}" in (REPO / file).read_text(encoding="utf-8")
        return
    results = {choice: PROBES[key](choice) for choice in offered()[key]}
    values = [repr(value) for value in results.values()]
    if key in ALIKE:
        assert len(set(values)) > 3
    else:
        assert len(set(values)) == len(values), key


def ends(section: type[Section], run: Callable[[Any], Any]) -> list[Any]:
    return [
        pytest.param(run, section, one.name, end, id=f"{section.__name__}.{one.name}={end:g}")
        for one in settings_of(section).values()
        if one.low is not None and one.high is not None and not one.many
        for end in (one.low, one.high)
    ]


def wells(build: WellSettings) -> bytes:
    return water(GroundwaterSettings(), build)


def physics(settings: FailureSettings) -> bytes:
    return failure(Rules(), settings)


@pytest.mark.parametrize(
    ("run", "section", "name", "end"),
    [
        *ends(GroundwaterSettings, water),
        *ends(WellSettings, wells),
        *ends(FailureSettings, physics),
        *ends(Rules, failure),
        *ends(ZoneSettings, zones),
    ],
)
def test_the_physics_takes_every_bound(
    run: Callable[[Any], bytes], section: type[Section], name: str, end: float
) -> None:
    """What passes the region file's check is never refused by a room, and moves most of them."""
    kind = settings_of(section)[name].kind
    assert run(replace(section(), **{name: kind(end)}))


MOVES_NOTHING_HERE = {
    "max_distance_m", "max_time_yr", "balance_radius_m", "chunk_parcels", "join_m",
    "least_area_m2", "least_systems", "capture_yr", "public_capture_yr", "capture_systems",
    "unrepaired_yr", "seasonal_months",
}  # fmt: skip
"""Settings that act in a stage or on shapes, not in the sums above; their own tests show it."""


@pytest.mark.parametrize(
    ("section", "run"),
    [(GroundwaterSettings, water), (WellSettings, wells), (FailureSettings, physics)],
    ids=["groundwater", "wells", "failure"],
)
def test_every_number_of_the_physics_changes_a_result(
    section: type[Section], run: Callable[[Any], bytes]
) -> None:
    plain, still = run(section()), []
    for one in settings_of(section).values():
        if one.kind is float and one.name not in MOVES_NOTHING_HERE:
            given, low, high = getattr(section(), one.name), one.low or 0.0, one.high or 1.0
            other = 0.6 * given if 0.6 * given > low else given + 0.3 * (high - given)
            if run(replace(section(), **{one.name: other})) == plain:
                still.append(one.name)
    assert still == []
