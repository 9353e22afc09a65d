from __future__ import annotations

import pytest

from sample_region.make import make_county
from tests.starting.dirty import Base, load


@pytest.fixture(scope="session")
def base(tmp_path_factory: pytest.TempPathFactory) -> Base:
    folder = tmp_path_factory.mktemp("county")
    make_county(folder, parcels=200)
    return load(folder)
