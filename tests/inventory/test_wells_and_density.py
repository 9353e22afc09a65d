from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from riskmap.contract.units import MILE_M, SQUARE_MILE_KM2
from riskmap.inventory.density import describe_density
from riskmap.inventory.wells import describe_wells


def wells(*rows: tuple[float, float, str | None]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {"use": [row[2] for row in rows]},
        geometry=[shapely.Point(row[:2]) for row in rows],
        crs=32616,
    )


class TestWellsByEye:
    def test_two_parcels_one_well(self, areas, same_index):
        # Middles (5, 5) and (205, 5), well at (5, 45): 40 m and sqrt(200^2 + 40^2) m.
        lots = areas([shapely.box(0, 0, 10, 10), shapely.box(200, 0, 210, 10)])
        result = describe_wells(lots, wells((5, 45, "domestic")))
        same_index(result, lots)
        assert result["well_distance_m"].tolist() == pytest.approx([40.0, np.hypot(200, 40)])
        assert result["wells_within_150_m"].tolist() == [1.0, 0.0]
        assert result["well_distance_m_evidence"].tolist() == ["inferred", "inferred"]

    @pytest.mark.parametrize(
        ("use", "counts"),
        [("public", 1), ("unknown", 1), (None, 1), ("irrigation", 0), ("monitoring", 0)],
    )
    def test_which_wells_are_drunk_from(self, areas, use, counts):
        result = describe_wells(areas([shapely.box(0, 0, 10, 10)]), wells((5, 45, use)))
        assert result["wells_within_150_m"].tolist() == [counts]
        assert result["well_distance_m"].notna().tolist() == [bool(counts)]

    def test_no_layer_is_unknown_and_no_well_is_zero(self, areas):
        lots = areas([shapely.box(0, 0, 10, 10), shapely.Polygon()])
        absent, empty = describe_wells(lots, None), describe_wells(lots, wells())
        assert absent["wells_within_150_m"].isna().all()
        assert absent["well_distance_m_evidence"].tolist() == ["unknown", "unknown"]
        assert empty["wells_within_150_m"].tolist()[0] == 0
        assert np.isnan(empty["wells_within_150_m"].iloc[1])


class TestAgainstEnumeration:
    def test_wells(self, areas):
        rng = np.random.default_rng(4)
        at = rng.uniform(0, 1000, (80, 2))
        lots = areas([shapely.box(x, y, x + 9, y + 5) for x, y in rng.uniform(0, 1000, (60, 2))])
        result = describe_wells(lots, wells(*((x, y, "domestic") for x, y in at)))
        middle = lots[["x_m", "y_m"]].to_numpy()
        distance = np.linalg.norm(middle[:, None] - at[None], axis=2)
        assert result["well_distance_m"].to_numpy() == pytest.approx(distance.min(axis=1))
        assert result["wells_within_150_m"].tolist() == (distance <= 150).sum(axis=1).tolist()

    def test_density(self, same_index):
        rng = np.random.default_rng(4)
        names = [f"p{n}" for n in range(300)]
        table = pd.DataFrame(rng.uniform(0, 2000, (300, 2)), columns=["x_m", "y_m"], index=names)
        table.iloc[5] = np.nan
        systems = table.iloc[:200]
        result = describe_density(table, systems)
        same_index(result, table)
        at = table.to_numpy()
        distance = np.linalg.norm(at[:, None] - at[None, :200], axis=2)
        within = (distance <= 400).sum(axis=1) / (np.pi * 0.4**2)
        near = (distance <= 229).sum(axis=1) - (np.arange(300) < 200)
        known = np.arange(300) != 5
        assert result["systems_per_km2"].to_numpy()[known] == pytest.approx(within[known])
        assert result["systems_within_229_m"].to_numpy()[known].tolist() == near[known].tolist()
        assert result.iloc[5].isna().all()


class TestPublishedValues:
    def test_forty_per_square_mile(self):
        # EPA (1977) flags more than 40 systems per square mile = 15.44 per km2 (Yates 1985,
        # Ground Water 23:586-591). On an even spread the disc of 400 m sees that density.
        step = MILE_M / 40**0.5
        x, y = np.meshgrid(np.arange(60) * step, np.arange(60) * step)
        table = pd.DataFrame({"x_m": x.ravel(), "y_m": y.ravel()})
        middle = table[(table - table.mean()).abs().max(axis=1) < 15 * step]
        spread = np.random.default_rng(0).uniform(-step / 2, step / 2, middle.shape)
        places = middle + spread
        result = describe_density(places, table.set_index(table.index + 10_000))
        assert pytest.approx(15.44, abs=0.005) == 40 / SQUARE_MILE_KM2
        assert result["systems_per_km2"].mean() == pytest.approx(15.44, rel=0.02)


class TestDensityEdges:
    def test_no_systems(self):
        table = pd.DataFrame({"x_m": [0.0], "y_m": [0.0]}, index=["a"])
        result = describe_density(table, table.iloc[:0])
        assert result.to_numpy().tolist() == [[0.0, 0.0]]

    def test_stacked_systems_are_neighbors(self):
        table = pd.DataFrame({"x_m": [0.0, 0.0], "y_m": [0.0, 0.0]}, index=["a", "b"])
        assert describe_density(table, table)["systems_within_229_m"].tolist() == [1.0, 1.0]
