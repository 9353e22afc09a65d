"""Workbooks: the first row of a sheet holds the names of its columns."""

from __future__ import annotations

import pyogrio

HEADINGS = {"OGR_XLSX_HEADERS": "FORCE", "OGR_ODS_HEADERS": "FORCE"}
"""Else the library takes the heading for a row of text wherever all cells are text."""


def read_headings() -> None:
    """Tell the library that reads workbooks to take the first row of a sheet as its heading."""
    pyogrio.set_gdal_config_options(HEADINGS)
