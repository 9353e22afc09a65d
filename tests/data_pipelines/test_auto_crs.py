from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pytest
from shapely.geometry import box

from data_pipelines.auto_crs import utm_of
from riskmap.contract.errors import CrsError, SourceFormatError, SourceMissingError
from riskmap.contract.sources import Source


def parcels(folder: Path, lon: float, lat: float, crs: int | None = 4326) -> Source:
    path = folder / "parcels.gpkg"
    gpd.GeoDataFrame(geometry=[box(lon, lat, lon + 0.01, lat + 0.01)], crs=crs).to_file(path)
    return Source("parcels", (path,))


@pytest.mark.parametrize(
    ("lon", "lat", "code"),
    [(-89.6, 44.1, 32616), (-93.0, 41.0, 32615), (151.0, -33.0, 32756)],
)
def test_zone_by_longitude_and_hemisphere(
    tmp_path: Path, lon: float, lat: float, code: int
) -> None:
    # UTM zone = floor((lon + 180) / 6) + 1; 326xx north, 327xx south
    assert utm_of(parcels(tmp_path, lon, lat)).to_epsg() == code


def test_missing_things_are_named(tmp_path: Path) -> None:
    with pytest.raises(SourceMissingError, match="is not there"):
        utm_of(Source("parcels", (tmp_path / "none.gpkg",)))
    (tmp_path / "page.gpkg").write_text("<html>not found</html>")
    with pytest.raises(SourceFormatError, match="is a web page"):
        utm_of(Source("parcels", (tmp_path / "page.gpkg",)))


@pytest.mark.filterwarnings("ignore:'crs' was not provided:UserWarning")
def test_no_reference_system_is_an_error(tmp_path: Path) -> None:
    path = tmp_path / "parcels.geojson"
    source = parcels(tmp_path, 500_000, 5_000_000, None)
    gpd.read_file(source.files[0]).to_file(tmp_path / "parcels.shp")
    (tmp_path / "parcels.prj").unlink(missing_ok=True)
    with pytest.raises(CrsError, match="does not say which coordinate reference system"):
        utm_of(Source("parcels", (path.with_suffix(".shp"),)))
