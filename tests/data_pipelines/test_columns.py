from __future__ import annotations

from pathlib import Path

import pytest

from data_pipelines.columns import demand_column, resolve
from riskmap.contract.errors import LayerError
from riskmap.contract.layers import PARCELS, WELLS
from riskmap.contract.sources import ColumnSource, Source


def source(layer: str = "parcels", **columns: str) -> Source:
    mapped = {name: ColumnSource(column) for name, column in columns.items()}
    return Source(layer, (Path("file.shp"),), columns=mapped)


def test_absent_column_lists_what_there_is_and_the_nearest():
    with pytest.raises(LayerError) as error:
        resolve(source(parcel_id="PARCEL_NO"), PARCELS, ["PARCELNO", "OWNER", "YR_BUILT"])
    assert "'PARCEL_NO' for parcel_id" in str(error.value)
    assert "Columns: PARCELNO, OWNER, YR_BUILT" in str(error.value)
    assert "nearest is 'PARCELNO'" in str(error.value)


def test_key_without_mapping_is_an_error():
    with pytest.raises(LayerError, match="no source column is named for parcel_id"):
        resolve(source(), PARCELS, ["PIN", "YEAR"])


def test_unknown_canonical_column_is_an_error_with_a_suggestion():
    with pytest.raises(LayerError, match="nearest is 'bedrooms'"):
        resolve(source(parcel_id="PIN", bedroms="BR"), PARCELS, ["PIN", "BR"])


def test_private_columns_are_not_even_looked_for():
    names = ["parcel_id", "owner", "telephone"]
    assert resolve(source(), PARCELS, names) == {"parcel_id": "parcel_id"}
    kept = Source("parcels", (Path("file.shp"),), keep_private=("owner",))
    assert resolve(kept, PARCELS, names) == {"parcel_id": "parcel_id", "owner": "owner"}


def test_mapping_goes_before_defaults_and_defaults_before_the_same_name():
    names = ["site_no", "well_id", "tag"]
    defaults = {"well_id": ("site_no",)}
    assert resolve(source("wells"), WELLS, names, defaults=defaults)["well_id"] == "site_no"
    mapped = resolve(source("wells", well_id="tag"), WELLS, names, defaults=defaults)
    assert mapped["well_id"] == "tag"


def test_case_does_not_matter_but_an_exact_name_wins():
    assert demand_column("fld_zone", ["FLD_ZONE", "fld_zone"], layer="x", purpose="y") == "fld_zone"
    assert demand_column("fld_zone", ["FLD_ZONE"], layer="x", purpose="y") == "FLD_ZONE"
