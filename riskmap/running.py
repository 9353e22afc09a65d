"""The run: from a region file to a result folder. The functions here are the Python interface."""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import Any, Final

import pandas as pd

from riskmap.checking.check import Checked, check_county
from riskmap.condition.ledger import ledger
from riskmap.contract.features import FEATURES
from riskmap.inventory.permits import match_permits
from riskmap.publish.outputs import PUBLISHING
from riskmap.publish.palette import PAGE_COLORS
from riskmap.publish.paper.letter_texts import county_letters
from riskmap.publish.publishing import publish
from riskmap.publish.summary import class_counts
from riskmap.publish.words.explaining import RECORD_LAYERS, explain_parcel, require_parcel
from riskmap.publish.words.explaining_steps import rating_step, soil_parts, steps
from riskmap.publish.words.ledger import ledger_lines
from riskmap.region.read import read_region
from riskmap.region.sections import Region
from riskmap.results.swap import kept_files, result_folder, settle_leftovers
from riskmap.stages.given_layers import GivenLayers, with_layers
from riskmap.stages.input_files import parcels_bytes, refuse_inputs_inside, require_unchanged
from riskmap.stages.lists import factor_words
from riskmap.stages.making import begin
from riskmap.stages.order import ALL, READING, STAGES
from riskmap.stages.progress import Progress
from riskmap.stages.result import Result

RESULT_PER_PARCELS: Final = 10
"""A result is about this many times as large as its parcel layer: on invented counties of 3,000
systems 10 times, of 300 systems 17 times."""


def open_region(path: Path | str | Region) -> Region:
    """Read and check a region file; see :func:`riskmap.region.read.read_region`.

    One that is open is given back as it is.
    """
    return path if isinstance(path, Region) else read_region(path)


def assess(
    region: Region | Path | str,
    progress: Progress | None = None,
    *,
    kept: Path | None = None,
    layers: GivenLayers | None = None,
) -> CountyResult:
    """Read a region's sources, describe, score and rank every parcel.

    Nothing is written but what is kept for the next call, which then does only what has changed.

    Parameters
    ----------
    region
        From :func:`open_region`, or the path of a region file.
    progress
        Shows what is going on; quiet by default.
    kept
        Folder for what is kept; None: ``.riskmap`` next to the region file.
    layers
        Tables in memory in place of files, by layer; see :func:`run`.

    Raises
    ------
    RiskmapError
        See ``docs/errors.md``.
    """
    region = with_layers(open_region(region), layers or {})
    making = begin(region, STAGES, progress or Progress(), kept=kept)
    making.bring_up(*ALL)
    return CountyResult(region, making.things())


def open_result(region: Region, progress: Progress | None = None) -> CountyResult:
    """Open what is kept of a region's run; what is not, is made when it is asked for.

    Raises
    ------
    RiskmapError
        See ``docs/errors.md``; also when something is asked for and cannot be made.
    """
    return CountyResult(region, begin(region, STAGES, progress or Progress()).things())


def run(
    region: Region | Path | str,
    *,
    out: Path | str,
    progress: Progress | None = None,
    layers: GivenLayers | None = None,
) -> CountyResult:
    """Do the whole job and write the result folder, whole or not at all.

    Parameters
    ----------
    region
        From :func:`open_region`, or the path of a region file.
    out
        The result folder. An earlier result there is replaced; what people changed in it or added
        to it is kept next to it, see ``docs/outputs/folder.md``.
    progress
        Shows what is going on; quiet by default.
    layers
        Tables in memory in place of files, by layer: GeoDataFrames for shapes, DataFrames for
        tables. Columns are mapped as the region file says, or by our own names where it says
        nothing. They are written beside the region file, in ``.riskmap``, and read from there like
        any other source, so that the run can be repeated.

    Returns
    -------
    CountyResult
        The same tables as in the folder.

    Raises
    ------
    RiskmapError
        See ``docs/errors.md``; an earlier result is left as it was then.
    """
    progress, out = progress or Progress(), Path(out)
    region = with_layers(open_region(region), layers or {})
    county_letters(region.letter_texts)
    refuse_inputs_inside(region, out)
    before = region.before
    if before is not None:
        settle_leftovers(before, tell=progress.tell)
    size = RESULT_PER_PARCELS * parcels_bytes(region)
    with result_folder(out, tell=progress.tell, expected_bytes=size) as folder:
        making = begin(region, (*STAGES, *PUBLISHING), progress)
        publish(folder, making, kept=kept_files(out))
        require_unchanged(making.files)
    making.store.prune(region.path.name, making.keys)
    return CountyResult(region, making.things())


def check(
    region: Region | Path | str,
    progress: Progress | None = None,
    *,
    layers: GivenLayers | None = None,
) -> Checked:
    """Say what joins, what is covered, what will be ranked, and all that is wrong, at once.

    Parameters
    ----------
    region
        From :func:`open_region`, or the path of a region file.
    progress
        Shows what is going on; quiet by default.
    layers
        Tables in memory in place of files; see :func:`run`.

    Raises
    ------
    RegionError
        If the region file itself cannot be used; errors of layers are in the answer.
    """
    return check_county(with_layers(open_region(region), layers or {}), progress)


def check_region(path: Path | str | Region, progress: Progress | None = None) -> pd.DataFrame:
    """Read and check everything that a run would, and give the table of defects.

    Raises
    ------
    RiskmapError
        If the region could not be run at all.
    """
    region = open_region(path)
    county_letters(region.letter_texts)
    making = begin(region, READING, progress or Progress())
    making.bring_up(*(name for stage in READING for name in stage.gives))
    return Result(region, making.things()).data_quality


class CountyResult(Result):
    """A result that shows itself: in a line, as a table in a notebook, as a picture."""

    def __repr__(self) -> str:
        """Say in a line what was ranked."""
        ranked = int(self.parcels["rank"].notna().sum())
        name, day = self.region.county.name, self.region.county.date
        return f"<Result of {name}, {day}: {ranked:,} of {len(self.parcels):,} parcels ranked>"

    def _repr_html_(self) -> str:
        """Write counts, a small map and the head of the list, for a notebook."""
        from riskmap.publish.report.map import map_figure

        counts = pd.DataFrame(class_counts(self.parcels))[["name", "count"]]
        drawn = map_figure(self.parcels, units=self.region.county.units)
        picture = "" if drawn is None else f'<div style="max-width: 480px">{drawn.svg}</div>'
        columns = ["rank", "worklist", "address", "priority", "priority_class", "reason_1"]
        head = pd.DataFrame(self.parcels).nsmallest(10, "rank")[columns]
        parts = [counts.to_html(index=False), picture, head.to_html()]
        return f"<p>{escape(repr(self))}</p>{''.join(parts)}"

    def plot(self, column: str = "priority", **how: Any) -> Any:
        """Draw the parcels by a column; returns the axes.

        Parameters
        ----------
        column
            A column of ``parcels``.
        **how
            Passed on to :meth:`geopandas.GeoDataFrame.plot`.
        """
        drawn = {"legend": True, "missing_kwds": {"color": PAGE_COLORS["track"]}}
        axes = self.parcels.plot(column=column, **{**drawn, **how})
        axes.set_title(f"{self.region.county.name}: {column}")
        axes.set_axis_off()
        return axes

    def explain(self, parcel_id: str) -> str:
        """Write the page of one parcel; see :func:`explain`."""
        return explain(self, parcel_id)


def explain(result: Result, parcel_id: str) -> str:
    """Write the page of one parcel; see :func:`riskmap.publish.words.explaining.explain_parcel`.

    A number that no parcel has is answered before anything but the parcels is read.

    Raises
    ------
    RiskmapError
        If there is no such parcel; the nearest numbers are named.
    """
    tables = result.county.tables
    strays = result.things["strays"]
    require_parcel(parcel_id, pd.concat([tables["parcels"]["parcel_id"], strays["parcel_id"]]))
    records = {name: tables[name] for name in RECORD_LAYERS if name in tables}
    if "permits" in records:
        parcels = tables["parcels"].set_index("parcel_id", drop=False)
        records["permits"] = match_permits(tables["permits"], parcels)
    parts = soil_parts(parcel_id, result.soil_shares, result.component_ratings)
    rows = pd.DataFrame(result.parcels.drop(columns="geometry"))
    derived = [rating_step(parts, result.region.rules.min_covered_frac)]
    if pd.notna(rows.loc[parcel_id, "priority"]):
        row = {str(k): v for k, v in rows.loc[parcel_id].items()}
        derived += steps(row, region=result.region)
    return explain_parcel(
        parcel_id,
        parcels=rows,
        records=records,
        model=result.model,
        declared=FEATURES,
        components=parts,
        derived=derived,
        ledger=_ledger_lines(result, parcel_id),
        aim=result.region.lists.aim,
    )


def _ledger_lines(result: Result, parcel_id: str) -> list[str]:
    """Give the ledger of a parcel's system; empty where it has none."""
    fit = result.condition_fit
    if fit is None or parcel_id not in fit.model.lots.ids:
        return []
    return ledger_lines(ledger(fit, [parcel_id], factor_words(fit, result.model)))
