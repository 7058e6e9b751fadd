"""hillsight compare: what tells two or more places apart, and what would mislead."""

from __future__ import annotations

from typing import Any

import click

from hillsight.scripts import options, relocation_options, trust_options
from hillsight.scripts.running import script


@script(
    "compare",
    title="What tells several stations apart by what is seen, and what looks alike",
    outputs={
        "stdout": "text/plain; Facts by trust and by how plainly they are seen",
        "json_file": "application/json; The same for machines",
    },
)
@relocation_options.places_and_things
@relocation_options.view
@click.option(
    "--most",
    type=click.IntRange(min=1),
    default=8,
    show_default=True,
    help="Most differences, and most likenesses, to print.",
)
@trust_options.terrain_errors
@click.option("--json", "json_file", type=options.PATH, metavar="FILE", help="Write all of it as JSON.")
@options.quiet
def command(**given: Any) -> None:
    """Tell two or more stations apart by what is seen from each, before anybody has looked.

    Facts come by trust, ground shape first, then by how much they tell and how plainly they are seen; then
    what looks alike from all of them and would mislead. Without --looks, eight views all round.
    """
    from hillsight.scripts.compare_job import run_compare

    run_compare(given)


if __name__ == "__main__":
    command()
