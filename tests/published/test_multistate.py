"""Hidden multi-state model in continuous time: the published heart-transplant example.

Sharples et al. 2003, Transplantation 76:679-682; Jackson et al. 2003, The Statistician 52:193-209;
figures recomputed with the general library msm 1.7 (Jackson 2011, J. Stat. Softw. 38(8)). The
forward and backward recursion is the one that the yearly filter is held against in
``tests/condition``; between visits it goes by matrix exponentials.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.linalg import expm

from tests.condition.chain import forward_backward

RATES = {
    (0, 1): 0.08963049832, (0, 3): 0.04135747195, (1, 2): 0.2586440226, (1, 3): 0.03331482292,
    (2, 3): 0.30758380302,
}  # fmt: skip
SEEN = np.array(
    [
        [1 - 0.02690429941, 0.02690429941, 0.0, 0.0],
        [0.1749079757, 1 - 0.1749079757 - 0.06317877959, 0.06317877959, 0.0],
        [0.0, 0.11509776755, 1 - 0.11509776755, 0.0],
        [0.0, 0.0, 0.0, 1.0],
    ]
)
DEAD = 3


def intensities() -> np.ndarray:
    q = np.zeros((4, 4))
    for (a, b), rate in RATES.items():
        q[a, b] = rate
    return q - np.diag(q.sum(axis=1))


@pytest.fixture(scope="module")
def patients(shared_data: Path) -> pd.DataFrame:
    place = shared_data / "reference" / "multistate" / "cav.csv"
    if not place.is_file():
        pytest.skip("reference/multistate/cav.csv is absent from the shared data")
    return pd.read_csv(place)


def follow_patient(rows: pd.DataFrame, *, exact: bool = True) -> tuple[float, np.ndarray]:
    """Log-likelihood and smoothed chances; the first state is true, the time of a death exact.

    The published smoothed chances take a death for one between two visits (not `exact`).
    """
    q = intensities()
    years = rows["years"].to_numpy(float)
    states = rows["state"].to_numpy(int) - 1
    likelihood = SEEN[:, states].T.copy()
    likelihood[0] = 1.0
    start = np.eye(4)[states[0]]
    steps = []
    for state, gap in zip(states[1:], np.diff(years), strict=True):
        step = expm(q * gap)
        if exact and state == DEAD:
            into = np.where(np.arange(4) == DEAD, 0.0, q[:, DEAD])
            step = np.outer(step @ into, np.eye(4)[DEAD])
        steps.append(step)
    return forward_backward(start, steps, likelihood)


def test_likelihood_of_the_heart_transplant_patients(patients: pd.DataFrame) -> None:
    assert patients["PTNUM"].nunique() == 622
    total = sum(follow_patient(rows)[0] for _, rows in patients.groupby("PTNUM"))
    assert -2 * total == pytest.approx(3933.737906, abs=1e-3)


def test_smoothed_chances_of_a_patient(patients: pd.DataFrame) -> None:
    _, chances = follow_patient(patients[patients["PTNUM"] == 100103], exact=False)
    mild = [0, 0.1226934495, 0.8949008478, 0.3751737001, 0.3341558209, 0.0226154574, 0.0009236213]
    severe = [0, 0, 0.0941843399, 0.6248262999, 0.6658441791, 0.9773845426, 0.9990763787]
    np.testing.assert_allclose(chances[: len(mild), 1], mild, atol=1e-6)
    np.testing.assert_allclose(chances[: len(severe), 2], severe, atol=1e-6)
