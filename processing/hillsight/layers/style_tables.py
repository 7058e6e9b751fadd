"""Styles inside a GeoPackage, in the tables of the open drafts for portrayal and semantic annotations.

The drafts are those of OGC Testbed-16 (report OGC 20-019r1): ``gpkgext_styles`` names the styles,
``gpkgext_stylesheets`` holds the text of each, and a semantic annotation of the type "style" says which
tables a style is for. Drafts, not a standard: a reader that does not know them passes them over.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING

from hillsight.errors import OutputError
from hillsight.layers.atomic import where_written
from hillsight.layers.styles import style_text

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

#: Media type of an SLD 1.0 document, as OGC API - Styles (draft 20-009) has it.
SLD_FORMAT = "application/vnd.ogc.sld+xml;version=1.0"

_TABLES = """
CREATE TABLE gpkgext_styles (
  id INTEGER PRIMARY KEY NOT NULL,
  style TEXT NOT NULL,
  description TEXT,
  uri TEXT NOT NULL);
CREATE TABLE gpkgext_stylesheets (
  id INTEGER PRIMARY KEY NOT NULL,
  style_id INTEGER NOT NULL,
  format TEXT NOT NULL,
  stylesheet BLOB NOT NULL,
  CONSTRAINT style_id_fk FOREIGN KEY (style_id) REFERENCES gpkgext_styles(id));
CREATE TABLE gpkgext_semantic_annotations (
  id INTEGER PRIMARY KEY NOT NULL,
  type TEXT NOT NULL,
  title TEXT NOT NULL,
  description TEXT,
  uri TEXT NOT NULL);
CREATE TABLE gpkgext_sa_reference (
  table_name TEXT NOT NULL,
  key_column_name TEXT,
  key_value INTEGER,
  sa_id INTEGER NOT NULL,
  CONSTRAINT sa_id_fk FOREIGN KEY (sa_id) REFERENCES gpkgext_semantic_annotations(id))
"""

_REPORT = "https://docs.ogc.org/per/20-019r1.html"
_EXTENSIONS = (
    ("gpkgext_styles", "im_portrayal"),
    ("gpkgext_stylesheets", "im_portrayal"),
    ("gpkgext_semantic_annotations", "im_semantic_annotations"),
    ("gpkgext_sa_reference", "im_semantic_annotations"),
)


def write_style_tables(database: sqlite3.Connection, style_of_table: Sequence[tuple[str, str]]) -> None:
    """Add the styles of some tables, each style once.

    style_of_table : names of a table and of its style
    """
    for statement in _TABLES.split(";"):
        database.execute(statement)
    database.executemany(
        "INSERT INTO gpkg_extensions (table_name, extension_name, definition, scope) "
        "VALUES (?, ?, ?, 'read-write')",
        [(table, extension, _REPORT) for table, extension in _EXTENSIONS],
    )
    styles = list(dict.fromkeys(style for _, style in style_of_table))
    for number, style in enumerate(styles, 1):
        said, uri = f"how {style} is drawn", f"styles/{style}.sld"
        database.execute("INSERT INTO gpkgext_styles VALUES (?, ?, ?, ?)", (number, style, said, uri))
        database.execute(
            "INSERT INTO gpkgext_stylesheets VALUES (?, ?, ?, ?)",
            (number, number, SLD_FORMAT, style_text(style).encode()),
        )
        database.execute(
            "INSERT INTO gpkgext_semantic_annotations VALUES (?, 'style', ?, ?, ?)",
            (number, style, said, uri),
        )
    database.executemany(
        "INSERT INTO gpkgext_sa_reference VALUES (?, NULL, NULL, ?)",
        [(table, styles.index(style) + 1) for table, style in style_of_table],
    )


def styles_in(package: Path) -> dict[str, str]:
    """SLD texts that a GeoPackage of hillsight holds, by the name of the style.

    Raises
    ------
    OutputError : the file holds none, or cannot be read
    """
    file = where_written(package).resolve()
    try:
        with closing(sqlite3.connect(f"{file.as_uri()}?mode=ro", uri=True)) as database:
            found = database.execute(
                "SELECT style, stylesheet FROM gpkgext_styles JOIN gpkgext_stylesheets "
                "ON style_id = gpkgext_styles.id WHERE format = ? ORDER BY gpkgext_styles.id",
                (SLD_FORMAT,),
            ).fetchall()
    except sqlite3.Error as error:
        raise OutputError(f"its styles cannot be read ({error})", where=str(package)) from error
    return {str(style): bytes(text).decode() for style, text in found}
