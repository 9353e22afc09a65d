"""Records what visits found and letters brought: filled files to the log, all or nothing."""

from __future__ import annotations

import datetime
import getpass
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from riskmap.contract.errors import RiskmapError, SourceFormatError
from riskmap.contract.visits import VISIT_PLACE
from riskmap.outcomes.log import RUN, Recording, add
from riskmap.region.sections import Region
from riskmap.season.filled import Filled, Of, read_filled
from riskmap.season.findings import Checked, check_filled
from riskmap.stages.making import begin
from riskmap.stages.order import READING
from riskmap.stages.progress import Progress


class NotRecordedError(RiskmapError):
    """Some rows were not recorded; all others were."""


@dataclass(frozen=True)
class Recorded:
    """What came of a file: rows that are new, those that the log had, and the rest of its rows.

    ``faults`` says what is wrong with the ``wrong`` rows that were not recorded.
    """

    file: str
    run: str
    new: int
    known: int
    blank: int
    wrong: int
    faults: list[str]
    latest: datetime.date | None = None
    of: Of = "visits"

    def __str__(self) -> str:
        told = [f"{self.file}: {self.new:,} {self.of} recorded"]
        if self.known:
            told.append(f"{self.known:,} were recorded before")
        if self.blank:
            blank = "not visited" if self.of == "visits" else "not filled in"
            told.append(f"{self.blank:,} rows {blank}")
        if self.wrong:
            told.append(f"{self.wrong:,} rows not recorded")
        said = "; ".join(told) + f" (list of the run {self.run or 'not named in the file'})."
        return "\n".join([said, *(f"  {fault}" for fault in self.faults)])


def record(
    region: Region,
    files: Sequence[Path | str],
    *,
    by: str = "",
    today: datetime.date | None = None,
    progress: Progress | None = None,
) -> list[Recorded]:
    """Check filled files row by row and add the visits or letters to the outcome log.

    Rows at fault are said and left out; mended in the file, they can be recorded again: visits
    that the log has already are known and not added twice. Blank rows were not visited.

    Parameters
    ----------
    region
        From :func:`riskmap.open_region`.
    files
        Filled workbooks (.xlsx), CSV files, and files of the telephone form (.json).
    by
        Initials of who made the visits, where the rows do not say.
    today
        No visit is later; the machine's day by default.
    progress
        Shows what is going on; quiet by default.

    Raises
    ------
    RiskmapError
        If a file cannot be used at all, or the log cannot be written; nothing is recorded then.
    """
    filled = [read_filled(Path(file)) for file in files]
    for one in filled:
        _refuse_other_county(one, region)
    points = lot_points(region, progress or Progress())
    checked = [
        check_filled(one, parcels=set(points.index), today=today or datetime.date.today(), by=by)
        for one in filled
    ]
    who = getpass.getuser()
    recordings = [
        Recording(one.file.name, one.sha256, who, _entries(one, result, points), one.of)
        for one, result in zip(filled, checked, strict=True)
    ]
    new = add(region.log_place, recordings)
    return [
        _summary(one, result, count)
        for one, result, count in zip(filled, checked, new, strict=True)
    ]


def lot_points(region: Region, progress: Progress) -> pd.DataFrame:
    """Longitude and latitude of a point within every lot, index ``parcel_id``; kept like a run."""
    making = begin(region, READING, progress)
    making.bring_up("layer_parcels")
    parcels: Any = making.things()["layer_parcels"]
    points = gpd.GeoSeries(parcels.geometry.representative_point(), crs=parcels.crs).to_crs(4326)
    longitude, latitude = (column.name for column in VISIT_PLACE)
    return pd.DataFrame(
        {longitude: points.x.to_numpy(), latitude: points.y.to_numpy()},
        index=pd.Index(parcels["parcel_id"].astype(str), name="parcel_id"),
    )


def _refuse_other_county(filled: Filled, region: Region) -> None:
    if filled.county and filled.county != region.county.name:
        raise SourceFormatError(
            filled.file.name,
            f"this is from a list of {filled.county}, not of {region.county.name}.",
            "Record it with that county's region file.",
        )


def late_words(region: Region, done: Sequence[Recorded]) -> str:
    """Say that visits are later than the day of the run, which then does not count them."""
    late = max((one.latest for one in done if one.latest is not None), default=None)
    if late is None or late <= region.county.date:
        return ""
    return (
        f"The latest visit was on {late.isoformat()}. A run counts visits up to its day: set date "
        f"in [county] of {region.path.name}, now {region.county.date.isoformat()}, to that day or "
        "later."
    )


def _entries(filled: Filled, checked: Checked, points: pd.DataFrame) -> pd.DataFrame:
    rows = checked.rows.assign(**{RUN: filled.run})
    if filled.of == "letters":
        return rows
    places = points.reindex(rows["parcel_id"].astype(str))
    return rows.assign(**{str(name): places[name].to_numpy() for name in places})


def _summary(filled: Filled, checked: Checked, new: int) -> Recorded:
    return Recorded(
        file=filled.file.name,
        run=filled.run,
        new=new,
        known=len(checked.rows) - new,
        blank=checked.blank,
        wrong=checked.wrong,
        faults=checked.faults,
        latest=_latest(filled, checked),
        of=filled.of,
    )


def _latest(filled: Filled, checked: Checked) -> datetime.date | None:
    """Day of the latest visit; letters are no evidence that a run counts."""
    if filled.of == "letters" or checked.rows.empty:
        return None
    latest: pd.Timestamp = checked.rows["visited_on"].max()
    return latest.date()
