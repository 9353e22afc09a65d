"""Damage to replies of the water-level and water-quality services."""

from __future__ import annotations

import json
import random
from typing import Any

from tests.damage.structures import JSON_VALUES, damage
from tests.damage.texts import damage_bytes, damage_rows


def damage_json(data: bytes, dice: random.Random) -> tuple[bytes, str]:
    """Damage a JSON reply: one of its values, or its bytes."""
    if dice.random() < 0.2:
        return damage_bytes(data, dice)
    done = damage(json.loads(data), dice, JSON_VALUES)
    return json.dumps(done.content).encode(), f"{done.place} {done.what}"


def damage_delimited(data: bytes, sign: str, dice: random.Random) -> tuple[bytes, str]:
    """Damage a delimited reply: its rows below the comments, or its bytes."""
    if dice.random() < 0.3:
        return damage_bytes(data, dice)
    lines = data.decode("utf-8", "replace").split("\n")
    first = next(n for n, line in enumerate(lines) if not line.startswith("#"))
    return damage_rows(data, sign, dice, first=first)


def level_features(count: int = 3) -> dict[str, Any]:
    """A whole reply of the feature service with depths to water, all invented."""
    return {
        "type": "FeatureCollection",
        "numberReturned": count,
        "features": [
            {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": [-93.0 - n / 100, 45.0]},
                "properties": {
                    "monitoring_location_id": f"USGS-0{n}",
                    "parameter_code": "72019",
                    "value": f"{10 + n}.5",
                    "unit_of_measure": "ft",
                    "time": f"2014-06-1{n}T16:00:27+00:00",
                    "vertical_datum": None,
                    "qualifier": None,
                },
            }
            for n in range(count)
        ],
    }


def waterml(count: int = 3) -> dict[str, Any]:
    """A whole reply of the older service in its JSON form, all invented."""
    return {
        "name": "ns1:timeSeriesResponseType",
        "value": {
            "timeSeries": [
                {
                    "sourceInfo": {
                        "siteCode": [{"value": "01", "agencyCode": "USGS"}],
                        "geoLocation": {
                            "geogLocation": {"srs": "EPSG:4326", "latitude": 45.0,
                                             "longitude": -93.0}
                        },
                    },
                    "variable": {
                        "variableCode": [{"value": "72019"}],
                        "unit": {"unitCode": "ft"},
                        "noDataValue": -999999.0,
                    },
                    "values": [
                        {"value": [
                            {"value": f"{10 + n}.5", "dateTime": f"2014-06-1{n}T00:00:00.000"}
                            for n in range(count)
                        ]}
                    ],
                }
            ]
        },
    }  # fmt: skip
