from __future__ import annotations

import geopandas as gpd
import pytest
import shapely

from riskmap.contract.rules import Rules
from riskmap.inventory.service import describe_service

LOT = shapely.box(0, 0, 40, 40)
HOUSE = shapely.box(5, 5, 15, 15)


def service_of(parcels: gpd.GeoDataFrame, *, rules: Rules | None = None, **layers: object):
    return describe_service(parcels, rules=rules or Rules(), **layers)


def layer(*shapes: object, **columns: object) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=32616)


NO_SEWER_HERE = layer(shapely.box(900, 900, 999, 999))


def only(result):
    return tuple(result.iloc[0][["service", "service_evidence", "service_reason"]])


class TestOrder:
    def test_county_record_before_permit(self, lots, same_index):
        parcels = lots([LOT], service=["sewer"])
        result = service_of(parcels, permits=layer(None, parcel_id=["p0"]))
        same_index(result, parcels)
        assert only(result) == ("sewer", "measured", "county record")

    def test_permit_before_sewer_area(self, lots):
        result = service_of(
            lots([LOT]), permits=layer(None, parcel_id=["p0"]), sewer_area=layer(LOT)
        )
        assert only(result)[:2] == ("onsite", "measured")

    def test_sewer_area_before_land_use(self, lots):
        parcels = lots([LOT], land_use=["residential"], improved=[True])
        assert only(service_of(parcels, sewer_area=layer(LOT)))[:2] == ("sewer", "mapped")

    def test_vacant_lot_in_the_sewer_area_has_no_service(self, lots):
        parcels = lots([LOT], land_use=["vacant"])
        assert only(service_of(parcels, sewer_area=layer(LOT)))[0] == "none"

    def test_vacant_use_with_a_listed_building_is_onsite(self, lots):
        parcels = lots([LOT], land_use=["vacant"], improved=[True])
        assert only(service_of(parcels, sewer_area=NO_SEWER_HERE))[0] == "onsite"

    def test_assessor_lists_no_building(self, lots):
        parcels = lots([LOT], land_use=["residential"], improved=[False])
        assert only(service_of(parcels, sewer_area=NO_SEWER_HERE))[0] == "none"

    def test_year_built_is_a_building(self, lots):
        parcels = lots([LOT], land_use=["unknown"], year_built=[1960.0])
        assert only(service_of(parcels, sewer_area=NO_SEWER_HERE))[:2] == (
            "onsite",
            "inferred",
        )

    def test_footprint_alone(self, lots):
        result = service_of(lots([LOT]), buildings=layer(HOUSE), sewer_area=NO_SEWER_HERE)
        assert only(result) == (
            "onsite",
            "inferred",
            "building footprint, outside the sewer area",
        )

    def test_shed_is_no_building(self, lots):
        shed = layer(shapely.box(0, 0, 3, 3))
        result = service_of(lots([LOT]), buildings=shed, sewer_area=NO_SEWER_HERE)
        assert only(result) == ("unknown", "unknown", "no record")

    def test_unknown_in_the_record_is_no_record(self, lots):
        parcels = lots([LOT], service=["unknown"], improved=[True])
        assert only(service_of(parcels, sewer_area=NO_SEWER_HERE))[0] == "onsite"


class TestSewerShare:
    @pytest.mark.parametrize(("east", "service"), [(9.9, "onsite"), (10.1, "sewer")])
    def test_half_of_the_main_building_decides(self, lots, east, service):
        # The house spans x 5..15: the sewer area must reach beyond x = 10, though it covers
        # only a quarter of the lot.
        result = service_of(
            lots([LOT], improved=[True]),
            buildings=layer(HOUSE),
            sewer_area=layer(shapely.box(-9, -9, east, 99)),
        )
        assert only(result)[0] == service

    def test_without_footprint_half_of_the_lot_decides(self, lots):
        parcels = lots([LOT, shapely.box(40, 0, 80, 40)], improved=[True, True])
        result = service_of(parcels, sewer_area=layer(shapely.box(0, 0, 45, 40)))
        assert result["service"].tolist() == ["sewer", "onsite"]

    def test_without_sewer_map_a_built_lot_is_unknown(self, lots):
        parcels = lots([LOT], improved=[True])
        assert only(service_of(parcels)) == (
            "unknown",
            "unknown",
            "building, but no sewer map",
        )
        sure = service_of(parcels, unsewered=True)
        assert only(sure)[0] == "onsite"

    def test_parcel_without_shape(self, lots):
        parcels = lots([None, LOT], improved=[True, None])
        result = service_of(parcels, sewer_area=layer(LOT), buildings=layer(HOUSE))
        assert result["service"].tolist() == ["onsite", "sewer"]
