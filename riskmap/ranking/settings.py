"""The ``[learning]`` and ``[service]`` sections: what is learned from records, and when."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from riskmap.contract.settings import JUDGED, Section, setting


@dataclass(frozen=True)
class LearningSettings(Section):
    """Learning from visits, judged on places held out."""

    use: Literal["off", "compare", "allow"] = setting(
        "compare", "Learning from visits: not at all, compared with the condition model and "
        "reported, or allowed to replace it where it is surely better",
    )  # fmt: skip
    service: Literal["off", "infer"] = setting(
        "infer", "Whether to infer sewer or onsite for built parcels of which no record says it"
    )
    window_yr: float = setting(
        5.0, "Years before the run whose visits are learned from", unit="yr", low=0.5, high=30,
        source=JUDGED,
    )  # fmt: skip
    block_m: float = setting(
        2000.0, "Side of the places held out; wider than the distance over which neighbors fail "
        "together", unit="m", low=100, high=100_000, source=JUDGED,
    )  # fmt: skip
    buffer_m: float = setting(
        500.0, "Ground around a place held out that is not learned from", unit="m", low=0,
        high=100_000, source=JUDGED,
    )  # fmt: skip
    folds: int = setting(5, "Parts that the places are held out in", low=2, high=50, source=JUDGED)
    repeats: int = setting(
        2, "Times the places are assigned to folds again", low=1, high=50,
        source="on the sample county three moved differences by less than a tenth of their width",
    )  # fmt: skip
    rounds: int = setting(
        60, "Trees of the boosted classifier", low=1, high=5000,
        source="about 10 seconds of one processor for 1,000 visits; on the sample county 100 moved "
        "differences by less than a tenth of their width",
    )  # fmt: skip
    resamples: int = setting(
        300, "Samples of whole places behind the intervals", low=50, high=100_000, source=JUDGED
    )
    min_failures: int = setting(
        15, "Failures found below which nothing is learned", low=5, high=10**6, source=JUDGED
    )
    min_visits: int = setting(
        100, "Visits below which nothing is learned", low=10, high=10**7, source=JUDGED
    )
    many_visits: int = setting(
        300, "Visits below which only the strongly shrunk logistic model is tried", low=10,
        high=10**7, source=JUDGED,
    )  # fmt: skip
    min_blocks: int = setting(
        15, "Places below which nothing is learned", low=2, high=10**6, source=JUDGED
    )


@dataclass(frozen=True)
class ServiceSettings(Section):
    """Inferring sewer or onsite, judged on places held out."""

    sure_frac: float = setting(
        0.85, "Confidence below which a parcel stays unknown", unit="0-1", low=0.5, high=1,
        source=JUDGED,
    )  # fmt: skip
    min_of_each: int = setting(
        100, "Labeled parcels of each kind below which nothing is inferred", low=10, high=10**7,
        source=JUDGED,
    )  # fmt: skip
    block_m: float = setting(
        1000.0, "Side of the places held out; a sewered town may be no wider than two of them",
        unit="m", low=100, high=100_000, source=JUDGED,
    )  # fmt: skip
    buffer_m: float = setting(
        250.0, "Ground around a place held out that is not learned from", unit="m", low=0,
        high=100_000, source=JUDGED,
    )  # fmt: skip
    folds: int = setting(5, "Parts that the places are held out in", low=2, high=50, source=JUDGED)
    rounds: int = setting(60, "Trees of the classifier", low=1, high=5000, source=JUDGED)
