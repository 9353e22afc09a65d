from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from riskmap.contract.units import FOOT_M
from riskmap.failure.field_state import FieldCase, field_outlook
from riskmap.failure.geometry import field_shape
from riskmap.failure.sizing import rate_of_ksat

Runner = Callable[..., pd.DataFrame]

BASE: dict[str, Any] = {
    "kind": "trench",
    "area_m2": 60.0,
    "flow_l_d": 500.0,
    "ksat_um_s": 5.0,
    "limit_depth_m": np.nan,
    "age_yr": 20.0,
    "neglect": 0.3,
}


@pytest.fixture(scope="session")
def run_field() -> Runner:
    """Outlook of fields that differ from a plain trench by what is given (scalars or lists)."""

    def run(**changes: Any) -> pd.DataFrame:
        inputs = {**BASE, **changes}
        n = max(np.size(value) for value in inputs.values())
        columns = {name: np.broadcast_to(value, n) for name, value in inputs.items()}
        kinds = columns.pop("kind")
        numbers = {name: np.array(value, float) for name, value in columns.items()}
        accept = rate_of_ksat(numbers["ksat_um_s"])
        shape = field_shape(kinds, wall_credit_m=FOOT_M)
        return field_outlook(
            FieldCase(shape=shape, accept_l_d_m2=accept, vertical_separation_m=0.6, **numbers)
        )

    return run
