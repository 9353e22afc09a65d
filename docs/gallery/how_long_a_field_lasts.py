"""How long does a field last? Years to failure against the load, and what half the flow would gain.

``python docs/gallery/how_long_a_field_lasts.py`` prints the table. Years are an order of size, not
a date: rates of growth are the project's own choices without a published calibration.
"""

# ruff: noqa: T201
from __future__ import annotations

import numpy as np
import pandas as pd

from riskmap.contract.rules import Rules
from riskmap.failure.assess import assess_failure
from riskmap.failure.settings import FailureSettings


def main(loads: int = 6) -> pd.DataFrame:
    """Follow a new trench in middling soil under rising flow, tank pumped every eight years."""
    flow = np.linspace(200.0, 1200.0, loads)
    fields = pd.DataFrame(
        {
            "kind": "trench",
            "age_yr": 1.0,
            "metered_flow_l_d": flow,
            "field_area_m2": 100.0,
            "ksat_um_s": 6.0,
            "occupants": 4.0,
            "tank_volume_l": 3785.0,
            "years_since_pumped_yr": 8.0,
        },
        index=pd.Index(flow.round().astype(int), name="flow_l_d"),
    )
    found = assess_failure(fields, rules=Rules(), physics=FailureSettings())
    columns = ["load_ratio", "years_to_stressed_yr", "years_to_failed_yr"]
    gains = ["years_gained_half_flow_yr", "years_gained_pumping_yr"]
    table = found[[*columns, *gains]]
    print(table.round(1).to_string())
    return table


if __name__ == "__main__":
    main()
