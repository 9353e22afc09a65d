"""The door to vector files: one place that opens them, with the drivers of one form only.

The library gets no network, and gives up a file if it takes it for another form than
:mod:`data_pipelines.vector_forms` did. Whatever it throws at a damaged file becomes one error.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import lru_cache
from glob import escape
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd
import pyogrio
import pyogrio.raw
from numpy.typing import NDArray

from data_pipelines.defect_log import DefectLog
from data_pipelines.files import FETCH_AGAIN, MOST_COLUMNS, NO_NETWORK, demand_file, tell_inner
from data_pipelines.json_features import odd_elements
from data_pipelines.text import BYTES_CODE, decoded_column
from data_pipelines.vector_forms import DRIVERS, DataSet, Form, data_sets, refuse_endless_view
from riskmap.contract.columns import Shape
from riskmap.contract.errors import LayerError, SourceFormatError
from riskmap.contract.layers import LAYERS

Box = tuple[float, float, float, float]

_SETTINGS: Final = {**NO_NETWORK, "OGR_XLSX_HEADERS": "DISABLE", "OGR_ODS_HEADERS": "DISABLE"}
"""Settings of the library: no network; :mod:`data_pipelines.sheets` looks for the names of a
sheet's columns."""

_STYLE_TABLES: Final = ("layer_styles", "qgis_projects")
_COUNT_FROM_ONE: Final = ("GPKG", "OpenFileGDB", "SQLite")
_EXACT: Final = 2.0**53


class Table(NamedTuple):
    """One table of a vector file, and what its header says."""

    data: DataSet
    name: str
    driver: str
    geometry_type: str | None
    crs: str | None
    dtypes: Mapping[str, str]
    records: int

    @property
    def columns(self) -> list[str]:
        """Names of its columns."""
        return list(self.dtypes)


class Rows(NamedTuple):
    """Records of a table: labels from 1, shapes as WKB (None if not asked for), columns."""

    labels: NDArray[np.int64]
    shapes: NDArray[np.object_] | None
    values: dict[str, NDArray[Any]]


class _Place(NamedTuple):
    data: DataSet
    form: Form
    table: str
    geometry_type: str | None


@contextmanager
def quiet() -> Iterator[None]:
    """Silence what the readers handle themselves: measured lines, odd rings, no system."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        warnings.simplefilter("ignore", RuntimeWarning)
        yield


@contextmanager
def _sealed(path: Path, layer: str) -> Iterator[None]:
    """No network within, and any exception of the library as one error of this project."""
    before = {name: pyogrio.get_gdal_config_option(name) for name in _SETTINGS}
    pyogrio.set_gdal_config_options(_SETTINGS)
    try:
        with quiet():
            yield
    except UnicodeDecodeError:
        raise
    except Exception as error:
        said = " ".join(str(error).replace(f"{path.absolute().parent}/", "").split())
        raise SourceFormatError(
            layer, f"{path.name} cannot be read: {said[:200]}", FETCH_AGAIN
        ) from error
    finally:
        pyogrio.set_gdal_config_options(before)


def open_table(
    path: Path,
    *,
    layer: str,
    table: str | None = None,
    kind: Shape | None = None,
    log: DefectLog | None = None,
) -> Table:
    """Choose one table of a vector file and read what its header says.

    Parameters
    ----------
    table
        Name of the table. Without one, a file of several tables must have exactly one that fits.
    kind
        Kind of shapes wanted; that of the canonical layer called `layer` if not given.

    Raises
    ------
    SourceMissingError, SourceFormatError
        If there is no such file, or it is damaged, no vector file, or points elsewhere.
    LayerError
        If several tables fit and none is named.
    """
    demand_file(path, layer)
    if kind is None and layer in LAYERS:
        kind = LAYERS[layer].kind
    stamp = _stamp(path)
    try:
        place = _chosen(_places(path, layer, stamp), table, kind, path, layer, log)
        tell_inner(log, path, place.data.path)
        return _described(place, stamp)
    except UnicodeDecodeError as error:
        raise SourceFormatError(
            layer, f"names in {path.name} are not in UTF-8.", "Save the file again in UTF-8."
        ) from error


def list_tables(path: Path, *, layer: str) -> list[tuple[str, str | None]]:
    """Name and type of shapes of each table of a file; errors as those of :func:`open_table`."""
    demand_file(path, layer)
    return [(place.table, place.geometry_type) for place in _places(path, layer, _stamp(path))]


def _stamp(path: Path) -> tuple[object, ...]:
    """Something that changes when a file or one of its parts does, for what is remembered."""
    parts = path.iterdir() if path.is_dir() else path.parent.glob(f"{escape(path.stem)}.*")
    states = ((part.name, part.stat()) for part in {path, *parts})
    return tuple(sorted((name, s.st_size, s.st_mtime_ns, s.st_ino) for name, s in states))


@lru_cache(maxsize=64)
def _places(path: Path, layer: str, stamp: object) -> tuple[_Place, ...]:
    """All tables of a path; remembered, because to list them a file may be read whole."""
    del stamp
    found = []
    for data, form in data_sets(path, layer):
        with _sealed(path, layer):
            listed = pyogrio.list_layers(data.address)
        found += [_Place(data, form, str(name), kind) for name, kind in listed]
    if not found:
        raise SourceFormatError(layer, f"{path.name} holds no table.", FETCH_AGAIN)
    return tuple(found)


def _chosen(
    places: Sequence[_Place],
    table: str | None,
    kind: Shape | None,
    path: Path,
    layer: str,
    log: DefectLog | None,
) -> _Place:
    """Place of the named table, or the only one that fits."""
    listed = ", ".join(f"{place.table} ({place.geometry_type or 'no shapes'})" for place in places)
    if table is not None:
        named = [p for p in places if p.table == table]
        named = named or [p for p in places if p.table.casefold() == table.casefold()]
        if len(named) != 1:
            raise SourceFormatError(
                layer, f"{path.name} has no table {table!r}.", f"It has {listed}."
            )
        return named[0]
    usual = [place for place in places if place.table not in _STYLE_TABLES]
    if len(usual) == 1:
        return usual[0]
    fitting = [place for place in usual if _fits(place.geometry_type, kind)]
    if len(fitting) != 1:
        raise LayerError(
            layer,
            f"{path.name} has several tables: {listed}.",
            'Name one with table = "..." in the region file, or save it as a file of its own.',
        )
    if log is not None:
        log.note("", "table_chosen", f"{fitting[0].table} of {len(places)}", "the only that fits")
    return fitting[0]


def _fits(geometry_type: str | None, kind: Shape | None) -> bool:
    """Whether shapes of a type may serve as `kind`; a plain table may carry points."""
    if kind is None:
        return True
    if geometry_type is None:
        return kind == "table"
    words = {"polygon": "Polygon", "line": "LineString", "point": "Point", "table": "Point"}
    plain = geometry_type.split()[-1]
    return words[kind] in plain or plain in ("Unknown", "GeometryCollection")


@lru_cache(maxsize=64)
def _described(place: _Place, stamp: object) -> Table:
    """Header of a table, as the library understands it."""
    del stamp
    data = place.data
    if place.form.name == "database":
        refuse_endless_view(data, place.table)
    with _sealed(data.path, data.layer):
        info = pyogrio.read_info(data.address, layer=place.table)
    if info["driver"] not in DRIVERS[place.form.name]:
        raise SourceFormatError(
            data.layer,
            f"{data.name} is taken for {info['driver']}, not for what it begins like.",
            "Give it in one of the usual forms.",
        )
    columns = [str(name) for name in info["fields"]]
    if len(columns) > MOST_COLUMNS:
        raise SourceFormatError(
            data.layer,
            f"{data.name} has {len(columns)} columns; at most {MOST_COLUMNS} are read.",
            "Save only the columns that are needed.",
        )
    return Table(
        data,
        place.table,
        info["driver"],
        info["geometry_type"],
        info["crs"],
        dict(zip(columns, map(str, info["dtypes"]), strict=True)),
        int(info["features"] if place.form.records is None else place.form.records),
    )


def read_rows(
    table: Table,
    *,
    columns: Sequence[str] | None = None,
    box: Box | None = None,
    shapes: bool = True,
    most: int | None = None,
    where: str | None = None,
    log: DefectLog | None = None,
) -> Rows:
    """Read the records of a table.

    Parameters
    ----------
    columns
        Only these are read.
    box
        West, south, east, north in the table's own system: only shapes that meet it are read.
    shapes
        Whether to read shapes.
    most
        Only so many records are read.
    where
        Only records under this condition are read.
    log
        Tells what could not be read, and text in an unexpected encoding.

    Raises
    ------
    SourceFormatError
        If the library cannot read the file.
    """
    options: dict[str, Any] = {
        "layer": table.name,
        "columns": None if columns is None else list(columns),
        "bbox": box,
        "read_geometry": shapes,
        "max_features": most,
        "where": where,
        "return_fids": True,
        "datetime_as_string": True,
    }
    path = table.data.path
    silent = table.driver == "ESRI Shapefile" and table.data.part(".cpg") is None
    try:
        with _sealed(path, table.data.layer):
            meta, fids, geometry, values = pyogrio.raw.read(
                table.data.address, encoding=BYTES_CODE if silent else None, **options
            )
    except UnicodeDecodeError:
        silent = True
        with _sealed(path, table.data.layer):
            meta, fids, geometry, values = pyogrio.raw.read(
                table.data.address, encoding=BYTES_CODE, **options
            )
        if log is not None:
            log.note("", "not_utf8", "text", "what is no UTF-8 read as Windows-1252", row=path.name)
    if silent:
        values = [decoded_column(column) for column in values]
    data = dict(zip(map(str, meta["fields"]), values, strict=True))
    for name, column in data.items():
        if _lost_digits(column, table.dtypes.get(name, "")):
            data[name] = _whole_numbers(table, name, box, where)
    part = box is not None or where is not None or len(fids) == most
    labels = _labels(table, fids, log, part=part)
    return Rows(labels, geometry if shapes else None, data)


def boxes(table: Table) -> NDArray[np.float64]:
    """West, south, east and north of each shape of a table, one row of the result each.

    Raises
    ------
    SourceFormatError
        If the table has no shapes or cannot be read.
    """
    with _sealed(table.data.path, table.data.layer):
        _, found = pyogrio.read_bounds(table.data.address, layer=table.name)
    result: NDArray[np.float64] = found
    return result


def _lost_digits(column: NDArray[Any], dtype: str) -> bool:
    """Whether whole numbers came as floats (some are missing) that are too large to be exact."""
    floats = column.dtype.kind == "f" and dtype.startswith(("int", "uint"))
    return bool(floats and (np.abs(column) >= _EXACT).any())


def _whole_numbers(table: Table, name: str, box: Box | None, where: str | None) -> NDArray[Any]:
    """Column of large whole numbers, exact, with None where missing."""
    with _sealed(table.data.path, table.data.layer):
        _, found = pyogrio.raw.read_arrow(
            table.data.address,
            layer=table.name,
            columns=[name],
            bbox=box,
            where=where,
            read_geometry=False,
        )
    return np.array(found.column(name).to_pylist(), dtype=object)


def _labels(
    table: Table, fids: NDArray[np.int64], log: DefectLog | None, *, part: bool
) -> NDArray[np.int64]:
    """Numbers of the records read; those that the file has but the library leaves out are told.

    Of a `part` of the records only their own numbers are known.
    """
    numbers = fids + (0 if table.driver in _COUNT_FROM_ONE else 1)
    if part:
        return numbers
    count = table.records
    if table.driver == "ESRI Shapefile":
        lost = np.setdiff1d(np.arange(1, count + 1), numbers)
        told, check = pd.Series("", index=lost.astype(str)), "deleted_record"
    else:
        odd = _odd_features(table) if count > len(fids) else {}
        numbers = np.setdiff1d(np.arange(1, len(fids) + len(odd) + 1), list(odd))
        told, check = pd.Series(odd, dtype=object), "no_feature"
        told.index = told.index.astype(str)
    if count - len(told) > 2 * len(fids):
        raise SourceFormatError(
            table.data.layer,
            f"{table.data.name} says it has {count} rows, but only {len(fids)} can be read.",
            FETCH_AGAIN,
        )
    if log is not None:
        log.add("", check, told, "left out")
        if count > len(fids) + len(told):
            log.note("", "unread_rows", f"{len(fids)} of {count} rows read", "the rest left out")
    return numbers


def _odd_features(table: Table) -> dict[int, str]:
    """Elements among the features of a JSON file that the library passes over."""
    if not table.driver.startswith(("GeoJSON", "ESRIJSON")):
        return {}
    try:
        return odd_elements(table.data.read(), "type" if table.driver[0] == "G" else "attributes")
    except (ValueError, KeyError, TypeError, RecursionError):
        return {}
