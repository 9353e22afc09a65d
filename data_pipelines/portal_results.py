"""Turns water-quality portal results (one row per analysis) into well samples.

Nitrate comes in two measures that differ by a factor of 4.43: as nitrogen (N) and as nitrate
(NO3). Which one it is stands in the speciation column, in the unit, or in the parameter code; a
result that says neither is not used. Nitrate plus nitrite counts as nitrate (nitrite is as a rule
negligible in well water: common practice, no source).
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Final

import pandas as pd

from data_pipelines.dates import to_date
from data_pipelines.defect_log import DefectLog
from data_pipelines.values import SET_MISSING, plain_number, within_bounds
from riskmap.contract.layers import WELL_SAMPLES
from riskmap.contract.sources import ColumnSource
from riskmap.contract.units import NITRATE_TO_N

FIELDS: Final[tuple[Mapping[str, str], ...]] = (
    {
        "site": "MonitoringLocationIdentifier",
        "site_type": "MonitoringLocationTypeName",
        "date": "ActivityStartDate",
        "activity": "ActivityIdentifier",
        "activity_type": "ActivityTypeCode",
        "what": "CharacteristicName",
        "speciation": "MethodSpeciationName",
        "value": "ResultMeasureValue",
        "unit": "ResultMeasure/MeasureUnitCode",
        "detection": "ResultDetectionConditionText",
        "limit": "DetectionQuantitationLimitMeasure/MeasureValue",
        "limit_unit": "DetectionQuantitationLimitMeasure/MeasureUnitCode",
        "status": "ResultStatusIdentifier",
        "code": "USGSPCode",
    },
    {
        "site": "Location_Identifier",
        "site_type": "Location_Type",
        "date": "Activity_StartDate",
        "activity": "Activity_ActivityIdentifier",
        "activity_type": "Activity_TypeCode",
        "what": "Result_Characteristic",
        "speciation": "Result_MethodSpeciation",
        "value": "Result_Measure",
        "unit": "Result_MeasureUnit",
        "detection": "Result_ResultDetectionCondition",
        "limit": "DetectionLimit_MeasureA",
        "limit_unit": "DetectionLimit_MeasureUnitA",
        "status": "Result_MeasureStatusIdentifier",
        "code": "USGSpcode",
    },
)
"""Column names of the old and the new profile."""

NITRATE: Final = {
    "nitrate": 0,
    "nitrate as n": 0,
    "nitrate-n": 0,
    "nitrate as nitrogen": 0,
    "inorganic nitrogen (nitrate and nitrite)": 1,
    "inorganic nitrogen (nitrate and nitrite) as n": 1,
    "nitrate + nitrite": 1,
    "nitrate plus nitrite": 1,
    "nitrite + nitrate": 1,
}
"""Characteristic -> preference: nitrate itself before nitrate plus nitrite."""

AS_N_CODES: Final = ("618", "620", "630", "631")
AS_NO3_CODES: Final = ("71850", "71851")
COLIFORM: Final = r"coliform|escherichia coli|^e\.? ?coli"
_MASS: Final = {"mg/l": 1.0, "ppm": 1.0, "ug/l": 0.001, "ppb": 0.001}
_NOT_FOUND: Final = r"not detected|non-detect|below|absent"
_QUALITY_CONTROL: Final = r"quality control|blank|spike|replicate"


def samples_of(
    raw: pd.DataFrame, log: DefectLog, *, day: datetime.date | None = None
) -> pd.DataFrame:
    """Make one row per site, date and activity from results under the names of :data:`FIELDS`.

    Dates after `day` are missing; see :func:`data_pipelines.dates.to_date`.
    """
    raw = _usable(raw, log)
    nitrate = _nitrate(raw[raw["what"].str.lower().isin(NITRATE).fillna(False).astype(bool)], log)
    is_coliform = raw["what"].str.contains(COLIFORM, case=False).fillna(False).astype(bool)
    coliform = _coliform(raw[is_coliform], log)
    _report_others(raw[~raw.index.isin(nitrate.index.union(coliform.index))], log)
    keys = raw[["site", "date", "activity"]].copy()
    keys["activity"] = keys["activity"].fillna("")
    rows = keys.loc[nitrate.index.union(coliform.index, sort=False)]
    table = rows.join(nitrate).join(coliform)
    table = table.sort_values("preference", kind="stable", na_position="last")
    first = table.groupby(["site", "date", "activity"], sort=False, dropna=False)
    best = first[["nitrate_mg_l", "nitrate_below_limit"]].head(1)
    any_found = first["coliform"].transform("max")
    chosen = table.loc[best.index].assign(coliform=any_found.loc[best.index])
    chosen = chosen.loc[raw.index[raw.index.isin(chosen.index)]]
    if len(chosen) < len(table):
        told = f"{len(table)} results of {len(chosen)} samples"
        log.note("", "several_results", told, "one row a sample, the preferred result")
    column = WELL_SAMPLES.column("date")
    date = to_date(chosen["date"], column, ColumnSource(), log, day=day)
    return pd.DataFrame(
        {
            "well_id": chosen["site"].astype("string"),
            "date": date,
            "nitrate_mg_l": chosen["nitrate_mg_l"].astype("float64"),
            "nitrate_below_limit": chosen["nitrate_below_limit"].astype("boolean"),
            "coliform": chosen["coliform"].astype("boolean"),
        },
        index=chosen.index,
    )


def _report_others(raw: pd.DataFrame, log: DefectLog) -> None:
    """Count the results that are neither nitrate nor coliform bacteria."""
    for what, count in raw["what"].fillna("(none)").value_counts().sort_index().items():
        log.note("", "other_characteristic", f"{what}: {count} results", "left out")


def _usable(raw: pd.DataFrame, log: DefectLog) -> pd.DataFrame:
    control = raw["activity_type"].str.contains(_QUALITY_CONTROL, case=False)
    control = control.fillna(False).astype(bool)
    log.add("", "quality_control", raw.loc[control, "activity_type"], "left out")
    rejected = raw["status"].str.lower().eq("rejected").fillna(False).astype(bool) & ~control
    log.add("", "rejected_result", raw.loc[rejected, "what"].fillna(""), "left out")
    return raw[~control & ~rejected]


def _nitrate(raw: pd.DataFrame, log: DefectLog) -> pd.DataFrame:
    """Nitrate in mg/L as N, whether it is only a limit, and how much each row is preferred."""
    less = raw["value"].str.startswith("<").fillna(False).astype(bool)
    number = plain_number(raw["value"].str.lstrip("< "))
    wrong = number.isna() & raw["value"].notna()
    log.add("nitrate_mg_l", "not_a_number", raw.loc[wrong, "value"], SET_MISSING)
    below = less | raw["detection"].str.contains(_NOT_FOUND, case=False).fillna(False).astype(bool)
    missing = below & number.isna()
    number = number.mask(missing, plain_number(raw["limit"]))
    unit = raw["unit"].mask(missing, raw["limit_unit"].fillna(raw["unit"]))
    value = number * _mass_factor(unit, number, log) * _basis_factor(raw, unit, number, log)
    log.add("nitrate_mg_l", "limit_not_given", raw.loc[missing & number.isna(), "what"], "kept")
    silent = raw["value"].isna() & ~below
    log.add("nitrate_mg_l", "no_value", raw.loc[silent, "site"].fillna(""), "left empty")
    value = within_bounds(
        value.astype("float64"), WELL_SAMPLES.column("nitrate_mg_l"), log, raw=raw["value"]
    )
    flag = below.astype("boolean").mask(value.isna() & ~below)
    preference = raw["what"].str.lower().map(NITRATE).astype("float64")
    preference += 2.0 * raw["speciation"].str.contains("NO3").fillna(False).astype(float)
    preference += 10.0 * value.isna()
    return pd.DataFrame(
        {"nitrate_mg_l": value, "nitrate_below_limit": flag, "preference": preference}
    )


def _mass_factor(unit: pd.Series, number: pd.Series, log: DefectLog) -> pd.Series:
    plain = unit.str.lower().str.extract(r"^\s*(mg/l|ug/l|ppm|ppb)", expand=False)
    factor = plain.map(_MASS).astype("float64")
    unknown = factor.isna() & number.notna()
    log.add("nitrate_mg_l", "unknown_unit", unit[unknown].fillna(""), SET_MISSING)
    return factor


def _basis_factor(
    raw: pd.DataFrame, unit: pd.Series, number: pd.Series, log: DefectLog
) -> pd.Series:
    """1 for results as N, 0.2259 for results as NO3, NaN where the basis is unknown."""
    said = raw["speciation"].fillna("") + " " + unit.fillna("") + " " + raw["what"].fillna("")
    code = raw["code"].str.lstrip("0")
    as_n = said.str.contains(r"\bas ?N\b|\bN\b|inorganic nitrogen|nitrate-n", case=False)
    as_no3 = said.str.contains(r"NO3", case=False) | code.isin(AS_NO3_CODES).fillna(False)
    as_n = (as_n | code.isin(AS_N_CODES).fillna(False)) & ~as_no3
    factor = pd.Series(float("nan"), index=raw.index)
    factor = factor.mask(as_n.astype(bool), 1.0).mask(as_no3.astype(bool), NITRATE_TO_N)
    unknown = factor.isna() & number.notna()
    log.add("nitrate_mg_l", "nitrate_basis_unknown", raw.loc[unknown, "value"], SET_MISSING)
    return factor


def _coliform(raw: pd.DataFrame, log: DefectLog) -> pd.DataFrame:
    """Whether coliform bacteria were found: a count above 0, or a word."""
    text = (raw["value"].fillna("") + " " + raw["detection"].fillna("")).str.lower()
    number = plain_number(raw["value"])
    absent = text.str.contains(_NOT_FOUND) | number.eq(0) | text.str.strip().str.startswith("<")
    present = (text.str.contains("present") & ~text.str.contains("below")) | number.gt(0)
    found = pd.Series(pd.NA, index=raw.index, dtype="boolean")
    found = found.mask(present.astype(bool), True).mask(absent.astype(bool), False)
    log.add("coliform", "unknown_code", raw.loc[found.isna(), "value"].fillna(""), SET_MISSING)
    return pd.DataFrame({"coliform": found})
