"""hillsight panorama: the view from a station, drawn, with a key of what is seen."""

from __future__ import annotations

from typing import Any

from hillsight.scripts import cover_options, options, panorama_options
from hillsight.scripts.running import script


@script(
    "panorama",
    title="The view from a station, drawn: skyline, crests, dead ground and landmarks with a key",
    outputs={
        "out": "application/geopackage+sqlite3; GeoPackage: pictures, their lines and landmarks",
        "drawing": "image/svg+xml; Drawing: one view, or several beside each other, as SVG, PNG or PDF",
        "pictures": "image/png; Drawings: the view from each station",
    },
    by_station="hillsight.jobs.panorama:panorama",
)
@options.terrain
@cover_options.cover
@options.stations
@panorama_options.drawn
@options.output(required=False)
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """Draw the view from a station: all round, a sector of it, or what a camera sees.

    Skyline and crest lines, paler the farther off; brows and the dead ground behind crests; streams, walls
    and paths where they are seen; landmarks with numbers and a key below. --drawing draws it, --out writes
    every line and landmark as layers, on the ground and in picture coordinates. Trees, walls and buildings
    that the terrain leaves out are not drawn.
    """
    from hillsight.jobs.panorama import panorama
    from hillsight.scripts.report import Terminal
    from hillsight.scripts.summary_lines import panorama_lines

    with Terminal(quiet=quiet) as terminal:
        result = panorama(**given, listener=terminal)
    terminal.say(panorama_lines(result.frames), result)


if __name__ == "__main__":
    command()
