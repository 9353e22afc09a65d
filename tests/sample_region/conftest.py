from __future__ import annotations

from pathlib import Path

import pytest

from sample_region.make import make_county


@pytest.fixture(scope="session")
def default_county(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Files of the default county; not to be changed."""
    folder = tmp_path_factory.mktemp("default")
    make_county(folder)
    return folder
