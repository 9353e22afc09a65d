"""Reads the outcome log as inspections: what visits found, beside the county's own records."""

from __future__ import annotations

import datetime
from typing import Final

import pandas as pd

from data_pipelines.defect_log import DefectLog
from data_pipelines.mapping import empty_column
from riskmap.contract.layers import INSPECTIONS
from riskmap.contract.visits import VISIT_REASONS
from riskmap.contract.vocabulary import STAGES
from riskmap.outcomes.log import LogState, visits

FROM_COUNTY, FROM_LOG = INSPECTIONS.column("recorded_in").domain
_SAME: Final = ["parcel_id", "date", "stage"]


def outcome_inspections(state: LogState, day: datetime.date, log: DefectLog) -> pd.DataFrame:
    """Return the visits of the log as canonical inspections.

    A visit that could not tell has no stage; an answer given later replaces an earlier one. Visits
    after `day`, the run's, are left out and reported.
    """
    told = visits(state.place, up_to=state.entries)
    found = pd.DataFrame(
        {
            "parcel_id": told["parcel_id"],
            "date": told["visited_on"],
            "reason": told["visit"].map(VISIT_REASONS).fillna("unknown"),
            "stage": told["found"].where(told["found"].isin(STAGES)),
            "ponding_cm": told["ponding_cm"],
            "last_pumped": told["last_pumped"],
            "recorded_in": FROM_LOG,
        },
        index=told.index,
    )
    typed = {c.name: empty_column(c, found.index[:0]).dtype for c in INSPECTIONS.columns}
    labels = ("outcome log#" + told["entry"].astype("string")).rename("row")
    table = found.astype(typed).set_axis(pd.Index(labels), axis=0)
    late = table["date"] > pd.Timestamp(day)
    shown = table.loc[late, "date"].dt.strftime("%Y-%m-%d")
    log.add("date", "visit_after_the_run", shown, "left out of this run")
    return table[~late]


def of_county(own: pd.DataFrame) -> pd.DataFrame:
    """Mark inspections as of the county's own files."""
    return own.assign(recorded_in=pd.Series(FROM_COUNTY, index=own.index, dtype="string"))


def with_outcomes(own: pd.DataFrame | None, told: pd.DataFrame, log: DefectLog) -> pd.DataFrame:
    """Append the log's visits to the county's own inspections.

    A visit that the county's records hold too, by parcel, day and stage, counts once; that is
    reported.

    Parameters
    ----------
    own
        The county's inspections, from :func:`of_county`; None where it has none.
    told
        From :func:`outcome_inspections`.
    log
        Takes what is reported.
    """
    if own is None:
        return told
    both = pd.concat([own, told])
    again = both.duplicated(_SAME, keep="first") & both["recorded_in"].eq(FROM_LOG)
    log.add("parcel_id", "also_in_the_log", both.loc[again, "parcel_id"], "counted once")
    return both[~again]
