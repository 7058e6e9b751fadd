"""A sighting as text: a form to fill in, a file written back, and each statement in plain English."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

from hillsight.plan.kinds.registry import KINDS, word_figures
from hillsight.plan.kinds.shared.kind import StatementKind
from hillsight.plan.statement import Picture, Statement
from hillsight.plan.toml_file import COMPASS_SPREAD_DEG, DEGREES_SPREAD_DEG, toml_value
from hillsight.plan.vocabulary import COMMON, COMPASS, FORMAT, PICTURE, SURENESS, SightingField
from hillsight.words.quantities import per_cent

if TYPE_CHECKING:
    from hillsight.plan.statement import Sighting

_WIDTH = 100

_LEAD = """\
What a picture shows, as its observer would say it. hillsight weighs candidates by it.

Lines that begin with # and a space explain. Lines that begin with # alone are examples: take the # away
from all lines of one, change what it says, and copy it as often as you like. Leave the others as they are.

Write first how the near ground runs and where it turns out of view, then the middle ground, the far
ground and the skyline; things and measurements come last. The shape of the ground counts most, for it
outlasts any map; water counts less; walls, fences and tracks count little. What you looked for and do not
see is worth saying too. Say what you see, not where you believe it is from. Ten statements are plenty.
"""

#: Order in which an observer does best to write.
_SECTIONS = ("The near ground", "The middle ground", "The far ground", "The skyline", "Things", "Measured")

#: What a hill-goer calls the landforms that can be told of.
LANDFORM_KINDS = {
    "summit": "a top with 15 m of prominence or more; hill, top, peak and mountain mean summits and knolls",
    "knoll": "a lesser top",
    "saddle": "the dip between two tops; also col, pass, gap",
    "spur": "ground that juts out of a hillside; also nose, shoulder",
    "re-entrant": "a small valley that runs into a hillside; also gully, combe",
    "ridge": "the crest between tops",
    "flat top, shelf, floor": "level ground on a top, on a slope, in a valley",
    "hollow": "ground with no way down and out",
}

_PICTURE_EXAMPLE = {
    "title": "the picture from the ridge",
    "looks": "NW",
    "north": "grid",
    "give_or_take_deg": 20,
    "width_deg": 60,
    "taken": "2026-06-01T15:30:00+01:00",
    "sun_right_deg": -40,
}


def template() -> str:
    """A sighting file to fill in: examples of every kind, commented out, with what may stand in them.

    Lines that begin with ``#`` and no space become statements when it is taken away.
    """
    lines = [f"format = {toml_value(FORMAT)}", ""]
    for paragraph in _LEAD.split("\n\n"):
        lines += [*_comment(" ".join(paragraph.split())), "#"]
    lines += _comment("Words that stand for figures:")
    lines += [*_figures(), "#", *_comment("Any statement may have, besides what its example shows:")]
    for field in COMMON:
        lines += _comment(f"  {field.name}: {field.meaning}{_may_be(field)}", "    ")
    lines += ["", "[picture]"]
    for field in PICTURE:
        lines += _beside(field, _PICTURE_EXAMPLE.get(field.name))
    for title in dict.fromkeys((*_SECTIONS, *(kind.section for kind in KINDS.values()))):
        kinds = [kind for kind in KINDS.values() if kind.section == title]
        if kinds:
            lines += ["", "", *_comment(f"---- {title} ----")]
        for kind in kinds:
            lines += ["", *_example(kind)]
    return "\n".join(lines) + "\n"


def _figures() -> list[str]:
    """What words stand for figures, and kinds of landforms."""
    lines = []
    for figures in word_figures():
        spans = ", ".join(f"{word} {span}" for word, span in figures.spans().items())
        lines += _comment(f"  {figures.of} ({figures.unit}): {spans}", "    ")
    told = ", ".join(f"{word} {per_cent(chance)}" for word, chance in SURENESS.items())
    lines += _comment(f"  sure (chance of being quite wrong): {told}", "    ")
    lines += ["#", "# Kinds of landforms that are read from the terrain, beside the kinds on your map:"]
    for kind, meaning in LANDFORM_KINDS.items():
        lines += _comment(f"  {kind}: {meaning}", "    ")
    return lines


def _example(kind: StatementKind) -> list[str]:
    """The example of a kind, commented out, and the fields that it may have besides."""
    given = kind.example
    fields = {field.name: field for field in (*COMMON, *kind.fields)}
    lines = _comment(f"{kind.name}: {kind.meaning}")
    lines += ["#[[statement]]", f"#kind = {toml_value(kind.name)}"]
    for name, value in given.items():
        lines += _beside(fields[name], value)
    more = [field for field in kind.fields if field.name not in given]
    instead = [name for name in kind.either_or if name not in given]
    for field in more:
        lead = "or instead" if field.name in instead else "may add"
        lines += _comment(f"{lead} {field.name}: {field.meaning}{_may_be(field)}", "    ")
    return lines


def _beside(field: SightingField, value: Any) -> list[str]:
    """A field's line, commented out, with its meaning and words beside it or above where that is long."""
    line = f"#{field.name} = {toml_value(value)}" if value is not None else f"#{field.name} ="
    note = f"# {f'one of {", ".join(field.words)}' if field in COMMON else field.meaning + _may_be(field)}"
    if len(line) + len(note) + 2 <= _WIDTH:
        return [f"{line}  {note}"]
    return [*_comment(note[2:]), line]


def _may_be(field: SightingField) -> str:
    if field.words:
        return f" ({', '.join(field.words)})"
    if field.form == "number":
        return f" ({field.least:.10g} to {field.most:.10g}{' ' + field.unit if field.unit else ''})"
    return ""


def _comment(text: str, further: str = "") -> list[str]:
    return textwrap.wrap(
        text,
        _WIDTH,
        initial_indent="# ",
        subsequent_indent=f"# {further}",
        break_long_words=False,
        break_on_hyphens=False,
    )


def write_sighting(sighting: Sighting) -> str:
    """The file that ``read_sighting`` reads as this sighting; notes are not kept, for nobody reads them."""
    blocks = [[f"format = {toml_value(FORMAT)}"], ["[picture]", *_picture_lines(sighting.picture)]]
    for statement in sighting.statements:
        lines = ["[[statement]]", f"kind = {toml_value(statement.kind)}"]
        if statement.part != Statement.part:
            lines.append(f"part = {toml_value(statement.part)}")
        if statement.sure != Statement.sure:
            lines.append(f"sure = {toml_value(statement.sure)}")
        blocks.append(lines + [f"{key} = {toml_value(value)}" for key, value in statement.values.items()])
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def _picture_lines(picture: Picture) -> list[str]:
    """Fields of the picture that are not as they would be if nothing were said."""
    values: dict[str, Any] = {}
    spread_deg = Picture.give_or_take_deg
    if picture.title:
        values["title"] = picture.title
    if picture.looks_deg is not None:
        points = {degrees: name for name, degrees in COMPASS.items()}
        as_point = picture.looks_deg in points and picture.give_or_take_deg == COMPASS_SPREAD_DEG
        values["looks"] = points[picture.looks_deg] if as_point else picture.looks_deg
        spread_deg = COMPASS_SPREAD_DEG if as_point else DEGREES_SPREAD_DEG
    if picture.north != Picture.north:
        values["north"] = picture.north
    if picture.give_or_take_deg != spread_deg:
        values["give_or_take_deg"] = picture.give_or_take_deg
    if picture.width_deg != Picture.width_deg:
        values["width_deg"] = picture.width_deg
    if picture.taken is not None:
        values["taken"] = picture.taken
    if picture.sun_right_deg is not None:
        values["sun_right_deg"] = picture.sun_right_deg
    return [f"{key} = {toml_value(value)}" for key, value in values.items()]
