"""hillsight demo: makes the invented upland, reads it and draws the result."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

import click

from hillsight.scripts.running import UNDECIDED, script

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
    """Make an invented upland, read it from its three stations, and put three pictures to the test there.

    Runs `hillsight outlook`, and `hillsight relocate` on three sightings: one is decided, one undecided, and
    one was taken from none of the stations.

    The place, its names and its ground are made up; nothing there can be walked.
    """
    from hillsight.scripts.demo_place import generate, sightings
    from hillsight.scripts.outlook import command as outlook
    from hillsight.scripts.relocate import command as relocate

    click.echo(f"Making the upland in {folder}")
    generate(folder)
    arguments = ["--terrain", str(folder / "terrain.tif"), "--stations", str(folder / "stations.gpkg")]
    arguments += ["--features", str(folder / "features.gpkg"), "--reach", REACH_M, "--date", DAY]
    arguments += ["--rasters", str(folder / "rasters"), "--csv", str(folder / "bearing_list.csv")]
    arguments += ["--out", str(folder / "outlook.gpkg")]
    if not no_pictures:
        arguments += ["--pictures", str(folder / "pictures")]
    _run(outlook, arguments)
    for sighting in sightings(folder):
        out = folder / f"verdict_{sighting.stem}"
        arguments = ["--sighting", str(sighting), "--terrain", str(folder / "terrain.tif")]
        arguments += ["--stations", str(folder / "stations.gpkg"), "--landforms"]
        arguments += ["--features", str(folder / "features.gpkg"), "--reach", REACH_M]
        arguments += ["--out", f"{out}.gpkg"]
        arguments += ["--report", f"{out}.md" if no_pictures else f"{out}.html"]
        click.echo("")
        _run(relocate, arguments)
    seen = "the pictures, or " if not no_pictures else ""
    click.echo(f"Open {seen}{folder / 'outlook.gpkg'} in a desktop GIS.")


def _run(script: click.Command, arguments: list[str]) -> None:
    """Run another script, shown as it would be typed; an undecided verdict is no failure here."""
    click.echo(f"$ {Path(sys.argv[0])} {script.name} {shlex.join(arguments)}")
    try:
        script.main(arguments, standalone_mode=False)
    except SystemExit as end:
        if end.code != UNDECIDED:
            raise


if __name__ == "__main__":
    command()
