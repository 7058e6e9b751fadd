"""Bookkeeping tables of a GeoPackage: metadata, column documentation and the list of raster codes."""

from __future__ import annotations

import json
import math
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING

from hillsight.errors import OutputError
from hillsight.layers.style_tables import write_style_tables
from hillsight.schema.columns import Layer
from hillsight.schema.rasters import RASTERS
from hillsight.words.states import GROUND_STATE_MEANINGS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from hillsight.layers.provenance import Provenance

STATE_CODES = "ground_state"  # name of the code list in gpkg_data_column_constraints

# Column for column as in the GeoPackage encoding standard, OGC 12-128 (annexes on metadata and schema).
_METADATA_TABLES = """
CREATE TABLE IF NOT EXISTS gpkg_metadata (
  id INTEGER CONSTRAINT m_pk PRIMARY KEY ASC NOT NULL,
  md_scope TEXT NOT NULL DEFAULT 'dataset',
  md_standard_uri TEXT NOT NULL,
  mime_type TEXT NOT NULL DEFAULT 'text/xml',
  metadata TEXT NOT NULL DEFAULT '');
CREATE TABLE IF NOT EXISTS gpkg_metadata_reference (
  reference_scope TEXT NOT NULL,
  table_name TEXT,
  column_name TEXT,
  row_id_value INTEGER,
  timestamp DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
  md_file_id INTEGER NOT NULL,
  md_parent_id INTEGER,
  CONSTRAINT crmr_mfi_fk FOREIGN KEY (md_file_id) REFERENCES gpkg_metadata(id),
  CONSTRAINT crmr_mpi_fk FOREIGN KEY (md_parent_id) REFERENCES gpkg_metadata(id));
CREATE TABLE IF NOT EXISTS gpkg_data_columns (
  table_name TEXT NOT NULL,
  column_name TEXT NOT NULL,
  name TEXT,
  title TEXT,
  description TEXT,
  mime_type TEXT,
  constraint_name TEXT,
  CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
  CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE IF NOT EXISTS gpkg_data_column_constraints (
  constraint_name TEXT NOT NULL,
  constraint_type TEXT NOT NULL,
  value TEXT,
  min NUMERIC,
  min_is_inclusive BOOLEAN,
  max NUMERIC,
  max_is_inclusive BOOLEAN,
  description TEXT,
  CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
CREATE TABLE IF NOT EXISTS gpkg_extensions (
  table_name TEXT,
  column_name TEXT,
  extension_name TEXT NOT NULL,
  definition TEXT NOT NULL,
  scope TEXT NOT NULL,
  CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name))
"""
_EXTENSIONS = (
    ("gpkg_metadata", "gpkg_metadata", "http://www.geopackage.org/spec/#extension_metadata"),
    ("gpkg_metadata_reference", "gpkg_metadata", "http://www.geopackage.org/spec/#extension_metadata"),
    ("gpkg_data_columns", "gpkg_schema", "http://www.geopackage.org/spec/#extension_schema"),
    ("gpkg_data_column_constraints", "gpkg_schema", "http://www.geopackage.org/spec/#extension_schema"),
)
# The notation of the metadata, not a vocabulary: the JSON standard.
_JSON_STANDARD = "https://www.rfc-editor.org/rfc/rfc8259"


@dataclass(frozen=True)
class Table:
    """A table of content that has been written.

    Parameters
    ----------
    name : table name
    style : name of its style
    meaning : what it holds, one clause
    geometry_column : name of the geometry column, empty for a raster
    layer : its declaration in the schema, None for a raster
    rows : number of rows, None for a raster
    codes : whether the raster holds the codes of the ground states
    station : label of the station that a raster is of, None where it is of several or of none
    """

    name: str
    style: str
    meaning: str
    geometry_column: str = ""
    layer: Layer | None = None
    rows: int | None = None
    codes: bool = False
    station: str | None = None


def write_tables(path: Path, tables: Sequence[Table], provenance: Provenance, shown_as: str) -> None:
    """Add styles, metadata and documentation to a GeoPackage in one transaction, then check the file.

    Raises
    ------
    OutputError : rows are missing or the file is damaged
    sqlite3.Error : the disk is full or faulty
    """
    stamp = f"{provenance.written_at[:19]}.000Z"
    with closing(sqlite3.connect(path, isolation_level=None)) as database:
        database.execute("PRAGMA journal_mode = DELETE")
        database.execute("BEGIN IMMEDIATE")
        for statement in _METADATA_TABLES.split(";"):
            database.execute(statement)
        database.executemany(
            "INSERT INTO gpkg_extensions (table_name, extension_name, definition, scope) "
            "VALUES (?, ?, ?, 'read-write')",
            _EXTENSIONS,
        )
        _order_contents(database, tables)
        write_style_tables(database, [(table.name, table.style) for table in tables])
        _write_metadata(database, tables, provenance, stamp)
        _document_columns(database, tables)
        database.execute("COMMIT")
        _check(database, tables, shown_as)


def _order_contents(database: sqlite3.Connection, tables: Sequence[Table]) -> None:
    """List the tables in the order given, whatever order they were written in."""
    (last,) = database.execute("SELECT max(rowid) FROM gpkg_contents").fetchone()
    database.executemany(
        "UPDATE gpkg_contents SET rowid = ? WHERE table_name = ?",
        [(last + place, table.name) for place, table in enumerate(tables, 1)],
    )


def _write_metadata(
    database: sqlite3.Connection, tables: Sequence[Table], provenance: Provenance, stamp: str
) -> None:
    """The provenance for the whole file, and one document a table below it."""

    def add(text: str) -> int:
        cursor = database.execute(
            "INSERT INTO gpkg_metadata (md_scope, md_standard_uri, mime_type, metadata) "
            "VALUES ('dataset', ?, 'application/json', ?)",
            (_JSON_STANDARD, text),
        )
        return int(cursor.lastrowid or 0)

    whole = add(provenance.as_json())
    database.execute(
        "INSERT INTO gpkg_metadata_reference (reference_scope, timestamp, md_file_id) "
        "VALUES ('geopackage', ?, ?)",
        (stamp, whole),
    )
    for table in tables:
        document: dict[str, object] = {"table": table.name, "meaning": table.meaning}
        if table.layer is not None:
            document["columns"] = [
                {"name": c.name, "type": c.type, "unit": c.unit, "meaning": c.meaning, "optional": c.optional}
                for c in table.layer.columns
            ]
        if table.layer is None:
            document["raster"] = table.style
            if table.station is not None:
                document["station"] = table.station
        if table.codes:
            document["codes"] = {str(int(code)): meaning for code, meaning in GROUND_STATE_MEANINGS.items()}
        part = add(json.dumps(document, ensure_ascii=False, indent=1))
        database.execute(
            "INSERT INTO gpkg_metadata_reference "
            "(reference_scope, table_name, timestamp, md_file_id, md_parent_id) VALUES ('table', ?, ?, ?, ?)",
            (table.name, stamp, part, whole),
        )


def _document_columns(database: sqlite3.Connection, tables: Sequence[Table]) -> None:
    for table in tables:
        if table.layer is not None:
            database.executemany(
                "INSERT INTO gpkg_data_columns "
                "(table_name, column_name, name, title, description) VALUES (?, ?, ?, ?, ?)",
                [
                    (
                        table.name,
                        column.name,
                        column.name,
                        column.name.replace("_", " "),
                        f"{column.meaning} [{column.unit}]" if column.unit else column.meaning,
                    )
                    for column in table.layer.columns
                ],
            )
        if table.layer is None and not table.codes:
            kind = RASTERS[table.style]
            # NaN needs no such value: it is one.
            no_data = None if math.isnan(kind.no_data) else kind.no_data
            database.execute(
                "UPDATE gpkg_2d_gridded_coverage_ancillary SET uom = ?, field_name = ?, "
                "quantity_definition = ?, data_null = ? WHERE tile_matrix_set_name = ?",
                (kind.unit or "1", kind.name, table.meaning, no_data, table.name),
            )
    if any(table.codes for table in tables):
        database.executemany(
            "INSERT INTO gpkg_data_column_constraints (constraint_name, constraint_type, value, description) "
            "VALUES (?, 'enum', ?, ?)",
            [(STATE_CODES, str(int(code)), meaning) for code, meaning in GROUND_STATE_MEANINGS.items()],
        )


def _check(database: sqlite3.Connection, tables: Sequence[Table], shown_as: str) -> None:
    """Count the rows and let SQLite look for damage: a full disk does not always speak up while writing."""
    for table in tables:
        quoted = table.name.replace('"', '""')
        found = database.execute(f'SELECT count(*) FROM "{quoted}"').fetchone()[0]
        if table.rows is not None and found != table.rows:
            raise OutputError(f"layer {table.name} holds {found} rows, not {table.rows}", where=shown_as)
    verdict = database.execute("PRAGMA quick_check(1)").fetchone()[0]
    if verdict != "ok":
        raise OutputError(
            f"the file is damaged ({verdict})", where=shown_as, remedy="See whether the disk is full"
        )
