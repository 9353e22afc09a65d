"""The run: from a region file to a result folder. The functions here are the Python interface."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pandas as pd

from riskmap.contract.features import FEATURES
from riskmap.inventory.permits import match_permits
from riskmap.publish.outputs import publish
from riskmap.publish.paper.letter_texts import county_letters
from riskmap.publish.words.explaining import RECORD_LAYERS, explain_parcel
from riskmap.publish.words.explaining_steps import rating_step, soil_parts, steps
from riskmap.region.model_file import read_model
from riskmap.region.read import read_region
from riskmap.region.sections import Region
from riskmap.results.swap import kept_files, result_folder, settle_leftovers
from riskmap.stages.assessing import Result, assess_county
from riskmap.stages.input_files import parcels_bytes, refuse_inputs_inside, require_unchanged
from riskmap.stages.loading import load_county
from riskmap.stages.progress import Progress

RESULT_PER_PARCELS: Final = 10
"""A result is about this many times as large as its parcel layer: on invented counties of 3,000
systems 10 times, of 300 systems 17 times."""


def open_region(path: Path | str) -> Region:
    """Read and check a region file; see :func:`riskmap.region.read.read_region`."""
    return read_region(path)


def assess(region: Region, progress: Progress | None = None) -> Result:
    """Read a region's sources, describe, score and rank every parcel; nothing is written."""
    progress = progress or Progress()
    return assess_county(load_county(region, progress), progress)


def run(region: Region, *, out: Path | str, progress: Progress | None = None) -> Result:
    """Do the whole job and write the result folder, whole or not at all.

    Parameters
    ----------
    region
        From :func:`open_region`.
    out
        The result folder. An earlier result there is replaced; what people changed in it or added
        to it is kept beside it, see ``docs/outputs/folder.md``.
    progress
        Shows what is going on; quiet by default.

    Returns
    -------
    Result
        The same tables as in the folder.

    Raises
    ------
    RiskmapError
        See ``docs/errors.md``; an earlier result is left as it was then.
    """
    progress, out = progress or Progress(), Path(out)
    county_letters(region.beside(region.lists.letter_texts))
    refuse_inputs_inside(region, out)
    before = region.beside(region.run.before)
    if before is not None:
        settle_leftovers(before, tell=progress.tell)
    size = RESULT_PER_PARCELS * parcels_bytes(region)
    with result_folder(out, tell=progress.tell, expected_bytes=size) as folder:
        result = assess(region, progress)
        publish(folder, result, progress, kept=kept_files(out))
        require_unchanged(result.county.files)
    return result


def check_region(path: Path | str, progress: Progress | None = None) -> pd.DataFrame:
    """Read and check everything that a run would, and give the table of defects.

    Raises
    ------
    RiskmapError
        If the region could not be run at all.
    """
    region = read_region(path)
    read_model(region.beside(region.model.file), features=FEATURES)
    county_letters(region.beside(region.lists.letter_texts))
    return load_county(region, progress).defects


def explain(result: Result, parcel_id: str) -> str:
    """Write the page of one parcel; see :func:`riskmap.publish.words.explaining.explain_parcel`."""
    tables = dict(result.county.tables)
    if "permits" in tables:
        parcels = tables["parcels"].set_index("parcel_id", drop=False)
        tables["permits"] = match_permits(tables["permits"], parcels)
    parts = soil_parts(parcel_id, result.described.soil_shares, result.described.component_ratings)
    rows = pd.DataFrame(result.parcels.drop(columns="geometry"))
    derived = [rating_step(parts, result.region.rules.min_covered_frac)]
    if parcel_id in rows.index and pd.notna(rows.loc[parcel_id, "priority"]):
        row = {str(k): v for k, v in rows.loc[parcel_id].items()}
        derived += steps(row, model=result.model, aging=result.aging, region=result.region)
    return explain_parcel(
        parcel_id,
        parcels=rows,
        records={name: tables[name] for name in RECORD_LAYERS if name in tables},
        model=result.model,
        declared=FEATURES,
        components=parts,
        derived=derived,
    )
