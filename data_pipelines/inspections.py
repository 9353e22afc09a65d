"""Reads inspections: site visits and what was found."""

from __future__ import annotations

import pandas as pd
from pyproj import CRS

from data_pipelines.defect_log import DefectLog
from data_pipelines.mapping import drop_repeats
from data_pipelines.tables import canonical_table, parse_files
from data_pipelines.vector import Bounds
from riskmap.contract.layers import INSPECTIONS
from riskmap.contract.sources import Reading, Source


def read_inspections(source: Source, crs: CRS, *, bounds: Bounds | None = None) -> Reading:
    """Read inspections from any table; `crs` and `bounds` play no part, visits have no shape."""
    del crs, bounds
    log = DefectLog(INSPECTIONS.name)
    return canonical_inspections(parse_files(source, INSPECTIONS, log=log), source, log)


def canonical_inspections(raw: pd.DataFrame, source: Source, log: DefectLog) -> Reading:
    """Canonical visits; rows without a parcel and exact repeats are left out and reported."""
    frame = canonical_table(raw, source, INSPECTIONS, log)
    frame = drop_repeats(frame, log, column="parcel_id")
    undated = frame["date"].isna()
    log.add("date", "visit_without_date", frame.loc[undated, "parcel_id"], "kept")
    return Reading(frame, log.table())
