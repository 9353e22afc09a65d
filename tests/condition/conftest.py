from __future__ import annotations

import pytest

from riskmap.condition.fit import Fit, fit
from tests.condition.simulate import EFFECTS, County, prior_theta, simulate


@pytest.fixture(scope="session")
def county() -> County:
    return simulate(900, 4, prior_theta())


@pytest.fixture(scope="session")
def fitted(county: County) -> Fit:
    return fit(county.read(), EFFECTS)
