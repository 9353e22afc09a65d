from __future__ import annotations

from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.contract.evidence import EVIDENCE
from riskmap.contract.features import INVENTORY, SOIL_LIMITS
from riskmap.contract.layers import INSPECTIONS, PERMITS
from riskmap.contract.rules import Rules
from riskmap.inventory.inventory import (
    Layers,
    build_inventory,
    complete_inventory,
    describe_chunk,
    inventory_columns,
    prepare_layers,
)

OPTIONS = {"date": date(2024, 7, 1), "rules": Rules()}


def geo(shapes: list[object], **columns: object) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=32616)


def soils(rng: np.random.Generator) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    cells = shapely.voronoi_polygons(
        shapely.MultiPoint(rng.uniform(0, 600, (20, 2))), extend_to=shapely.box(-99, -99, 699, 699)
    )
    units = geo(list(shapely.get_parts(cells)), mukey=[str(n % 6) for n in range(20)])
    rows = 18
    limits = {name: rng.uniform(size=rows) for name in SOIL_LIMITS}
    ratings = pd.DataFrame(
        {
            "mukey": [str(n % 6) for n in range(rows)],
            "comppct": rng.integers(10, 50, rows).astype(float),
            **limits,
            "rating_class": "somewhat limited",
            "wet_top_cm": rng.uniform(20, 300, rows),
            "restriction_cm": np.nan,
            "ksat_min_um_s": rng.uniform(0.1, 40, rows),
            "clay_treatment_pct": rng.uniform(5, 40, rows),
            "drainage_class": "well",
            "hydrologic_group": "B",
        },
        index=pd.Index([f"c{n}" for n in range(rows)], name="cokey"),
    )
    ratings["rating"] = ratings[list(SOIL_LIMITS)].max(axis=1)
    return units, ratings


@pytest.fixture(scope="module")
def county(lots, star, grid):
    """A hundred lots with every layer: parcels and prepared layers."""
    rng = np.random.default_rng(11)
    x, y = 60.0 * np.array(np.divmod(np.arange(100), 10))
    parcels = lots(
        [star(n, 9, x[n] + 30, y[n] + 30, 29) for n in range(100)],
        improved=rng.choice([True, False, None], 100),
        land_use=rng.choice(["residential", "farm", "vacant", None], 100),
        year_built=rng.choice([1950.0, 1975.0, 1999.0, np.nan], 100),
        neighborhood=rng.choice(["Elm", "Oak", None], 100),
    )
    permits = pd.DataFrame({column.name: [None] * 30 for column in PERMITS.columns})
    at = rng.uniform(0, 600, (30, 2))
    permits = permits.assign(
        permit_id=[f"n{n}" for n in range(30)],
        parcel_id=[f"p{n * 3}" if n % 2 else None for n in range(30)],
        action=rng.choice(["new", "repair", "alteration"], 30),
        issued=pd.to_datetime([f"{1970 + n}-05-01" for n in range(30)]),
        inspected=pd.NaT,
        last_pumped=pd.NaT,
        x_m=at[:, 0],
        y_m=at[:, 1],
    )
    visits = pd.DataFrame({column.name: [None] * 10 for column in INSPECTIONS.columns}).assign(
        parcel_id=[f"p{n}" for n in range(10)],
        date=pd.to_datetime("2015-05-01"),
        last_pumped=pd.NaT,
        reason="complaint",
        stage="stressed",
    )
    units, ratings = soils(rng)
    elevation = grid(rng.normal(size=(60, 60)).cumsum(axis=0))
    layers = prepare_layers(
        parcels,
        elevation,
        {
            "soil_units": units,
            "component_ratings": ratings,
            "permits": permits,
            "inspections": visits,
            "buildings": geo([star(n, 5, x[n] + 28, y[n] + 30, 9) for n in range(0, 100, 2)]),
            "sewer_area": geo([shapely.box(0, 0, 150, 150)]),
            "streams": geo([shapely.LineString(rng.uniform(0, 600, (9, 2)))]),
            "waterbodies": geo([star(3, 60, 300, 300, 80)]),
            "floodplain": geo([star(4, 50, 300, 300, 150)], zone=["hundred_year"]),
            "wells": geo(list(shapely.points(rng.uniform(0, 600, (40, 2)))), use=["domestic"] * 40),
            "water_table": grid(rng.uniform(1, 9, (60, 60))),
        },
    )
    return parcels, layers


class TestContract:
    def test_columns_and_rows(self, county, same_index):
        parcels, layers = county
        result = build_inventory(parcels, layers, **OPTIONS)
        same_index(result.table, parcels)
        same_index(result.areas, parcels)
        assert list(result.table.columns) == inventory_columns()
        assert set(result.mixture.columns) == {"parcel_id", "mukey", "frac"}
        assert {"lot_m2", "downslope_deg"} <= set(result.areas.columns)

    def test_evidence_says_unknown_exactly_where_nothing_is_known(self, county):
        table = build_inventory(*county, **OPTIONS).table
        for feature in INVENTORY:
            if feature.evidence:
                marks = table[f"{feature.name}_evidence"]
                nothing = table[feature.name].isna() | table[feature.name].eq("unknown")
                assert marks.isin(EVIDENCE).all(), feature.name
                assert marks.eq("unknown").tolist() == nothing.tolist(), feature.name

    def test_words_come_from_their_domains(self, county):
        table = build_inventory(*county, **OPTIONS).table
        for feature in INVENTORY:
            if feature.domain:
                assert set(table[feature.name].dropna()) <= set(feature.domain), feature.name

    def test_something_is_known_of_everything(self, county):
        table = build_inventory(*county, **OPTIONS).table
        silent = {"address", "dwellings", "bedrooms", "occupants", "kind", "effluent_filter"}
        silent |= {"tank_volume_l", "design_flow_l_d", "field_area_m2", "years_since_pumped_yr"}
        silent |= {"metered_flow_l_d", "loading_class", "percolation_min_cm", "ponding_found_cm"}
        silent |= {"nitrogen_removed_frac", "water_table_sd_m"}
        for feature in INVENTORY:
            if feature.name not in silent:
                assert table[feature.name].notna().any(), feature.name
        assert set(table["service"]) >= {"onsite", "sewer", "none"}
        assert set(table["treatment_m2_evidence"]) >= {"measured", "inferred", "assumed"}

    def test_soils_and_parcels_alone_are_enough(self, county, same_index):
        parcels, layers = county
        few = Layers(soil_units=layers.soil_units, component_ratings=layers.component_ratings)
        table = build_inventory(parcels, few, **OPTIONS).table
        same_index(table, parcels)
        assert list(table.columns) == inventory_columns()
        for name in ("slope_pct", "well_distance_m", "stream_distance_m", "complaints", "repairs"):
            assert table[name].isna().all()
        assert table["soil_rating"].notna().all()

    def test_no_parcels(self, county):
        parcels, layers = county
        result = build_inventory(parcels.iloc[:0], layers, **OPTIONS)
        assert len(result.table) == 0
        assert list(result.table.columns) == inventory_columns()


class TestChunks:
    @pytest.mark.parametrize("count", [2, 7, 100])
    def test_the_cut_does_not_change_a_row(self, county, count):
        parcels, layers = county
        whole = build_inventory(parcels, layers, **OPTIONS)
        pick = np.random.default_rng(count).integers(0, count, len(parcels))
        pick[:count] = np.arange(count)
        chunks = [describe_chunk(parcels[pick == n], layers, **OPTIONS) for n in range(count)]
        joined = pd.concat([chunk.table for chunk in chunks]).loc[parcels.index]
        pd.testing.assert_frame_equal(
            complete_inventory(joined), whole.table, check_exact=True, check_dtype=False
        )
        mixture = pd.concat([chunk.mixture for chunk in chunks])
        order = ["parcel_id", "mukey"]
        pd.testing.assert_frame_equal(
            mixture.sort_values(order).reset_index(drop=True),
            whole.mixture.sort_values(order).reset_index(drop=True),
            check_exact=True,
        )
