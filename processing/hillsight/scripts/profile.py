"""hillsight profile: the ground along a sight line, what is seen of it, and a drawing for a handout."""

from __future__ import annotations

from typing import Any

from hillsight.scripts import cover_options, options, profile_options
from hillsight.scripts.running import script


@script(
    "profile",
    title="Sections of the ground along sight lines, with dead ground, crests and what is crossed",
    outputs={
        "out": "application/geopackage+sqlite3; GeoPackage: sections, their stretches and points",
        "csv": "text/csv; Samples: the ground at every grid line crossed",
        "drawing": "image/svg+xml; Drawing: one section, as SVG or PNG",
        "pictures": "image/png; Drawings: each section",
    },
    by_station="hillsight.jobs.profile:profile",
)
@options.terrain
@cover_options.cover
@options.stations
@profile_options.section
@options.output(required=False)
@options.quiet
def command(quiet: bool, **given: Any) -> None:
    """Cut the ground along a sight line: from each station to a target, or out on a true bearing.

    Tells where ground turns out of view and where it comes back, how deep the dead ground between lies, by
    how much a target is clear or hidden, and what is crossed on the way. --out, --csv and --drawing write
    it. A section says nothing of the ground to its left and right, nor of trees, walls and buildings.
    """
    from hillsight.jobs.profile import profile
    from hillsight.scripts.report import Terminal
    from hillsight.scripts.summary_lines import section_lines

    with Terminal(quiet=quiet) as terminal:
        result = profile(**given, listener=terminal)
    terminal.say(section_lines(result.sections), result)


if __name__ == "__main__":
    command()
