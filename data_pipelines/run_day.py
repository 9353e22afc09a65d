"""No record can be of a day after the run: two-digit years are put right, other dates told."""

from __future__ import annotations

import datetime

import pandas as pd

from data_pipelines.defect_log import DefectLog
from data_pipelines.values import SET_MISSING
from riskmap.contract.layers import LAYERS
from riskmap.contract.sources import ColumnSource, Source


def hold_to_day(
    frame: pd.DataFrame, source: Source, day: datetime.date, log: DefectLog
) -> pd.DataFrame:
    """Hold the dates and years of a canonical layer against the day of the run.

    A year that ``date_format`` gives in two digits lies in the hundred years up to `day`, so 66 is
    1966. Any other later date or year is set to missing and logged.

    Parameters
    ----------
    frame
        The layer, with its declared columns.
    source
        Its source: the date formats.
    day
        The day of the run.
    """
    today, changed = pd.Timestamp(day), {}
    for column in LAYERS[source.layer].columns:
        if column.name not in frame:
            continue
        values = frame[column.name]
        if column.dtype == "date":
            spec = source.columns.get(column.name, ColumnSource())
            if "%y" in (spec.date_format or ""):
                values = values.mask(values > today, values - pd.DateOffset(years=100))
            later, check = values > today, "future_date"
            told = values.dt.strftime("%Y-%m-%d")
        elif column.unit == "calendar year":
            later, check = values > day.year, "future_year"
            told = values.astype("string")
        else:
            continue
        log.add(column.name, check, told[later.fillna(False).astype(bool)], SET_MISSING)
        changed[column.name] = values.mask(later.fillna(False).astype(bool))
    return frame.assign(**changed) if changed else frame
