"""Names on a section: what is worth one, in which order, and where it finds room."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.reading.section.profile import HIDDEN
from hillsight.reading.section.section_words import depth_words, passed_name
from hillsight.sheets.paper import palette, signs
from hillsight.sheets.paper.labels import rows_above, spread
from hillsight.sheets.paper.marks import name_of
from hillsight.sheets.paper.palette import INK
from hillsight.sheets.paper.sign_kinds import feature_mark
from hillsight.words.quantities import metres, whole_number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.reading.section.features import Passed
    from hillsight.reading.section.profile import Section
    from hillsight.sheets.paper.labels import Box
    from hillsight.sheets.paper.page import Page
    from hillsight.sheets.section.section_scale import Scale

_SIZE = 8.0
_FEET = 9.0  # least pixels between leaders
_MOST = 60  # names tried on a page
_FIRST = {"target": 0, "crest": 1, "again": 2, "deepest": 3, "named": 4, "unnamed": 5}


@dataclass(frozen=True)
class Label:
    """A mark on the section and its words.

    rank : place in the order in which names choose, smaller first
    grid_m, lowered_m : of the mark; lowered_m is its top
    to_grid_m : end of an area that is crossed, else as grid_m
    stick_m : height of the thing above the ground
    mark, state : the sign; none if there is no mark
    colour : of the ground between the ends of an area
    anchor_m, anchor_lowered_m : where the leader starts
    """

    text: str
    rank: tuple[int, float]
    grid_m: float
    lowered_m: float
    to_grid_m: float
    anchor_m: float
    anchor_lowered_m: float
    stick_m: float = 0.0
    mark: signs.Mark | None = None
    state: str = "visible"
    colour: str = INK


def labels_of(section: Section, passed: Sequence[Passed]) -> list[Label]:
    """Everything on a section that has a mark or a name."""
    samples, found = section.samples, []

    def add(
        text: str,
        sort: str,
        grid_m: float,
        mark: signs.Mark | None,
        weight: float = 0.0,
        stick_m: float = 0.0,
    ) -> None:
        lowered_m = section.lowered_m(grid_m) + stick_m
        rank = (_FIRST[sort], weight)
        found.append(Label(text, rank, grid_m, lowered_m, grid_m, grid_m, lowered_m, stick_m, mark))

    for stretch in section.stretches:
        if stretch.deepest is None:
            continue
        weight = -(stretch.to_grid_m - stretch.from_grid_m)
        if stretch.crest is not None:
            i, role = stretch.crest.sample, stretch.crest.role
            mark = signs.dot(signs.CREST_ROLES[role].colour, f"point of the {role}")
            text = f"{role} {metres(samples.distance_m[i])}, {samples.ground_m[i]:.0f} m high"
            add(text, "crest", float(samples.grid_m[i]), mark, weight)
        if stretch.emerges:
            at = metres(section.ground_distance_m(stretch.to_grid_m))
            add(f"in view again {at}", "again", stretch.to_grid_m, signs.SEEN_POINT, weight)
        deep = f"{depth_words(stretch.depth_m)} deep at {metres(samples.distance_m[stretch.deepest])}"
        add(deep, "deepest", float(samples.grid_m[stretch.deepest]), None, weight, stretch.depth_m)
    target = section.course.target
    if target is not None and section.line is not None:
        hidden = section.line.state == HIDDEN
        high = "" if np.isnan(samples.ground_m[-1]) else f", {samples.ground_m[-1]:.0f} m high"
        text = f"{name_of(target.name, 22)}, {metres(section.length_m)}{high}"
        mark = signs.HIDDEN_TARGET if hidden else signs.TARGET
        add(text, "target", section.length_grid_m, mark, 0.0, target.height_m)
    return found + [_feature_label(section, one) for one in passed]


def _feature_label(section: Section, passed: Passed) -> Label:
    name = name_of(passed_name(passed).removeprefix("a "))
    from_m, to_m = (section.ground_distance_m(d) for d in (passed.from_grid_m, passed.to_grid_m))
    near, far = metres(from_m), metres(to_m)
    text = f"{name}, {near}" if near == far else f"{name}, {whole_number(from_m)}–{far}"
    if not passed.is_crossed:
        text += f" {'▸' if passed.offset_m > 0 else '◂'}{metres(abs(passed.offset_m))}"
    middle_m = (passed.from_grid_m + passed.to_grid_m) / 2
    rank = (_FIRST["named" if passed.name else "unnamed"], abs(passed.offset_m))
    return Label(
        text, rank, passed.from_grid_m, section.lowered_m(passed.from_grid_m), passed.to_grid_m, middle_m,
        section.lowered_m(middle_m), 0.0,
        feature_mark(passed.evidence_class, passed.kind or ""), passed.state,
        palette.EVIDENCE_CLASSES.get(passed.evidence_class, palette.UNCLASSED),
    )  # fmt: skip


def draw_labels(page: Page, scale: Scale, section: Section, labels: Sequence[Label], band: Box) -> int:
    """Write the names that find room in rows above the section; returns how many found none.

    The weightier choose first: target, crests, where ground comes back into view, then map features.
    """
    order = sorted(range(len(labels)), key=lambda i: labels[i].rank)
    height = page.size_of("X", _SIZE)[1]
    widths = [page.size_of(label.text, _SIZE)[0] for label in labels]
    xs = [scale.across(label.anchor_m) for label in labels]
    kept: list[int] = []
    boxes: list[Box | None] = []
    feet: list[float] = []
    for i in order[:_MOST]:
        if not np.isfinite(labels[i].anchor_lowered_m):
            continue
        tried = [*kept, i]
        stands = spread([xs[j] for j in tried], _FEET)
        placed = rows_above(stands, [widths[j] for j in tried], height, band, all_or_none=True)
        if None not in placed:
            kept, boxes, feet = tried, placed, stands
    for i, box, foot in zip(kept, boxes, feet, strict=True):
        assert box is not None
        y = min(scale.up(labels[i].anchor_lowered_m), scale.place.top - 8)
        page.line(
            [xs[i], foot, foot], [y + 8, scale.place.top + 2, box.bottom], linewidth=0.6,
            color=palette.LEADER, zorder=3.5,
        )  # fmt: skip
        page.text(box.left, (box.bottom + box.top) / 2, labels[i].text, _SIZE)
    return len(labels) - len(kept)
