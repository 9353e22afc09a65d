"""What a GeoPackage says of itself: titles of layers and columns, and how each is drawn.

Titles and descriptions of columns are the schema extension of GeoPackage (OGC 12-128, annex F):
the tables ``gpkg_data_columns`` and ``gpkg_data_column_constraints``. Styles are in the table
``layer_styles``, which desktop GIS programs look for when they open a layer (common practice, no
standard).
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Final

from riskmap.contract.columns import Layer
from riskmap.contract.features import column
from riskmap.publish.gis.desktop_styles import compose_qml
from riskmap.publish.gis.files import FIXED_MOMENT
from riskmap.publish.gis.metadata_further import DECLARED
from riskmap.publish.gis.metadata_layers import PARCELS_MEANING, PARCELS_TITLE, described
from riskmap.publish.gis.styles import LAYER_TITLES, STYLES, WORD_STYLES, compose_style

EXTENSION: Final = "gpkg_schema"
DEFINED_IN: Final = "http://www.geopackage.org/spec/#extension_schema"
_TABLES: Final = """
CREATE TABLE gpkg_data_columns (
  table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT,
  mime_type TEXT, constraint_name TEXT,
  CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
  CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC,
  min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
CREATE TABLE IF NOT EXISTS gpkg_extensions (
  table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, definition TEXT NOT NULL,
  scope TEXT NOT NULL, CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name));
CREATE TABLE layer_styles (
  id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT, f_table_schema TEXT,
  f_table_name TEXT, f_geometry_column TEXT, styleName TEXT, styleQML TEXT, styleSLD TEXT,
  useAsDefault BOOLEAN, description TEXT, owner TEXT, ui TEXT, update_time DATETIME);
"""


def note_package(path: Path, *, visits: int) -> None:
    """Write titles, descriptions and styles into a GeoPackage that was just made.

    Parameters
    ----------
    path
        The GeoPackage; its layers are the parcels and those that are declared beside them.
    visits
        Visits of a season to systems that are to be found: what the classes are counted by.
    """
    with closing(sqlite3.connect(path)) as base, base:
        base.executescript(_TABLES)
        for table in ("gpkg_data_columns", "gpkg_data_column_constraints"):
            row = (table, None, EXTENSION, DEFINED_IN, "read-write")
            base.execute("INSERT INTO gpkg_extensions VALUES (?, ?, ?, ?, ?)", row)
        for layer, shapes in base.execute(
            "SELECT table_name, column_name FROM gpkg_geometry_columns"
        ).fetchall():
            declared = DECLARED.get(layer)
            _note_layer(base, layer, declared)
            _note_columns(base, layer, shapes, declared)
            _add_styles(base, layer, shapes, visits)
        base.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, last_change) "
            "VALUES ('layer_styles', 'attributes', 'layer_styles', ?)",
            (FIXED_MOMENT,),
        )


def _note_layer(base: sqlite3.Connection, layer: str, declared: Layer | None) -> None:
    title, meaning = (
        (PARCELS_TITLE, PARCELS_MEANING)
        if declared is None
        else (declared.title or layer, declared.meaning)
    )
    base.execute(
        "UPDATE gpkg_contents SET identifier = ?, description = ? WHERE table_name = ?",
        (title, meaning, layer),
    )


def _note_columns(
    base: sqlite3.Connection, layer: str, shapes: str, declared: Layer | None
) -> None:
    of_layer = {} if declared is None else {found.name: found for found in declared.columns}
    kinds = base.execute(f'PRAGMA table_info("{layer}")').fetchall()
    for name in (str(row[1]) for row in kinds if not row[5] and row[1] != shapes):
        known = of_layer.get(name) or column(name)
        base.execute(
            "INSERT INTO gpkg_data_columns VALUES (?, ?, ?, ?, ?, NULL, NULL)",
            (layer, name, name, known.label or name, described(known)),
        )


def _add_styles(base: sqlite3.Connection, layer: str, shapes: str, visits: int) -> None:
    """Add the styles of a layer; the first is the one that it opens with."""
    own = tuple(name for name in LAYER_TITLES if name == layer)
    for place, name in enumerate(own if layer in DECLARED else (*STYLES, *WORD_STYLES)):
        qml, sld = compose_qml(name, visits=visits), compose_style(name, visits=visits, layer=layer)
        base.execute(
            "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, "
            "f_geometry_column, styleName, styleQML, styleSLD, useAsDefault, description, owner, "
            "update_time) VALUES ('', '', ?, ?, ?, ?, ?, ?, '', '', ?)",
            (layer, shapes, name, qml, sld, place == 0, FIXED_MOMENT),
        )
