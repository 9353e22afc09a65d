from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskmap.contract.grid import Grid, grid_from_bounds
from riskmap.groundwater.kriging import leave_one_out
from riskmap.groundwater.levels import WaterLevels, water_levels
from riskmap.groundwater.variogram import Variogram
from riskmap.groundwater.water_table import (
    fit_water_table,
    reconcile_seasonal_high,
    robust_z,
    subdued_surface,
    surface_from_levels,
    surface_from_raster,
)

NAN = float("nan")


class TestLevels:
    def test_heads_from_depths_and_datums(self) -> None:
        levels = water_levels(
            [0, 1, 2, 3, 4, 5],
            [0, 0, 0, 0, 0, 0],
            head_m=[NAN, NAN, 95.0, 95.0, NAN, NAN],
            depth_m=[5.0, -1.5, NAN, NAN, NAN, 5000.0],
            land_m=[100.0, 100.0, 100.0, NAN, 100.0, 100.0],
            datum=["NAVD88", "navd88", "NGVD29", "NGVD29", None, "NAVD88"],
            datum_shift_m=[NAN, NAN, -0.3, NAN, NAN, NAN],
        )
        np.testing.assert_allclose(levels.head_m, [95, 101.5, 94.7, 95, NAN, NAN])
        np.testing.assert_allclose(levels.depth_m, [5, -1.5, 5, NAN, NAN, 5000])
        assert levels.flags.tolist() == [
            "", "flowing", "datum shifted", "datum not shifted", "no level; datum unknown",
            "implausible depth",
        ]  # fmt: skip
        assert levels.datum.tolist() == [
            "NAVD88",
            "NAVD88",
            "NGVD29",
            "NGVD29",
            "unknown",
            "NAVD88",
        ]
        assert levels.usable.tolist() == [True, True, True, True, False, False]
        assert levels.counts().set_index("flag")["rows"].to_dict() == {
            "flowing": 1, "datum shifted": 1, "datum not shifted": 1, "datum unknown": 1,
            "no level": 1, "implausible depth": 1,
        }  # fmt: skip

    def test_flowing_well_stands_above_the_ground_on_the_shifted_datum(self) -> None:
        levels = water_levels(
            [0], [0], depth_m=[-2.0], land_m=[50.0], datum=["NGVD29"], datum_shift_m=0.5
        )
        assert levels.head_m[0] == pytest.approx(52.5)
        assert levels.depth_m[0] == -2.0
        assert levels.flags[0] == "flowing; datum shifted"


def plain_levels(n: int = 60, *, wrong: int | None = None) -> tuple[WaterLevels, Grid]:
    rng = np.random.default_rng(1)
    rows = np.arange(40)
    land = 120 + 8 * np.sin(rows / 6)[None, :] + 0.3 * rows[:, None]
    grid = grid_from_bounds(west_m=0, north_m=4000, cell_m=100, values=land)
    x, y = rng.uniform(100, 3900, (2, n))
    at = grid.bilinear(x, y)
    head = 60 + 0.4 * at + rng.normal(0, 0.2, n)
    if wrong is not None:
        head[wrong] += 25.0
    return water_levels(x, y, head_m=head, land_m=at), grid


class TestModel:
    def test_drift_on_land_is_followed_between_wells(self) -> None:
        levels, grid = plain_levels()
        table = surface_from_levels(fit_water_table(levels), grid, cap_at_land=False)
        error = table.head.values - (60 + 0.4 * grid.values)
        assert table.evidence == "inferred"
        assert np.sqrt(np.mean(error**2)) < 0.4
        plain = fit_water_table(levels, land_drift=False)
        assert plain.summary()["rmse_m"] > fit_water_table(levels).summary()["rmse_m"]

    def test_a_wrong_level_is_reported_and_kept_unless_asked(self) -> None:
        levels, _ = plain_levels(wrong=7)
        kept = fit_water_table(levels)
        named = kept.report[kept.report["outlier"]]
        assert levels.head_m[7] in named["head_m"].to_numpy()
        assert len(kept.data) == 60
        left_out = fit_water_table(levels, leave_out_outliers=True)
        assert len(left_out.data) == 60 - len(named)
        assert len(left_out.report) == 60

    def test_distrusted_variance_is_widened(self) -> None:
        levels, _ = plain_levels()
        tiny = Variogram("exponential", 1e-4, 1e-3, 500.0)
        model = fit_water_table(levels, variogram=tiny)
        assert model.summary()["mean_z2"] > 10
        sd = model.surface([50.0], [50.0], land_m=[120.0]).sd[0]
        assert sd == pytest.approx(
            np.sqrt(model.summary()["mean_z2"]) * fit_sd(levels, tiny), rel=1e-9
        )

    def test_cap_keeps_the_surface_under_the_ground(self) -> None:
        levels, grid = plain_levels()
        low_land = grid.with_values(grid.values - 40)
        capped = surface_from_levels(fit_water_table(levels, land_drift=False), low_land)
        assert (capped.head.values <= low_land.values).all()
        assert (capped.head.values == low_land.values).any()

    def test_robust_z_of_a_known_list(self) -> None:
        # Errors -1, 0, 1, 10: median .5; absolute deviations 1.5 .5 .5 9.5; MAD 1.
        z = robust_z([-1.0, 0.0, 1.0, 10.0], 1.0)
        np.testing.assert_allclose(z, (np.array([-1, 0, 1, 10]) - 0.5) / 1.4826)


def fit_sd(levels: WaterLevels, variogram: Variogram) -> float:
    from riskmap.groundwater.kriging import krige

    model = fit_water_table(levels, variogram=variogram)
    return float(
        krige(
            model.data, x_m=[50.0], y_m=[50.0], drift=[120.0],
            variogram=variogram, neighbors=model.neighbors,
        ).sd[0]
    )  # fmt: skip


class TestOtherSurfaces:
    def test_depth_raster_becomes_heads(self) -> None:
        land = grid_from_bounds(west_m=0, north_m=0, cell_m=10, values=[[10.0, 12.0]])
        found = surface_from_raster(land.with_values([[1.0, NAN]]), land=land, sd_m=2.0)
        np.testing.assert_allclose(found.head.values, [[9.0, NAN]])
        np.testing.assert_allclose(found.sd_m, [[2.0, NAN]])
        assert found.evidence == "mapped"
        other = grid_from_bounds(west_m=5, north_m=0, cell_m=10, values=[[1.0, 1.0]])
        with pytest.raises(ValueError, match="same grid"):
            surface_from_raster(other, land=land)

    def test_subdued_copy(self) -> None:
        _, land = plain_levels()
        values = land.values.copy()
        values[3, 4] = np.nan
        land = land.with_values(values)
        found = subdued_surface(land, mean_depth_m=4.0)
        head = found.head.values
        assert found.evidence == "assumed"
        assert np.isnan(found.sd_m).all()
        assert np.isnan(head[3, 4])
        assert np.nanmedian(land.values - head) == pytest.approx(4.0, abs=0.2)
        assert (np.nan_to_num(head, nan=-1e9) <= np.nan_to_num(land.values)).all()
        assert np.nanstd(head) < np.nanstd(land.values)

    @given(
        st.lists(st.one_of(st.none(), st.floats(0, 3)), min_size=1, max_size=8),
        st.lists(st.one_of(st.none(), st.floats(-1, 30)), min_size=1, max_size=8),
    )
    @settings(max_examples=40, deadline=None)
    def test_the_shallower_governs_and_both_are_kept(
        self, soil: list[float | None], regional: list[float | None]
    ) -> None:
        n = min(len(soil), len(regional))
        a, b = np.array(soil[:n], float), np.array(regional[:n], float)
        table = reconcile_seasonal_high(a, b)
        np.testing.assert_array_equal(table["seasonal_high_depth_m"], np.fmin(a, b))
        np.testing.assert_array_equal(table["soil_high_depth_m"], a)
        np.testing.assert_array_equal(table["regional_depth_m"], b)
        unknown = np.isnan(a) & np.isnan(b)
        assert ((table["governing"] == "unknown") == unknown).all()
        assert (table["governing"][(a <= b)] == "soil").all()


@pytest.fixture(scope="module")
def sand_plain(shared_data: Path) -> tuple[pd.DataFrame, Grid]:
    """Wells (projected meters) and the terrain, which comes in degrees, resampled to 40 m."""
    rasterio = pytest.importorskip("rasterio")
    warp = pytest.importorskip("rasterio.warp")
    folder = shared_data / "terrain_water" / "sand_plain"
    with (
        warnings.catch_warnings(),  # rasterio multiplies affine transforms the old way
        rasterio.open(folder / "dem40m.tif") as file,
    ):
        warnings.simplefilter("ignore", PendingDeprecationWarning)
        assert file.crs.is_geographic
        transform, width, height = warp.calculate_default_transform(
            file.crs, "EPSG:3070", file.width, file.height, *file.bounds, resolution=40
        )
        land = np.full((height, width), np.nan, dtype="float32")
        warp.reproject(
            rasterio.band(file, 1), land, dst_transform=transform, dst_crs="EPSG:3070",
            resampling=warp.Resampling.bilinear, dst_nodata=np.nan,
        )  # fmt: skip
    return pd.read_csv(folder / "wgnhs_head_targets.csv"), grid_from_bounds(
        west_m=transform.c, north_m=transform.f, cell_m=transform.a, values=land
    )


class TestRealWells:
    def test_cross_validated_error_on_the_sand_plain(
        self, sand_plain: tuple[pd.DataFrame, Grid], repo: Path
    ) -> None:
        wells, land = sand_plain
        assert len(wells) == 154
        at = land.bilinear(wells["x"], wells["y"])
        levels = water_levels(wells["x"], wells["y"], head_m=wells["targ_val_m"], land_m=at)
        model = fit_water_table(levels)
        figures = model.summary()
        page = (repo / "docs" / "methods" / "water_table.md").read_text(encoding="utf-8")
        printed = f"| {figures['places']:.0f} | {figures['rmse_m']:.2f} | {figures['mae_m']:.2f} |"
        assert printed in page
        assert figures["rmse_m"] < np.std(model.data.values) / 1.8
        assert abs(figures["bias_m"]) < 0.5
        spread = (model.data.values - model.data.values.mean()).std()
        nearest_only = nearest_well_error(model.data.x_m, model.data.y_m, model.data.values)
        assert figures["rmse_m"] < nearest_only < spread

    def test_surface_is_plausible_and_meets_the_lakes(
        self, sand_plain: tuple[pd.DataFrame, Grid], shared_data: Path
    ) -> None:
        wells, land = sand_plain
        levels = water_levels(
            wells["x"], wells["y"], head_m=wells["targ_val_m"],
            land_m=land.bilinear(wells["x"], wells["y"]),
        )  # fmt: skip
        model = fit_water_table(levels, land_drift=False, leave_out_outliers=True)
        heads = pd.read_csv(shared_data / "terrain_water/sand_plain/uwsp_heads.csv")
        found = model.surface(heads["x"], heads["y"])
        z = (found.estimate - heads["value"].to_numpy()) / found.sd
        assert (np.abs(z) < 3).all()
        table = surface_from_levels(model, land)
        known = np.isfinite(land.values)
        assert (np.isfinite(table.head.values) == known).all()
        assert (table.head.values[known] <= land.values[known]).all()

    def test_moving_neighborhood_hardly_differs_from_all_wells(
        self, sand_plain: tuple[pd.DataFrame, Grid]
    ) -> None:
        wells, _ = sand_plain
        levels = water_levels(wells["x"], wells["y"], head_m=wells["targ_val_m"])
        model = fit_water_table(levels, land_drift=False, neighbors=None)
        near = leave_one_out(model.data, variogram=model.variogram, neighbors=32)
        everywhere = model.report["estimate_m"].to_numpy()
        change = np.sqrt(np.mean((near.estimate - everywhere) ** 2))
        assert change < 0.05 * model.summary()["rmse_m"]


def nearest_well_error(
    x: np.typing.NDArray[np.float64],
    y: np.typing.NDArray[np.float64],
    v: np.typing.NDArray[np.float64],
) -> float:
    """Error of the simplest guess: the level of the nearest other well."""
    distance = np.hypot(x[:, None] - x, y[:, None] - y)
    np.fill_diagonal(distance, np.inf)
    return float(np.sqrt(np.mean((v[distance.argmin(axis=1)] - v) ** 2)))
