from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import box

from data_pipelines.rasters import RasterReading
from data_pipelines.registry import READERS, read_layer
from riskmap.contract.check import check_layer
from riskmap.contract.errors import LayerError
from riskmap.contract.layers import BUILDINGS, LAYERS, SEWER_AREA, WELLHEAD_AREAS
from riskmap.contract.sources import Reading, Source


def test_every_layer_but_the_soil_survey_has_a_reader():
    assert set(READERS) == {name for name in LAYERS if not name.startswith("soil_")}


def test_unknown_layer(utm):
    with pytest.raises(LayerError, match="there is no reader"):
        read_layer(Source("weather", (Path("x"),)), utm)


@pytest.mark.parametrize("layer", [BUILDINGS, SEWER_AREA, WELLHEAD_AREAS])
def test_areas(tmp_path, utm, layer):
    path = tmp_path / "a.gpkg"
    frame = gpd.GeoDataFrame({"NAME": ["North"], "BLDG_ID": [7]}, geometry=[box(0, 0, 1, 1)])
    frame.set_crs(26915).to_file(path)
    reading = read_layer(Source(layer.name, (path,)), utm)
    assert isinstance(reading, Reading)
    assert reading.frame[layer.column_names[0]].tolist() in (["North"], ["7"])
    assert check_layer(reading.frame, layer, crs=utm).empty


def test_raster_layer(shared_data, utm):
    path = shared_data / "terrain_water/steep_basin/dem/dem_raw.tif"
    reading = read_layer(Source("elevation", (path,), unit="m"), utm)
    assert isinstance(reading, RasterReading)
    assert np.isfinite(reading.raster.values).any()


def test_same_input_same_result(shared_data, utm):
    path = shared_data / "terrain_water/flowlines_small/NHDFlowline.shp"
    first, second = (read_layer(Source("streams", (path,)), utm) for _ in range(2))
    assert first.frame.to_json() == second.frame.to_json()
