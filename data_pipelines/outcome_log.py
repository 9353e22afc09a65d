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
from riskmap.outcomes.log import LogState, letters, visits

FROM_COUNTY, FROM_LOG, FROM_SLIP = INSPECTIONS.column("recorded_in").domain
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
            "well_sampled": told["well_sampled"],
            "recorded_in": FROM_LOG,
        },
        index=told.index,
    )
    table = _as_inspections(found, "outcome log#" + told["entry"].astype("string"))
    late = table["date"] > pd.Timestamp(day)
    shown = table.loc[late, "date"].dt.strftime("%Y-%m-%d")
    log.add("date", "visit_after_the_run", shown, "left out of this run")
    return table[~late]


def answered_pump_outs(state: LogState, day: datetime.date, log: DefectLog) -> pd.DataFrame:
    """Return the pump-outs that reply slips tell of, as canonical inspections without a visit.

    They have no date of a visit and no finding. A slip about several parcels does not say whose
    tank was pumped; it is left out and reported, as are those that came after `day`, the run's.
    """
    told = letters(state.place, up_to=state.letters)
    told = told[told["tank_pumped"].notna()]
    labels = "reply slip#" + told["reference"].astype("string")
    found = pd.DataFrame(
        {
            "parcel_id": told["parcel_ids"],
            "reason": "unknown",
            "last_pumped": told["tank_pumped"],
            "recorded_in": FROM_SLIP,
        },
        index=told.index,
    )
    table = _as_inspections(found.reindex(columns=INSPECTIONS.column_names), labels)
    known = told[["answered_on", "tank_pumped"]].max(axis=1).to_numpy()
    late = known > pd.Timestamp(day).to_datetime64()
    shown = table["last_pumped"].dt.strftime("%Y-%m-%d")
    log.add("last_pumped", "reply_after_the_run", shown[late], "left out of this run")
    several = told["parcel_ids"].str.contains(";").to_numpy(bool)
    log.add("parcel_id", "reply_about_several", table.loc[several, "parcel_id"], "left out")
    return table[~late & ~several]


def _as_inspections(found: pd.DataFrame, labels: pd.Series) -> pd.DataFrame:
    """Give rows the types of the layer, and names by which they are found in the log."""
    typed = {c.name: empty_column(c, found.index[:0]).dtype for c in INSPECTIONS.columns}
    return found.astype(typed).set_axis(pd.Index(labels.rename("row")), axis=0)


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
