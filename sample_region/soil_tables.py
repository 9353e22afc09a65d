"""The rows of the soil-survey tables for the invented catalog of soils."""

from __future__ import annotations

from typing import Any, Final

from sample_region.soil_catalog import SOIL, Layer, Soil
from sample_region.soil_units import UNITS, MapUnit

Row = dict[str, Any]
AREA: Final = "ZZ001"
AREA_NAME: Final = "Fennimarsh County, Nowhere (invented)"
LKEY: Final = "990001"
MONTHS: Final = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
TEXTURES: Final = {
    "S": "Sand",
    "LS": "Loamy sand",
    "LFS": "Loamy fine sand",
    "SL": "Sandy loam",
    "L": "Loam",
    "SIL": "Silt loam",
    "CL": "Clay loam",
    "SICL": "Silty clay loam",
    "SIC": "Silty clay",
    "C": "Clay",
    "MUCK": "Muck",
    "BR": "Bedrock",
    "GR-S": "Gravelly sand",
    "CB-L": "Cobbly loam",
}
IN_LIEU: Final = ("MUCK", "BR")
WET_ORDER: Final = (
    "Excessively drained",
    "Somewhat excessively drained",
    "Well drained",
    "Moderately well drained",
    "Somewhat poorly drained",
    "Poorly drained",
    "Very poorly drained",
)
ORDERS: Final = (
    ("alf", "Alfisols"),
    ("oll", "Mollisols"),
    ("ent", "Entisols"),
    ("ept", "Inceptisols"),
    ("ist", "Histosols"),
    ("psamment", "Entisols"),
)


def mukey(number: int) -> str:
    """Map unit key of the unit with this place in the catalog."""
    return str(9_900_100 + number)


def soil_rows(acres: dict[int, int]) -> dict[str, list[Row]]:
    """Rows of every table; `acres` gives the extent of each map unit by its place."""
    tables: dict[str, list[Row]] = {name: [] for name in _WRITTEN}
    tables["legend"].append(_legend(acres))
    tables["sacatalog"].append(_catalog())
    for number, unit in enumerate(UNITS):
        key = mukey(number)
        tables["mapunit"].append(_mapunit(unit, key, acres.get(number, 0)))
        tables["muaggatt"].append(_aggregate(unit, key))
        for place, (name, percent) in enumerate(unit.mixture):
            cokey = str(99_100_000 + number * 100 + place)
            major = percent >= 25
            tables["component"].append(_component(unit, SOIL[name], percent, major, key, cokey))
            if major or not SOIL[name].misc:
                _add_soil(tables, SOIL[name], cokey)
    return tables


_WRITTEN: Final = (
    "legend",
    "mapunit",
    "component",
    "chorizon",
    "comonth",
    "cosoilmoist",
    "corestrictions",
    "chtexturegrp",
    "chtexture",
    "muaggatt",
    "sacatalog",
)


def _legend(acres: dict[int, int]) -> Row:
    return {
        "areatypename": "Non-MLRA Soil Survey Area",
        "areasymbol": AREA,
        "areaname": AREA_NAME,
        "areaacres": sum(acres.values()),
        "legenddesc": "Detailed Soil Map Legend",
        "ssastatus": "Out-of-date",
        "projectscale": 12000,
        "lkey": LKEY,
    }


def _catalog() -> Row:
    return {
        "areasymbol": AREA,
        "areaname": AREA_NAME,
        "saversion": 3,
        "saverest": "09/01/2025 12:00:00",
        "tabularversion": 3,
        "tabularverest": "09/01/2025 12:00:00",
        "tabnasisexportdate": "08/15/2025 12:00:00",
        "tabcertstatus": "not certified",
        "tabcertstatusdesc": 'An invented area.\n\nIts soils are "made up" for a demonstration.',
        "sacatalogkey": "990001",
    }


def _mapunit(unit: MapUnit, key: str, acres: int) -> Row:
    majors = [name for name, percent in unit.mixture if percent >= 25]
    return {
        "musym": unit.symbol,
        "muname": unit.name,
        "mukind": "Complex" if len(majors) > 1 else "Consociation",
        "muacres": acres,
        "farmlndcl": "Not prime farmland",
        "invesintens": "Order 2",
        "lkey": LKEY,
        "mukey": key,
    }


def _component(unit: MapUnit, soil: Soil, percent: int, major: bool, key: str, cokey: str) -> Row:
    low, middle, high = unit.slope
    row: Row = {
        "comppct_l": max(percent - 8, 0),
        "comppct_r": percent,
        "comppct_h": min(percent + 8, 100),
        "compname": soil.name,
        "compkind": _kind(soil),
        "majcompflag": major,
        "hydricrating": "No" if soil.misc and soil.name != "Water" else soil.hydric,
        "drainagecl": soil.drainage,
        "hydgrp": soil.group,
        "mukey": key,
        "cokey": cokey,
    }
    if soil.name != "Water":
        row |= {"slope_l": low, "slope_r": middle, "slope_h": high}
    if soil.subgroup:
        great = soil.subgroup.split()[-1]
        row |= {
            "taxclname": f"Invented, mixed, mesic {soil.subgroup}",
            "taxorder": _order(great),
            "taxgrtgroup": great,
            "taxsubgrp": soil.subgroup,
            "frostact": "Moderate",
            "totalsub_l": 60 if great.endswith("ists") else 0,
            "totalsub_r": 90 if great.endswith("ists") else 0,
            "totalsub_h": 120 if great.endswith("ists") else 0,
        }
    return row


def _kind(soil: Soil) -> str:
    if soil.misc:
        return "Miscellaneous area"
    return "Taxon above family" if soil.name == "Udorthents" else "Series"


def _order(great: str) -> str:
    word = great.lower().removesuffix("s")
    return next(order for ending, order in ORDERS if word.endswith(ending))


def _add_soil(tables: dict[str, list[Row]], soil: Soil, cokey: str) -> None:
    for place, layer in enumerate(soil.layers):
        _add_layer(tables, layer, cokey, f"{cokey}{place}")
    if soil.restriction is not None:
        kind, hardness, top = soil.restriction
        tables["corestrictions"].append(
            {
                "reskind": kind,
                "reshard": hardness,
                "resdept_l": top - 15,
                "resdept_r": top,
                "resdept_h": top + 15,
                "resdepb_r": 200,
                "cokey": cokey,
                "corestrictkey": f"{cokey}7",
            }
        )
    if not soil.misc:
        for month in range(1, 13):
            _add_month(tables, soil, cokey, month)


def _add_layer(tables: dict[str, list[Row]], layer: Layer, cokey: str, chkey: str) -> None:
    rock = layer.texture == "BR"
    organic = layer.texture == "MUCK"
    row: Row = {
        "hzname": layer.name,
        "hzdept_r": layer.top_cm,
        "hzdepb_r": layer.bottom_cm,
        **_three("ksat", layer.ksat, layer.ksat * 0.45, layer.ksat * 2.0),
        "cokey": cokey,
        "chkey": chkey,
    }
    if not rock:
        row |= {
            **_three("om", layer.organic, layer.organic * 0.5, layer.organic * 1.6),
            **_three("dbthirdbar", layer.density, layer.density - 0.1, layer.density + 0.1),
            "frag3to10_r": layer.cobbles,
            "fraggt10_r": layer.cobbles // 4,
        }
    if not rock and not organic:
        row |= {
            **_three("sandtotal", layer.sand, layer.sand * 0.8, min(layer.sand * 1.15, 100)),
            **_three("silttotal", 100 - layer.sand - layer.clay, None, None),
            **_three("claytotal", layer.clay, layer.clay * 0.8, layer.clay * 1.2),
        }
    tables["chorizon"].append(row)
    words = TEXTURES[layer.texture]
    tables["chtexturegrp"].append(
        {
            "texture": layer.texture,
            "stratextsflag": False,
            "rvindicator": True,
            "texdesc": words,
            "chkey": chkey,
            "chtgkey": f"{chkey}1",
        }
    )
    plain = (
        words
        if layer.texture in IN_LIEU
        else words.split(" ", 1)[-1].capitalize()
        if "-" in layer.texture
        else words
    )
    tables["chtexture"].append(
        {
            "lieutex" if layer.texture in IN_LIEU else "texcl": plain,
            "chtgkey": f"{chkey}1",
            "chtkey": f"{chkey}2",
        }
    )


def _three(name: str, middle: float, low: float | None, high: float | None) -> Row:
    row: Row = {f"{name}_r": round(middle, 2)}
    if low is not None and high is not None:
        row |= {f"{name}_l": round(low, 2), f"{name}_h": round(high, 2)}
    return row


def _add_month(tables: dict[str, list[Row]], soil: Soil, cokey: str, month: int) -> None:
    wet = soil.wet_cm is not None and month in soil.wet_months
    key = f"{cokey}{month:02d}"
    flood = soil.flooding if soil.flooding != "None" and month in (3, 4, 5, 6, 11, 12) else "None"
    pond = soil.ponding if wet else "None"
    tables["comonth"].append(
        {
            "monthseq": month,
            "month": MONTHS[month - 1],
            "flodfreqcl": flood,
            "floddurcl": "Brief (2 to 7 days)" if flood != "None" else None,
            "pondfreqcl": pond,
            "ponddurcl": "Long (7 to 30 days)" if pond != "None" else None,
            "cokey": cokey,
            "comonthkey": key,
        }
    )
    for place, (top, bottom, status) in enumerate(_moisture(soil, wet)):
        tables["cosoilmoist"].append(
            {
                "soimoistdept_l": max(top - 15, 0),
                "soimoistdept_r": top,
                "soimoistdept_h": top + 15,
                "soimoistdepb_r": bottom,
                "soimoiststat": status,
                "comonthkey": key,
                "cosoilmoistkey": f"{key}{place}",
            }
        )


def _moisture(soil: Soil, wet: bool) -> list[tuple[int, int, str]]:
    if not wet or soil.wet_cm is None:
        return [(0, 200, "Moist")]
    top = soil.wet_cm
    above = [(0, top, "Moist")] if top > 0 else []
    if soil.perched:
        return [*above, (top, top + 70, "Wet"), (top + 70, 200, "Moist")]
    return [*above, (top, 200, "Wet")]


def _aggregate(unit: MapUnit, key: str) -> Row:
    """Sum up what can be summed up plainly; the interpretations are left empty."""
    soils = [(SOIL[name], percent) for name, percent in unit.mixture]
    main = max(soils, key=lambda pair: pair[1])[0]
    drained = [s.drainage for s, _ in soils if s.drainage is not None]
    wet = [s.wet_cm for s, p in soils if s.wet_cm is not None and p >= 25]
    rock = [
        s.restriction[2]
        for s, _ in soils
        if s.restriction is not None and s.restriction[0] == "Lithic bedrock"
    ]
    return {
        "musym": unit.symbol,
        "muname": unit.name,
        "slopegraddcp": None if main.misc else unit.slope[1],
        "brockdepmin": min(rock, default=None),
        "wtdepannmin": min(wet, default=None),
        "drclassdcd": main.drainage,
        "drclasswettest": max(drained, key=WET_ORDER.index, default=None),
        "hydgrpdcd": main.group,
        "hydclprs": str(sum(p for s, p in soils if s.hydric == "Yes")),
        "mukey": key,
    }
