"""hillsight compare: what tells two or more places apart, and what would mislead."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from hillsight.scripts import options, relocation_options, trust_options
from hillsight.scripts.running import script

if TYPE_CHECKING:
    from hillsight.jobs.compare import Comparison


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
def command(quiet: bool, most: int, **given: Any) -> None:
    """Tell two or more stations apart by what is seen from each, before anybody has looked.

    Facts come by trust, ground shape first, then by how much they tell and how plainly they are seen; then
    what looks alike from all of them and would mislead. Without --looks, eight views all round.
    """
    from hillsight.jobs.compare import compare
    from hillsight.scripts.report import Terminal

    with Terminal(quiet=quiet) as report:
        result = compare(**given, listener=report)
    report.say(_lines(result, most), result)


def _lines(result: Comparison, most: int) -> list[str]:
    """The first of what tells the stations apart, and of what looks alike, with what each shows."""
    from hillsight.plan.relocation.comparing import varied
    from hillsight.words.trust import CLASS_NAMES

    if result.apart:
        lines = [f"What tells {', '.join(result.stations)} apart, most trusted first:"]
    else:
        lines = ["Nothing tells them apart."]
    for one in varied(result.apart, most):
        trust = f"{CLASS_NAMES[one.evidence_class]}, {one.information_bits:.2f} bits"
        lines.append(f"  {one.looks} [{trust}]: {one.question}")
        each = zip(result.stations, one.facts, strict=True)
        lines += [f"    {label}: {fact.words}" for label, fact in each]
    if len(result.apart) > most:
        lines.append(f"  and {len(result.apart) - most} more (see --most, --json)")
    if result.alike:
        lines.append("Alike from all of them, so no help:")
        lines += [f"  {one.looks}: {one.answers[0]}" for one in varied(result.alike, most)]
    return lines


if __name__ == "__main__":
    command()
