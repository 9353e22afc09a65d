from __future__ import annotations

from pathlib import Path

import pytest

REPO = Path(__file__).resolve().parents[1]
SHARED_DATA = REPO.parent / "shared" / "data"


@pytest.fixture(scope="session")
def repo() -> Path:
    return REPO


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Folder of real open data beside the project; tests that need it skip where it is absent."""
    if not SHARED_DATA.is_dir():
        pytest.skip("real open data not found: ../shared/data is absent on this machine")
    return SHARED_DATA
