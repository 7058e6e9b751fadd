"""hillsight sheet: map sheets of any layers, to exact scale, for print and for a drawing program."""

from __future__ import annotations

from typing import Any

from hillsight.scripts import options, sheet_options
from hillsight.scripts.running import script


@script(
    "sheet",
    title="Map sheets to exact scale, of a terrain and of layers that hillsight wrote",
    outputs={"out": "application/pdf; Map sheet: PDF, SVG or PNG"},
)
@options.terrain
@options.stations
@sheet_options.content
@sheet_options.area
@sheet_options.paper
@sheet_options.out
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """Draw map sheets that print to an exact scale: 1:25,000 unless told, on A4 or A3.

    Contours are those of the terrain model as it is, with nothing smoothed. What is too large for the paper
    becomes numbered sheets with an index. Trees, walls and paths are on the map only where --features has
    them.
    """
    from hillsight.jobs.sheet import sheet
    from hillsight.scripts.report import Terminal
    from hillsight.scripts.summary_lines import sheet_lines

    with Terminal(quiet=quiet) as terminal:
        result = sheet(**given, listener=terminal)
    terminal.say(sheet_lines(result), result)


if __name__ == "__main__":
    command()
