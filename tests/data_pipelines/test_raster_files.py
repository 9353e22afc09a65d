from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine
from shapely.geometry import box

from data_pipelines.grids import old_affine_calls
from data_pipelines.rasters import check_cover
from riskmap.contract.errors import CrsError, LayerError, SourceFormatError
from tests.data_pipelines.raster_making import NORTH, UTM, WEST, read, save

COARSE = Affine(100, 0, WEST, 0, -100, NORTH)


class TestMasks:
    """Cells that the file itself takes out, in each way that the published form knows (TIFF 6.0,
    NewSubfileType 4; GDAL's side file .msk; an alpha band)."""

    cells = np.full((20, 20), 300.0, dtype="float32")

    def write(self, path: Path, *bands: object, mask: object = None, **more: object) -> Path:
        with (
            old_affine_calls(),
            rasterio.Env(GDAL_TIFF_INTERNAL_MASK=more.pop("internal", True)),
            rasterio.open(
                path, "w", driver="GTiff", height=20, width=20, count=len(bands),
                dtype=str(np.asarray(bands[0]).dtype), crs="EPSG:26915",
                transform=Affine(10, 0, WEST, 0, -10, NORTH), **more,
            ) as file,
        ):  # fmt: skip
            for number, band in enumerate(bands, start=1):
                file.write(np.asarray(band), number)
            if mask is not None:
                file.write_mask(np.asarray(mask))
        return path

    @pytest.mark.parametrize("internal", [True, False])
    def test_mask_band(self, tmp_path, internal):
        mask = np.full((20, 20), 255, dtype="uint8")
        mask[5:, :] = 0
        path = self.write(tmp_path / "dem.tif", self.cells, mask=mask, internal=internal)
        assert (tmp_path / "dem.tif.msk").exists() != internal
        values = read(path, unit="m").raster.values
        assert np.isnan(values[5:]).all()
        assert (values[:5] == 300).all()

    def test_mask_band_beside_a_nodata_value(self, tmp_path, found):
        mask = np.full((20, 20), 255, dtype="uint8")
        mask[0, 0] = 0
        cells = self.cells.copy()
        cells[0, 1] = -1
        path = self.write(tmp_path / "dem.tif", cells, mask=mask, nodata=-1)
        reading = read(path, unit="m")
        assert np.flatnonzero(np.isnan(reading.raster.values)).tolist() == [0, 1]
        assert found(reading.defects, "mixed_nodata") == {"dem.tif": "mask: 1, -1: 1"}

    def test_alpha_band(self, tmp_path):
        alpha = np.full((20, 20), 255, dtype="float32")
        alpha[:, 3] = 0
        path = self.write(
            tmp_path / "dem.tif", self.cells, alpha, photometric="MINISBLACK", alpha="YES"
        )
        values = read(path, unit="m").raster.values
        assert np.isnan(values).sum(axis=0).tolist() == [0, 0, 0, 20, *[0] * 16]

    def test_scale_and_offset_come_after_nodata(self, tmp_path):
        cells = np.full((20, 20), 1234, dtype="int16")
        cells[0, 0] = -32768
        path = self.write(tmp_path / "dem.tif", cells, nodata=-32768)
        with rasterio.open(path, "r+") as file:
            file.scales, file.offsets = (0.1,), (100.0,)
        values = read(path, unit="m").raster.values
        assert np.isnan(values[0, 0])
        assert values[1, 1] == pytest.approx(223.4)

    def test_first_of_several_bands_is_told_and_a_picture_refused(self, tmp_path, found):
        path = self.write(tmp_path / "dem.tif", self.cells, self.cells + 1)
        reading = read(path, unit="m")
        assert (reading.raster.values == 300).all()
        assert found(reading.defects, "several_bands") == {"dem.tif": "2 bands"}
        band = np.full((20, 20), 90, dtype="uint8")
        shade = self.write(tmp_path / "shade.tif", band, band, band, photometric="RGB")
        with pytest.raises(SourceFormatError, match=r"shade\.tif is a picture"):
            read(shade, unit="m")

    def test_complex_numbers(self, tmp_path):
        path = self.write(tmp_path / "dem.tif", self.cells.astype("complex64"))
        with pytest.raises(SourceFormatError, match="no band of numbers"):
            read(path, unit="m")


class TestCover:
    box = (WEST, NORTH - 20_000, WEST + 20_000, NORTH)

    def test_next_to_nothing_is_an_error(self, tmp_path):
        path = save(tmp_path, np.full((8, 8), 300.0))  # 80 m of a county of 20 km
        with pytest.raises(LayerError, match=r"cover only 0.0016% of the box around the county"):
            read(path, unit="m", bounds=self.box)

    def test_parcels_beside_its_cells_are_told_with_their_share(self, tmp_path, found):
        cells = np.full((100, 100), 300.0)
        cells[:, 50:] = np.nan
        raster = read(save(tmp_path, cells, transform=COARSE), unit="m", bounds=self.box).raster
        # Middles at 0.5, 1.5 ... 9.5 km from the west; heights are known up to 5 km.
        lots = [
            box(WEST + 1000 * n, NORTH - 1000, WEST + 1000 * n + 1000, NORTH) for n in range(10)
        ]
        parcels = gpd.GeoDataFrame(geometry=lots, crs=UTM)
        told = found(check_cover(raster, parcels, "elevation"), "partly_covered")
        assert told == {"(all)": "50% of 10 parcels covered"}
        assert check_cover(raster, parcels.iloc[:5], "elevation").empty
        with pytest.raises(LayerError, match="0% of 5 parcels covered"):
            check_cover(raster, parcels.iloc[5:], "elevation")

    def test_a_tile_beside_the_county_is_told(self, tmp_path, found):
        near = save(
            tmp_path, np.full((210, 210), 1.0), transform=Affine(100, 0, WEST, 0, -100, NORTH)
        )
        far = save(tmp_path, [[1.0]], name="far.tif", transform=Affine(10, 0, 0, 0, -10, NORTH))
        reading = read(near, far, unit="m", bounds=self.box)
        assert set(found(reading.defects, "beside_the_county")) == {"far.tif"}


class TestDamage:
    def test_meters_said_to_be_degrees(self, tmp_path):
        path = save(tmp_path, np.full((5, 5), 300.0))
        with pytest.raises(CrsError, match=r"of dem\.tif \(up to 5000000\) are no degrees"):
            read(path, unit="m", said="EPSG:4326")
        path = save(tmp_path, np.full((5, 5), 300.0), name="b.tif", crs="EPSG:4269")
        with pytest.raises(CrsError, match="are no degrees"):
            read(path, unit="m")

    @pytest.mark.parametrize("share", [0.05, 0.3, 0.6, 0.95])
    def test_a_cut_file(self, tmp_path, share):
        path = save(tmp_path, np.random.default_rng(3).random((300, 300)))
        path.write_bytes(path.read_bytes()[: int(share * path.stat().st_size)])
        with pytest.raises(SourceFormatError, match=r"dem\.tif cannot be read"):
            read(path, unit="m")

    @pytest.mark.filterwarnings("ignore::rasterio.errors.NotGeoreferencedWarning")
    def test_no_place_on_the_map(self, tmp_path):
        path = save(tmp_path, np.full((5, 5), 300.0), transform=Affine.identity())
        with pytest.raises(SourceFormatError, match="does not say where on the map"):
            read(path, unit="m")

    def test_cells_without_a_size(self, tmp_path):
        path = save(tmp_path, np.full((5, 5), 300.0), transform=Affine(0, 0, WEST, 0, 0, NORTH))
        with pytest.raises(SourceFormatError, match="cells without a size"):
            read(path, unit="m")
