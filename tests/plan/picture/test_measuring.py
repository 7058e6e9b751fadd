"""How far a trace is taken to be out, by what its file says."""

import dataclasses

import numpy as np
import pytest

from hillsight.plan.picture.camera import Lens
from hillsight.plan.picture.marks import MarkedPhotograph, Marks, Trace
from hillsight.plan.picture.measuring import picture_skyline, trace_deg
from hillsight.plan.picture.photograph import LensBelief

LENS = Lens.of_width(4000, 3000, 60.0)
PX_DEG = np.degrees(1.0 / LENS.focal_px)


def marks(*give_or_take_px):
    pieces = [
        Trace(np.linspace(800.0 * k, 800.0 * k + 700.0, 50), np.full(50, 900.0), "traced", give)
        for k, give in enumerate(give_or_take_px)
    ]
    return Marks(MarkedPhotograph("hill.jpg", 4000, 3000, "0" * 64), (), tuple(pieces))


def test_a_trace_of_unknown_care_is_out_as_the_page_on_verdicts_says():
    assert trace_deg(marks(None), PX_DEG) == 0.3
    assert trace_deg(marks(3.0, None), PX_DEG) == 0.3


@pytest.mark.parametrize("give_px", [10.0, 40.0])
def test_a_trace_is_out_by_what_it_says_and_what_no_trace_avoids(give_px):
    told_deg = np.degrees(np.arctan(give_px / LENS.focal_px))
    found = trace_deg(marks(give_px, give_px), PX_DEG)
    assert told_deg < found < told_deg + 0.12
    assert found > trace_deg(marks(1.0), PX_DEG) > 0.1


def test_half_of_it_is_alike_along_the_trace():
    measured = picture_skyline(marks(10.0), LensBelief(LENS, 0.05, "as told"), 100.0)
    errors = dataclasses.asdict(measured.errors)
    assert errors["white_deg"] == errors["alike_deg"]
    assert np.hypot(errors["white_deg"], errors["alike_deg"]) == pytest.approx(trace_deg(marks(10.0), PX_DEG))
