"""hillsight demo: makes the invented upland, reads it and draws the result."""

from __future__ import annotations

from pathlib import Path

import click

from hillsight.scripts.running import script, show


@script(
    "demo",
    title="The invented upland, read from three stations and drawn",
    outputs={
        "folder": "application/geopackage+sqlite3; GeoPackage: outlook.gpkg, beside its inputs and pictures",
    },
    reads_files=False,
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
    """Make an invented upland, read it from its three stations, and put pictures to the test there.

    Runs `hillsight outlook`, draws a map by `hillsight sheet`, and runs `hillsight relocate` on three
    sightings: one is decided, one undecided, and one was taken from none of the stations. A drawn
    photograph is put to `hillsight find-skyline`, `hillsight mark`, `hillsight resect`,
    `hillsight relocate` and `hillsight panorama`.

    The place, its names and its ground are made up; nothing there can be walked.
    """
    from hillsight.jobs.demo import demo
    from hillsight.scripts.steps import Steps

    show(f"Making the upland in {folder}")
    with Steps() as steps:
        demo(folder=folder, no_pictures=no_pictures, listener=steps)
    seen = "the pictures, or " if not no_pictures else ""
    show(f"Open {seen}{folder / 'outlook.gpkg'} in a desktop GIS.")
    sheets = f"{folder / 'exercises'} --out {folder / 'exercise_sheets'} --pages"
    show(f"Print three exercises: hillsight exercise print {sheets}")


if __name__ == "__main__":
    command()
