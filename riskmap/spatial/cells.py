"""Shapes written into the cells of a grid."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rasterio.features import rasterize
from rasterio.transform import Affine

from riskmap.contract.grid import Grid


def written_in(
    shapes: Iterable[tuple[Any, float]],
    grid: Grid,
    *,
    dtype: str,
    fill: float = 0.0,
    all_touched: bool = False,
) -> NDArray[Any]:
    """Write the value of each shape into the cells whose centers it holds.

    Parameters
    ----------
    shapes
        Shapes with their values; missing and empty ones are passed over. Of several shapes in a
        cell the last counts.
    grid
        Where the cells lie, (rows, columns).
    dtype
        Type of the answer, such as ``int32``.
    fill
        Value of cells without a shape.
    all_touched
        Whether every cell that a shape touches counts, as thin lines need it.

    Returns
    -------
    array
        (rows, columns) of `dtype`.

    >>> from shapely import box
    >>> from riskmap.contract.grid import grid_from_bounds
    >>> grid = grid_from_bounds(west_m=0, north_m=20, cell_m=10, values=np.zeros((2, 2)))
    >>> written_in([(box(0, 0, 10, 10), 3)], grid, dtype="int32").tolist()
    [[0, 0], [3, 0]]
    """
    known = [(shape, value) for shape, value in shapes if shape is not None and not shape.is_empty]
    if not known:
        return np.full(grid.values.shape, fill, dtype)
    cells = rasterize(
        known,
        out_shape=grid.values.shape,
        transform=Affine(*grid.transform),
        fill=fill,
        all_touched=all_touched,
        dtype=dtype,
    )
    return np.asarray(cells)
