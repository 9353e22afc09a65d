from __future__ import annotations

import numpy as np
import pandas as pd

from riskmap.inventory.soil_mixtures import OF_FEATURE, soil_mixtures


def ratings() -> pd.DataFrame:
    table = pd.DataFrame(
        {
            "mukey": ["1", "1", "2", "2"],
            "comppct": [60.0, 40.0, 90.0, 10.0],
            "rating": [1.0, 0.5, 1.0, np.nan],
            "wet_top_cm": [30.0, np.nan, 250.0, 10.0],
            "restriction_cm": [np.nan, 80.0, np.nan, np.nan],
            "ksat_min_um_s": [1.0, 9.0, 20.0, np.nan],
            "drainage_class": ["poorly", "well", "well", None],
        },
        index=pd.Index(["a", "b", "c", "d"], name="cokey"),
    )
    limits = [column for column in OF_FEATURE.values() if column.startswith("limit_")]
    table[limits] = 0.0
    return table


def test_known_by_eye() -> None:
    # p: three quarters unit 1 (60 % a, 40 % b), a quarter unit 2 (90 % c; d is not rated)
    shares = pd.DataFrame({"parcel_id": ["p", "p"], "mukey": ["2", "1"], "frac": [0.25, 0.75]})
    tables = soil_mixtures(shares, ratings())
    wet = tables["wet_depth_cm"]
    assert wet["value"].tolist() == [30.0, 200.0, 200.0]
    np.testing.assert_allclose(wet["share"], [0.45, 0.30, 0.225])
    assert tables["drainage_class"]["value"].tolist() == ["poorly", "well", "well"]
    assert tables["restriction_cm"]["value"].tolist() == [200.0, 80.0, 200.0]


def test_all_features_list_the_same_components() -> None:
    shares = pd.DataFrame({"parcel_id": ["p", "q"], "mukey": ["1", "2"], "frac": [1.0, 1.0]})
    tables = list(soil_mixtures(shares, ratings()).values())
    for table in tables[1:]:
        pd.testing.assert_frame_equal(
            table[["parcel_id", "share"]], tables[0][["parcel_id", "share"]]
        )
