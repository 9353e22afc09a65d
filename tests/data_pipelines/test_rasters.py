from __future__ import annotations

import numpy as np
import pytest
import rasterio
from pyproj import CRS, Transformer
from rasterio.transform import Affine

from data_pipelines.grids import old_affine_calls
from data_pipelines.rasters import read_water_table
from riskmap.contract.errors import CrsError, LayerError, SourceFormatError, SourceMissingError
from riskmap.contract.sources import Source
from tests.data_pipelines.raster_making import NORTH, UTM, WEST, read, save


class TestNodata:
    def test_every_kind_in_one_file(self, tmp_path, found):
        # NaN, the declared -9999, the largest negative float, and 12,000 m that cannot be.
        cells = [[np.nan, -9999.0, -3.4028235e38], [12_000.0, 300.0, 301.0]]
        reading = read(save(tmp_path, cells, nodata=-9999.0), unit="m")
        assert np.isnan(reading.raster.values).tolist() == [[True] * 3, [True, False, False]]
        assert reading.raster.values[1, 1:].tolist() == [300.0, 301.0]
        mixed = found(reading.defects, "mixed_nodata")["dem.tif"]
        assert mixed == "NaN: 1, largest float: 1, -9999: 1"
        assert found(reading.defects, "out_of_range") == {"dem.tif": "1 cells"}

    def test_undeclared_and_odd_declared_values(self, tmp_path):
        cells = [[-9999.0, 0.0, 5.0]]
        assert np.isnan(read(save(tmp_path, cells), unit="m").raster.values).tolist() == [[1, 0, 0]]
        zero = read(save(tmp_path, cells, name="z.tif", nodata=0.0), unit="m").raster.values
        assert np.isnan(zero).tolist() == [[True, True, False]]

    def test_whole_number_raster(self, tmp_path):
        raster = read(save(tmp_path, [[-32768, 5, 100, 152]], dtype="int16"), unit="ft").raster
        assert raster.values[0, 1:].tolist() == pytest.approx([1.524, 30.48, 46.3296], rel=1e-6)
        assert np.isnan(raster.values[0, 0])

    def test_nothing_but_nodata(self, tmp_path):
        with pytest.raises(LayerError, match="every cell is without data"):
            read(save(tmp_path, [[np.nan, np.nan]]), unit="m")


class TestUnits:
    def test_declared_unit_wins_over_the_band(self, tmp_path, found):
        path = save(tmp_path, [[1000.0]], unit="metre")
        reading = read(path, unit="ft")
        assert reading.raster.values[0, 0] == pytest.approx(304.8)
        assert found(reading.defects, "unit_conflict") == {"dem.tif": "metre"}

    def test_unit_of_the_band(self, tmp_path):
        reading = read(save(tmp_path, [[1000.0]], unit="foot"))
        assert reading.raster.values[0, 0] == pytest.approx(304.8)
        assert reading.defects.empty

    def test_silent_raster_in_a_feet_system_is_suspect(self, tmp_path, found):
        # 2264: North Carolina state plane in US survey feet.
        path = save(tmp_path, [[1000.0, 1000.0]] * 2, crs="EPSG:2264")
        reading = read(path, crs=CRS("EPSG:32119"))
        assert set(found(reading.defects, "perhaps_feet")) == {"dem.tif"}
        silent = read(save(tmp_path, [[1000.0]], name="m.tif"))
        assert set(found(silent.defects, "unit_not_stated")) == {"m.tif"}

    def test_unknown_unit(self, tmp_path):
        with pytest.raises(LayerError, match="'yard' is not known"):
            read(save(tmp_path, [[1.0]]), unit="yard")

    def test_water_table_has_its_own_bounds(self, tmp_path):
        path = save(tmp_path, [[-0.5, 2.0, 4000.0]])
        source = Source("water_table", (path,), unit="m")
        values = read_water_table(source, UTM).raster.values
        assert values[0, :2].tolist() == [-0.5, 2.0]
        assert np.isnan(values[0, 2])


class TestGrid:
    def test_own_system_is_passed_on_untouched(self, tmp_path):
        cells = np.arange(12, dtype="float32").reshape(3, 4) + 300
        raster = read(save(tmp_path, cells), unit="m").raster
        assert np.array_equal(raster.values, cells)
        assert raster.bounds == (WEST, NORTH - 30, WEST + 40, NORTH)

    def test_degrees_become_meters_in_the_right_place(self, tmp_path):
        # A plane z = 100 + 1000 (lon + 93) + 500 (lat - 45): bilinear resampling keeps planes.
        step = 0.0005
        lon = -93 + step * (np.arange(80) + 0.5)
        lat = 45 - step * (np.arange(60) + 0.5)
        plane = 100 + 1000 * (lon[None, :] + 93) + 500 * (lat[:, None] - 45)
        path = save(tmp_path, plane, transform=Affine(step, 0, -93, 0, -step, 45), crs="EPSG:4269")
        raster = read(path, unit="m").raster
        assert raster.crs.equals(UTM)
        assert raster.cell_x_m == raster.cell_y_m
        mover = Transformer.from_crs(4269, 26915, always_xy=True)
        at_lon, at_lat = np.meshgrid(lon[5:-5:9], lat[5:-5:9])
        x, y = mover.transform(at_lon.ravel(), at_lat.ravel())
        want = 100 + 1000 * (at_lon.ravel() + 93) + 500 * (at_lat.ravel() - 45)
        # Half a cell of about 47 m is 0.3 thousandths of a degree: 0.3 + 0.15 m at the most.
        assert np.abs(raster.sample(x, y) - want).max() < 0.5

    def test_nodata_does_not_bleed_into_its_neighbors(self, tmp_path):
        cells = np.full((40, 40), 300.0)
        cells[10:20, 10:20] = -9999
        step = 0.0005
        path = save(
            tmp_path,
            cells,
            transform=Affine(step, 0, -93, 0, -step, 45),
            crs="EPSG:4269",
            nodata=-9999,
        )
        values = read(path, unit="m").raster.values
        assert np.isnan(values).any()
        assert np.nanmin(values) == np.nanmax(values) == 300.0

    def test_tiles_on_one_grid_are_joined_without_resampling(self, tmp_path, found):
        whole = np.arange(24, dtype="float32").reshape(4, 6) * 7 + 300
        right = whole[:, 2:].copy()
        right[0, 0] += 5  # overlap that disagrees
        east = Affine(10, 0, WEST + 20, 0, -10, NORTH)
        a = save(tmp_path, whole[:, :4], name="a.tif")
        b = save(tmp_path, right, name="b.tif", transform=east)
        reading = read(a, b, unit="m")
        assert np.array_equal(reading.raster.values, whole)
        assert found(reading.defects, "tiles_disagree") == {"b.tif": "by up to 5.0 m"}

    def test_tiles_in_two_systems(self, tmp_path):
        a = save(tmp_path, np.full((50, 50), 300.0), name="a.tif")
        zone16 = Transformer.from_crs(26915, 26916, always_xy=True).transform(WEST + 500, NORTH)
        b = save(
            tmp_path,
            np.full((50, 50), 300.0),
            name="b.tif",
            transform=Affine(10, 0, zone16[0], 0, -10, zone16[1]),
            crs="EPSG:26916",
        )
        raster = read(a, b, unit="m").raster
        assert np.nanmin(raster.values) == pytest.approx(300.0)
        assert raster.sample(
            np.array([WEST + 5, WEST + 800]), np.array([NORTH - 200] * 2)
        ).tolist() == [
            300.0,
            300.0,
        ]

    def test_south_up_grid_is_turned(self, tmp_path):
        cells = [[310.0, 320.0], [330.0, 340.0]]
        path = save(tmp_path, cells, transform=Affine(10, 0, WEST, 0, 10, NORTH - 20))
        raster = read(path, unit="m").raster
        values = raster.sample(np.array([WEST + 5, WEST + 15]), np.array([NORTH - 5] * 2))
        assert values.tolist() == [330.0, 340.0]

    def test_only_the_box_is_read(self, tmp_path):
        cells = np.arange(10_000, dtype="float32").reshape(100, 100) / 10
        path = save(tmp_path, cells)
        box = (WEST + 200, NORTH - 300, WEST + 250, NORTH - 260)
        part, whole = read(path, unit="m", bounds=box).raster, read(path, unit="m").raster
        west, south, east, north = part.bounds
        assert west <= box[0]
        assert south <= box[1]
        assert east >= box[2]
        assert north >= box[3]
        assert part.values.size < 300
        x, y = np.array([WEST + 201.0, WEST + 249]), np.array([NORTH - 299.0, NORTH - 261])
        assert part.sample(x, y).tolist() == whole.sample(x, y).tolist()

    def test_box_beside_the_raster(self, tmp_path):
        with pytest.raises(LayerError, match="no file covers"):
            read(save(tmp_path, [[1.0]]), unit="m", bounds=(0, 0, 1, 1))


class TestErrors:
    def test_system_unknown_file_missing_or_not_a_raster(self, tmp_path, write):
        with pytest.raises(CrsError, match=r"dem\.tif does not say"):
            read(save(tmp_path, [[1.0]], crs=None), unit="m")
        with pytest.raises(SourceMissingError, match=r"gone\.tif"):
            read(tmp_path / "gone.tif", unit="m")
        with pytest.raises(SourceFormatError, match=r"text\.tif cannot be read"):
            read(write("text.tif", "no raster"), unit="m")


class TestRealData:
    def test_plain_in_degrees(self, shared_data):
        path = shared_data / "terrain_water/sand_plain/dem40m.tif"
        reading = read(path, crs=CRS("EPSG:3070"), unit="m")
        values = reading.raster.values
        assert 30 < reading.raster.cell_x_m < 50
        assert 280 < np.nanmin(values) < np.nanmax(values) < 400
        with old_affine_calls(), rasterio.open(path) as file:
            raw = file.read(1)
        assert (raw < -1e30).any()
        # The mean over known cells hardly changes by resampling.
        assert np.nanmean(values) == pytest.approx(raw[raw > -1e30].mean(dtype="float64"), abs=0.1)

    def test_basin_passes_through(self, shared_data):
        path = shared_data / "terrain_water/steep_basin/dem/dem_raw.tif"
        reading = read(path, crs=CRS("EPSG:5070"), unit="m")
        assert reading.raster.values.shape == (612, 607)
        assert int(np.isnan(reading.raster.values).sum()) == 141_344
        assert reading.raster.cell_x_m != reading.raster.cell_y_m

    def test_resampled_basin_keeps_its_heights(self, shared_data):
        path = shared_data / "terrain_water/steep_basin/dem/dem_raw.tif"
        own = read(path, crs=CRS("EPSG:5070"), unit="m").raster
        moved = read(path, crs=CRS("EPSG:26917"), unit="m").raster
        mover = Transformer.from_crs(5070, 26917, always_xy=True)
        rng = np.random.default_rng(5)
        west, south, east, north = own.bounds
        x, y = rng.uniform(west, east, 4000), rng.uniform(south, north, 4000)
        a, b = own.sample(x, y), moved.sample(*mover.transform(x, y))
        both = np.isfinite(a) & np.isfinite(b)
        assert both.sum() > 1_000
        assert abs(np.mean(a[both] - b[both])) < 0.2
        assert np.std(a[both] - b[both]) < 5  # half a cell of 9 m on slopes of up to 60 %
