"""The door to raster files: one place that opens them, each with the one driver of its form.

The library gets no network and no other driver, and whatever it throws at a damaged file becomes
one error of this project.
"""

from __future__ import annotations

import math
import re
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.enums import ColorInterp, MaskFlags
from rasterio.windows import Window

from data_pipelines.defect_log import DefectLog
from data_pipelines.files import (
    FETCH_AGAIN,
    NO_NETWORK,
    demand_file,
    head_of,
    refuse_disguise,
    refuse_pointer,
)
from riskmap.contract.errors import CrsError, LayerError, SourceFormatError

_TIFF: Final = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")
_BY_CONTENT: Final[Mapping[tuple[bytes, ...], str]] = {
    _TIFF: "GTiff",
    (b"EHFA_HEADER_TAG",): "HFA",
    (b"ncols", b"NCOLS", b"nrows", b"NROWS"): "AAIGrid",
}
_BY_SUFFIX: Final = {
    ".flt": "EHdr",
    ".bil": "EHdr",
    ".adf": "AIG",
    ".dem": "USGSDEM",
    ".hgt": "SRTMHGT",
}
_FORM_NAMES: Final = "GeoTIFF, Erdas .img, Esri .asc, .flt, .bil, .adf, .dem, .hgt"
MOST_CELLS: Final = 400_000_000
"""A grid may have this many cells (1.6 GB as held): a county of 60 by 60 km at 3 m."""

_PICTURE: Final = {ColorInterp.red, ColorInterp.green, ColorInterp.blue, ColorInterp.palette}


class Band(NamedTuple):
    """Cells of the first band in a window, as stored, and what the file says of them.

    ``masked`` marks cells that the file's mask or alpha band takes out.
    """

    values: NDArray[np.float32]
    masked: NDArray[np.bool_] | None
    nodata: float | None
    unit: str | None
    scale: float
    offset: float


@contextmanager
def raster_library(name: str, layer: str) -> Iterator[None]:
    """No network within, and any exception of the library as one error of this project."""
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"), rasterio.Env(**NO_NETWORK):
            warnings.simplefilter("ignore")
            yield
    except LayerError:
        raise
    except Exception as error:
        said = " ".join(str(error).split())[:200]
        raise SourceFormatError(layer, f"{name} cannot be read: {said}", FETCH_AGAIN) from error


@contextmanager
def open_raster(path: Path, layer: str) -> Iterator[rasterio.DatasetReader]:
    """Open a raster file that holds its own cells and lies somewhere on the map.

    Raises
    ------
    SourceMissingError, SourceFormatError
        If there is no such file, or it is damaged, a picture, no raster, or points elsewhere.
    """
    demand_file(path, layer)
    head = head_of(path)
    refuse_disguise(head, path.name, layer)
    driver = _driver(path, head, layer)
    _check_companions(path, layer)
    place = str(path.absolute())
    with raster_library(path.name, layer), rasterio.open(place, driver=driver) as file:
        if _PICTURE & set(file.colorinterp):
            raise SourceFormatError(
                layer, f"{path.name} is a picture, not a grid of heights.", "Name the grid itself."
            )
        _check_placed(file, path.name, layer)
        yield file


def _driver(path: Path, head: bytes, layer: str) -> str:
    for starts, driver in _BY_CONTENT.items():
        if head.startswith(starts):
            return driver
    refuse_pointer(head, path.name, layer)
    if path.suffix.lower() in _BY_SUFFIX:
        return _BY_SUFFIX[path.suffix.lower()]
    raise SourceFormatError(
        layer,
        f"{path.name} cannot be read as a raster: its content is none of the forms known "
        f"({_FORM_NAMES}).",
        "Name the right file, unpacked, or save it as GeoTIFF.",
    )


def _check_companions(path: Path, layer: str) -> None:
    """Refuse files beside a raster that would make the library look elsewhere."""
    for suffix in (".msk", ".ovr"):
        beside = path.with_name(path.name + suffix)
        if beside.is_file() and not head_of(beside).startswith(_TIFF):
            raise SourceFormatError(
                layer, f"{beside.name} beside the raster is no raster.", "Take it away."
            )
    for beside in (path.with_name(path.name + ".aux.xml"), path.with_suffix(".aux.xml")):
        if beside.is_file() and re.search(rb"_FILE\b", head_of(beside)):
            raise SourceFormatError(
                layer, f"{beside.name} beside the raster points to other files.", "Take it away."
            )


def _check_placed(file: rasterio.DatasetReader, name: str, layer: str) -> None:
    t = file.transform
    area = t.a * t.e - t.b * t.d
    if t.is_identity:
        raise SourceFormatError(
            layer,
            f"{name} does not say where on the map it lies.",
            "Fetch it again with its world file, or as GeoTIFF.",
        )
    if not all(map(math.isfinite, t)) or not math.isfinite(area) or area == 0:
        raise SourceFormatError(layer, f"{name} has cells without a size.", FETCH_AGAIN)
    if max(map(math.prod, file.block_shapes)) > MOST_CELLS:
        raise _too_many(max(map(math.prod, file.block_shapes)), name, layer)


def check_cells(columns: float, rows: float, name: str, layer: str) -> None:
    """Refuse a grid of more than :data:`MOST_CELLS` cells."""
    if not columns * rows <= MOST_CELLS:
        raise _too_many(columns * rows, name, layer)


def _too_many(cells: float, name: str, layer: str) -> SourceFormatError:
    return SourceFormatError(
        layer,
        f"{name} would take {cells:.3g} cells; at most {MOST_CELLS:.3g} are read.",
        "Cut it to the county, or resample it to larger cells (10 m are enough).",
    )


def check_degrees(corners: list[tuple[float, float]], name: str, layer: str) -> None:
    """Refuse corners that are no degrees, in a raster whose system is one of degrees."""
    if any(abs(x) > 361 or abs(y) > 91 for x, y in corners):
        worst = max(max(abs(x), abs(y)) for x, y in corners)
        raise CrsError(
            layer,
            f"the coordinates of {name} (up to {worst:.0f}) are no degrees, but it is said to be "
            "in a system of degrees.",
            'Give the true crs = "EPSG:..." to this layer in the region file.',
        )


def read_band(file: rasterio.DatasetReader, window: Window, name: str, log: DefectLog) -> Band:
    """Read the first band that holds values; more than one is told."""
    check_cells(window.width, window.height, name, log.layer)
    bands = [n for n, role in enumerate(file.colorinterp, start=1) if role != ColorInterp.alpha]
    if not bands or np.dtype(file.dtypes[bands[0] - 1]).kind not in "iuf":
        raise SourceFormatError(log.layer, f"{name} has no band of numbers.", FETCH_AGAIN)
    band = bands[0]
    if len(bands) > 1:
        log.note("", "several_bands", f"{len(bands)} bands", "first one used", row=name)
    masked = None
    if MaskFlags.per_dataset in file.mask_flag_enums[band - 1]:
        masked = file.read_masks(band, window=window) == 0
    for alpha in set(range(1, file.count + 1)) - set(bands):
        clear = file.read(alpha, window=window) == 0
        masked = clear if masked is None else masked | clear
    return Band(
        file.read(band, window=window).astype("float32"),
        masked,
        file.nodatavals[band - 1],
        file.units[band - 1],
        file.scales[band - 1],
        file.offsets[band - 1],
    )
