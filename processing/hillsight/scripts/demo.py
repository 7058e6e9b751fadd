"""hillsight demo: makes the invented upland, reads it and draws the result."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

import click

from hillsight.scripts.running import script

#: The demo's day for magnetic bearings: fixed, so that every run gives the same figures.
DAY = "2026-06-01"
REACH_M = "6000"


@script(
    "demo",
    title="The invented upland, read from three stations and drawn",
    outputs={
        "folder": "application/geopackage+sqlite3; GeoPackage: outlook.gpkg, beside its inputs and pictures",
    },
)
@click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("hillsight-demo"),
    show_default=True,
    help="Folder to fill; files of an earlier demo in it are replaced.",
)
@click.option("--no-pictures", is_flag=True, help="Leave out the pictures.")
def command(folder: Path, no_pictures: bool) -> None:
    """Make an invented upland, run `hillsight outlook` on its three stations and draw what came out.

    The place, its names and its ground are made up; nothing there can be walked.
    """
    from hillsight.scripts.demo_place import generate
    from hillsight.scripts.outlook import command as outlook

    click.echo(f"Making the upland in {folder}")
    generate(folder)
    arguments = ["--terrain", str(folder / "terrain.tif"), "--stations", str(folder / "stations.gpkg")]
    arguments += ["--features", str(folder / "features.gpkg"), "--reach", REACH_M, "--date", DAY]
    arguments += ["--rasters", str(folder / "rasters"), "--csv", str(folder / "bearing_list.csv")]
    arguments += ["--out", str(folder / "outlook.gpkg")]
    if not no_pictures:
        arguments += ["--pictures", str(folder / "pictures")]
    click.echo(f"$ {Path(sys.argv[0])} outlook {shlex.join(arguments)}")
    outlook.main(arguments, standalone_mode=False)
    seen = "the pictures, or " if not no_pictures else ""
    click.echo(f"Open {seen}{folder / 'outlook.gpkg'} in a desktop GIS.")


if __name__ == "__main__":
    command()
