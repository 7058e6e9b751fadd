"""Themes measured on ground made by formula."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.plan.exercise.marks_in_view import MarksInView
from hillsight.plan.exercise.themes import (
    HIGHER_OR_LOWER,
    SPUR_AND_STREAM,
    THEMES,
    Across,
    Contrast,
    contrasts,
)
from hillsight.sight.maxima import Maxima
from plan.exercise.test_look_alikes import looks_from
from plan.made_hills import (
    EYE_M,
    cone,
    frame_of,
    knoll,
    line,
    plane,
    ridge,
    saddle_crest,
    steps,
    surface_of,
    together,
)

NORTH = np.array([0.0])


def found(ground, places: list[tuple[float, float]], things=()) -> dict[str, Contrast]:
    """Contrasts of places in a picture that looks north, by theme."""
    surface = surface_of(ground)
    looks = looks_from(surface, *places)
    marks = MarksInView.of(looks, frame_of(things), surface, Maxima.of(surface.height_m), EYE_M, 0.0, 0.0)
    return {one.theme: one for one in contrasts(Across(looks, NORTH, 60.0), marks)}


def test_near_brow_and_far_brow() -> None:
    one = found(steps((400, -30), (600, 0)), [(0, 350), (0, 0)])["near brow or far brow"]
    assert one.measured[:, 0] == pytest.approx([50, 400], abs=15)
    assert one.sides()[:, 0].tolist() == [-1, 1]
    assert {s.values["distance"] for s in one.says(-1)} == {"near"}


def test_a_saddle_on_the_skyline() -> None:
    crest = together(plane(), ridge(800, 300, saddle_crest(0.0)))
    even = together(plane(), ridge(800, 300, lambda east: 110.0 + 0 * east))
    # At either end, some 25 degrees off, the crest stands 108.4 m above the eye and 883 m away (7.0 degrees);
    # in the middle the saddle stands 48.4 m above it and 800 m away (3.5 degrees).
    ends, low = np.degrees(np.arctan([108.4 * np.cos(np.radians(25)) / 800, 48.4 / 800]))
    dips = found(crest, [(0, 0)])["saddle on the skyline"]
    assert dips.measured[0, 0] == pytest.approx(ends - low, abs=0.3)
    assert dips.sides()[0, 0] == 1
    # An even crest stands highest where it is nearest.
    assert found(even, [(0, 0)])["saddle on the skyline"].sides()[0, 0] == -1


def test_tops_on_the_skyline_are_counted() -> None:
    one = together(plane(), cone(0, 500, 60, 120))
    two = together(plane(), cone(-150, 500, 60, 120), cone(150, 500, 60, 120))
    name = "one top or several on the skyline"
    assert found(one, [(0, 0)])[name].measured[0, 0] == 1
    assert found(two, [(0, 0)])[name].measured[0, 0] == 2


def test_rising_and_falling_ground_and_the_high_side() -> None:
    slope = found(plane(slope_north_deg=10.0), [(0, 0)])["rising or falling ground before us"]
    assert slope.measured[0, 0] == pytest.approx(10, abs=0.5)
    assert slope.sides()[0, 0] == 1
    left = found(together(plane(), cone(-250, 500, 90, 200)), [(0, 0)])
    assert left["high ground on the left or on the right"].sides()[0, 0] in (0, 1)
    assert left["high ground on the left or on the right"].measured[0, 0] > 0


def test_a_top_above_and_below_us() -> None:
    ground = together(steps((0, 20), (200, 0), first_deg=0.0), cone(0, 700, 40, 150))
    # The top stands 40 m on ground that is level with the upper place; the lower one lies 73 m below that.
    one = found(ground, [(0, -300), (0, 250)], [knoll("Lone Knoll", 0, 700)])[HIGHER_OR_LOWER]
    assert one.about == "Lone Knoll"
    rise = np.degrees(np.arctan((40 - EYE_M) / 450))
    assert one.measured[1, 0] == pytest.approx(rise, abs=0.3)
    assert {s.values["what"] for s in one.says(1)} == {"Lone Knoll"}


def test_a_spur_left_and_right_of_a_stream() -> None:
    things = [
        (None, "spur", "ground_shape", 0.0, line((0, 300), (0, 500))),
        ("Long Beck", "stream", "water", 0.0, line((200, 300), (200, 500))),
    ]
    # From the south the beck is to the right of the spur; looked at from beyond the beck and north it is not.
    one = found(plane(0.2), [(100, 0), (100, -200)], things)[SPUR_AND_STREAM]
    assert (one.measured[:, 0] < -10).all()
    assert one.sides()[:, 0].tolist() == [-1, -1]
    assert one.says(-1)[0].values == {"what": "spur", "is": "left of", "other": "stream"}


def test_every_theme_is_named_once() -> None:
    assert len(set(THEMES)) == len(THEMES) == 8
