"""What a run gives: a view of what is kept, each thing read, or made, when it is asked for."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import TYPE_CHECKING, Any

from riskmap.contract.layers import LAYERS
from riskmap.stages.county import County, county_of

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from riskmap.condition.fit import Fit
    from riskmap.failure.aging import AgingModel
    from riskmap.failure.calibration import FieldMargin
    from riskmap.ranking.explanations import Explanation
    from riskmap.ranking.model import Model
    from riskmap.ranking.service_classifier import Service
    from riskmap.region.sections import Region
    from riskmap.stages.doubt import CountyDoubt
    from riskmap.stages.drift import CountyDrift
    from riskmap.stages.fairness import CountyFairness
    from riskmap.stages.groundwater import Groundwater
    from riskmap.stages.kept_backtest import KeptBacktest
    from riskmap.stages.learning import Learning
    from riskmap.stages.validation import WellValidation
    from riskmap.stages.zones import Planning


class Result:
    """What a run gives; reading an attribute reads what is kept, or makes it.

    Parameters
    ----------
    region
        The region that was run.
    things
        What its stages gave, by name.
    layers
        Layers that may be read.
    """

    parcels: gpd.GeoDataFrame
    """One row per parcel (index ``parcel_id``): lot polygons, features with evidence, points,
    scores, ranks, reasons, doubt."""
    model: Model
    """The scoring model."""
    features: pd.DataFrame
    """What is known of each parcel, with evidence marks."""
    areas: gpd.GeoDataFrame
    """The likely treatment areas as drawn."""
    soil_shares: pd.DataFrame
    """Map units under each treatment area."""
    component_ratings: pd.DataFrame
    """The soil rule's answer for each component."""
    service_history: pd.DataFrame
    """Lives of systems from the permits."""
    service: Service | None
    """What was inferred of sewer or onsite; None where nothing was open."""
    condition_fit: Fit | None
    """The condition model fitted to the county's records; None where nobody has a system."""
    ledgers: pd.DataFrame
    """How the chance of each system on the season's lists comes about, term by term."""
    aging: Mapping[str, AgingModel]
    """Curves by kind, learned from the county's permits or kept as published."""
    field_margin: FieldMargin
    """How much more than the sizing rule's rate the county's fields were found to pass."""
    replacement_places: gpd.GeoDataFrame
    """The best place for another field, where there is one."""
    groundwater: Groundwater | None
    """Wells, pairs and surface behind the groundwater columns; None without terrain."""
    learning: Learning | None
    """What came of learning from visits; None where it is off or there are none."""
    learned_reasons: Explanation | None
    """Shares behind the learned odds of the listed systems; None where the score ranks."""
    backtest: KeptBacktest | None
    """What an earlier list would have found; None where the region names none."""
    doubt: CountyDoubt | None
    """What the chances are about and which records to collect; None where none was computed."""
    fairness: CountyFairness | None
    """How picks fall across neighborhoods; None where there are none to compare."""
    drift: CountyDrift | None
    """What changed since an earlier run; None where none was named."""
    planning: Planning | None
    """Zones and capture areas; None without terrain."""
    well_validation: WellValidation | None
    """Predictions held against the county's samples."""
    data_quality: pd.DataFrame
    """Every defect met, with what was done about it."""
    inputs: Mapping[str, str]
    """Every file read, with its SHA-256."""
    fetched: list[dict[str, Any]]
    """Of the files that `riskmap fetch` brought: origin, license, citation, vintage."""

    def __init__(
        self, region: Region, things: Mapping[str, Any], layers: tuple[str, ...] = tuple(LAYERS)
    ) -> None:
        self.region = region
        self.things = things
        """Everything that was given, by name; the attributes above are what people want of it."""
        self._layers = layers

    @cached_property
    def county(self) -> County:
        """The region file and the layers read."""
        return county_of(self.region, self.things, self._layers)

    def with_things(self, **changed: Any) -> Result:
        """Return the same result with some things replaced."""
        return Result(self.region, _Changed(changed, self.things), self._layers)

    def __getattr__(self, name: str) -> Any:
        """Read a thing; only names that are annotated above are things."""
        if name.startswith("_") or name not in Result.__annotations__:
            raise AttributeError(f"a result has no {name!r}")
        return self.things[name]

    def __dir__(self) -> list[str]:
        return sorted({*super().__dir__(), *Result.__annotations__})


class _Changed(dict[str, Any]):
    """Things of which some are replaced."""

    def __init__(self, changed: Mapping[str, Any], behind: Mapping[str, Any]) -> None:
        super().__init__(changed)
        self._behind = behind

    def __missing__(self, name: str) -> Any:
        return self._behind[name]
