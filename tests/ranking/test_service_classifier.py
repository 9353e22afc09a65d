from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from riskmap.contract.errors import ModelError
from riskmap.ranking.service_classifier import (
    PUBLISHED,
    Service,
    infer_service,
)
from riskmap.ranking.settings import ServiceSettings

QUICK = ServiceSettings(rounds=25, folds=4, block_m=1500)


def county(
    n: int = 1600, *, known: float = 0.6
) -> tuple[pd.DataFrame, pd.Series, np.ndarray, np.ndarray, np.ndarray]:
    """A sewered town in the middle; sewer reaches parcels near its lines, with exceptions."""
    rng = np.random.default_rng(0)
    x, y = rng.random(n) * 10_000, rng.random(n) * 10_000
    line = np.abs(np.hypot(x - 5000, y - 5000) - 1000) + rng.gamma(1.0, 300, n)
    lot = np.exp(rng.normal(7.5 + line / 3000, 0.5))
    onsite = rng.random(n) < 1 / (1 + np.exp(-(line - 1500) / 250))
    features = pd.DataFrame({"sewer_line_m": line, "lot_m2": lot})
    features.loc[::9, "lot_m2"] = np.nan
    service = pd.Series(np.where(onsite, "onsite", "sewer"), dtype="object")
    service[rng.random(n) > known] = "unknown"
    service.iloc[:5] = "none"
    return features, service, x, y, onsite


@pytest.fixture(scope="module")
def inferred() -> Service:
    features, service, x, y, _ = county()
    return infer_service(features, service, x, y, settings=QUICK, seed=0)


class TestKnownAnswers:
    def test_the_inferred_are_as_right_as_promised(self, inferred: Service) -> None:
        _, _, _, _, onsite = county()
        filled = (inferred.table["service_evidence"] == "inferred").to_numpy()
        right = (inferred.table["service"] == "onsite").to_numpy() == onsite
        assert inferred.accuracy is not None
        assert filled.sum() > 300
        assert right[filled].mean() == pytest.approx(inferred.accuracy.accuracy_decided, abs=0.04)
        assert right[filled].mean() > 0.9
        assert inferred.accuracy.accuracy_decided > inferred.accuracy.accuracy

    def test_unsure_parcels_stay_unknown(self, inferred: Service) -> None:
        _, service, _, _, _ = county()
        table = inferred.table[(service == "unknown").to_numpy()]
        unsure = table["service_confidence"] < QUICK.sure_frac
        assert unsure.any()
        assert (table.loc[unsure, "service"] == "unknown").all()
        assert (table.loc[unsure, "service_evidence"] == "unknown").all()
        assert (table.loc[~unsure, "service_evidence"] == "inferred").all()

    def test_known_parcels_are_left_alone(self, inferred: Service) -> None:
        _, service, _, _, _ = county()
        known = (service != "unknown").to_numpy()
        assert (inferred.table["service"].to_numpy()[known] == service.to_numpy()[known]).all()
        assert inferred.table["service_confidence"][known].isna().all()
        assert (inferred.table["service_evidence"][known] == "measured").all()
        assert inferred.table.index.equals(service.index)

    def test_published_figures_stand_beside_ours(self, inferred: Service) -> None:
        """da Luz, Taneja and Kumpel (2025): 91.8% in state, 81.9% moved to another."""
        assert [value for _, value in PUBLISHED] == [0.918, 0.819]
        assert "91.8% same state" in inferred.words
        assert "81.9%" in inferred.words
        assert "random split, too high" in inferred.words


class TestRefusals:
    def test_too_few_labels(self) -> None:
        features, service, x, y, _ = county(300, known=0.3)
        found = infer_service(features, service, x, y, settings=QUICK, seed=0)
        assert found.accuracy is None
        assert "was not inferred" in found.words
        assert (found.table["service"] == service).all()

    def test_protected_attribute(self) -> None:
        features, service, x, y, _ = county(300)
        with pytest.raises(ModelError, match="protected"):
            infer_service(features.assign(median_income=1.0), service, x, y, settings=QUICK, seed=0)

    def test_no_open_parcels(self) -> None:
        features, _, x, y, onsite = county(600)
        full = pd.Series(np.where(onsite, "onsite", "sewer"))
        found = infer_service(
            features,
            full,
            x,
            y,
            evidence=pd.Series("mapped", index=full.index),
            settings=QUICK,
            seed=0,
        )
        assert (found.table["service_evidence"] == "mapped").all()
