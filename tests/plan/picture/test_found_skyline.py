"""The sky's edge found in drawn photographs whose edge is known, and pictures that have none.

The renderer (docs/studies/drawn_photograph.py) shares no code with hillsight; grounds and seeds here are
none that
anything was settled on. The bound of 3 pixels is that of a line traced by hand; common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drawn_camera import DrawnCamera
from drawn_photograph import Film, draw_photograph
from drawn_sky import Weather
from drawn_things import Thing
from found_skyline_scenes import made_ground
from found_skyline_study import score
from hillsight.errors import PhotographError
from hillsight.plan.picture import edge_path
from hillsight.plan.picture.found_skyline import find_skyline

CAMERA = DrawnCamera(420, 280, heading_deg=40.0, tilt_deg=2.0, roll_deg=1.5, width_deg=55.0, radial=-0.03)
PLACE = (5_200.0, 4_700.0)
WEATHERS = {
    "clear": Weather(cover=0.1),
    "hazy": Weather(visibility_m=4_500.0, cover=0.1),
    "cloudy": Weather(cover=0.55),
    "snowy": Weather(overcast=1.0, cover=0.0, snow_line_m=430.0),
    "clipped": Weather(exposure=2.3, cover=0.3),
}


@pytest.fixture(scope="module")
def ground():
    return made_ground(4_711)


def drawn(ground, weather, camera=CAMERA, things=(), seed=31):
    return draw_photograph(
        ground, PLACE, camera, weather, things=things, film=Film(quality=85), reach_m=9_000.0, seed=seed
    )


@pytest.mark.slow
@pytest.mark.parametrize("name", WEATHERS)
def test_the_edge_is_found_or_left_out(ground, name):
    """Where the line is trusted it is right; a picture that is flagged is no wrong answer."""
    picture = drawn(ground, WEATHERS[name])
    found = find_skyline(picture.rgb)
    scored = score(name, name, found, picture.edge_y_px, picture.hidden)
    assert scored.wrong_columns < 0.1
    if name in ("clear", "hazy", "cloudy"):
        assert not found.failed
        assert found.trusted_share > 0.5
    if scored.off_px.size:
        assert np.median(np.abs(scored.off_px)) < 3.0


def test_a_conifer_before_the_skyline_is_left_out(ground):
    heading = np.radians(CAMERA.heading_deg)
    things = (Thing("conifer", heading - 0.1, 60.0, 16.0, 3),)
    picture = drawn(ground, WEATHERS["clear"], things=things)
    assert picture.hidden.any()
    found = find_skyline(picture.rgb)
    assert not found.failed
    assert not found.trusted[picture.hidden].all()
    off = np.abs(found.y_px - picture.edge_y_px)[found.trusted & ~picture.hidden]
    assert np.median(off) < 3.0


@pytest.mark.slow
@pytest.mark.parametrize("name", ["no sky", "fog", "night", "sky alone", "grey", "noise"])
def test_a_picture_without_a_skyline_is_flagged(ground, name):
    if name == "grey":
        rgb = np.full((300, 400, 3), 128, np.uint8)
    elif name == "noise":
        rgb = np.random.default_rng(5).integers(0, 256, (300, 400, 3)).astype(np.uint8)
    else:
        camera = {"no sky": replace(CAMERA, tilt_deg=-45.0), "sky alone": replace(CAMERA, tilt_deg=55.0)}
        weather = {
            "fog": Weather(visibility_m=25.0, overcast=1.0, cover=0.0),
            "night": Weather(night=True),
        }
        rgb = drawn(ground, weather.get(name, WEATHERS["clear"]), camera.get(name, CAMERA)).rgb
    found = find_skyline(rgb)
    assert found.failed
    assert found.why
    assert not found.trusted.any()
    assert found.pieces() == ()


def test_pieces_are_thinned_lines_within_the_picture(ground):
    picture = drawn(ground, WEATHERS["clear"])
    found = find_skyline(picture.rgb)
    pieces = found.pieces()
    assert pieces
    for piece in pieces:
        assert piece.how == "found"
        assert piece.give_or_take_px >= 1.0
        assert (np.diff(piece.x_px) > 0).all()
        straight = np.interp(found.x_px, piece.x_px, piece.y_px)
        within = (found.x_px >= piece.x_px[0]) & (found.x_px <= piece.x_px[-1]) & found.trusted
        assert np.abs(straight - found.y_px)[within].max() < 0.9
    assert sum(piece.x_px.size for piece in pieces) < found.x_px.size / 2


@pytest.mark.slow
def test_an_enlarged_picture_has_the_same_edge(ground):
    """Each pixel as four: the edge lies at twice the rows."""
    picture = drawn(ground, WEATHERS["clear"])
    once = find_skyline(picture.rgb)
    twice = find_skyline(np.repeat(np.repeat(picture.rgb, 2, axis=0), 2, axis=1))
    both = once.trusted & twice.trusted[::2] & twice.trusted[1::2]
    assert both.mean() > 0.4
    assert np.median(np.abs(twice.y_px[::2] - 2 * once.y_px)[both]) < 1.5


def test_a_tiny_picture_is_refused():
    with pytest.raises(PhotographError, match="too small"):
        find_skyline(np.zeros((40, 300, 3), np.uint8))


def test_the_cheapest_line_is_that_of_trying_all():
    """Against every line there is, on small grids."""
    rng = np.random.default_rng(3)
    for _ in range(40):
        costs = rng.normal(size=(4, 5))
        lines = np.array(np.meshgrid(*[range(5)] * 4, indexing="ij")).reshape(4, -1)
        steps = np.minimum(0.4 * np.abs(np.diff(lines, axis=0)), 1.1).sum(axis=0)
        total = costs[np.arange(4)[:, None], lines].sum(axis=0) + steps
        line = edge_path.cheapest(costs, 0.4, 1.1)
        assert np.array_equal(line, lines[:, np.argmin(total)])
        through = edge_path.through(costs, 0.4, 1.1)
        for column in range(4):
            for row in range(5):
                assert through[column, row] == pytest.approx(total[lines[column] == row].min())
        lead = edge_path.lead_over_others(costs, line, 1, 0.4, 1.1)
        apart = [total[np.abs(lines[c] - line[c]) > 1].min() - total.min() for c in range(4)]
        assert lead == pytest.approx(apart)
