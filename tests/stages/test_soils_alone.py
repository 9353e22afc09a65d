"""What a survey lacks is told by its name."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from pyproj import CRS

from riskmap.contract.errors import SourceFormatError
from riskmap.region.layers import SOIL_SURVEY
from riskmap.stages.loading import read_soils
from sample_region.make import make_county


def test_tables_without_polygons_say_so(tmp_path: Path) -> None:
    make_county(tmp_path, parcels=100)
    tables = tmp_path / "soils" / "ZZ001" / "tabular"
    sources = {SOIL_SURVEY: SimpleNamespace(files=(tables,))}
    county: Any = SimpleNamespace(region=SimpleNamespace(sources=sources))
    extent = (499_000.0, 4_827_000.0, 501_000.0, 4_829_000.0)
    with pytest.raises(SourceFormatError, match="tables but no map unit polygons") as error:
        read_soils(county, CRS("EPSG:32616"), extent)
    assert "soilmu_a_*.shp" in error.value.cure
