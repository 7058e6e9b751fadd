"""What is told of things is true: words against numbers worked out by plane trigonometry and the walker.

Ground is a made fractal with things strewn over it at random and eyes looking every way, south above all,
where left and right would be mirrored by a slip; see ``plain_geometry`` for what stands against the package.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pytest

from hillsight.ground.grid import Surface
from hillsight.plan.look.glance import Glance
from hillsight.plan.look.things import Things
from hillsight.plan.verdict import Fact
from hillsight.plan.weighing.facts import fact
from hillsight.plan.weighing.statements import Weighing
from hillsight.words.english import number_word
from plan.made_hills import (
    EAST_M,
    NORTH_M,
    cone,
    frame_of,
    heading_index,
    knoll,
    line,
    look,
    plane,
    ridge,
    surface_of,
    things_of,
    together,
    told,
    weighing_of,
)
from plan.plain_geometry import Watcher, height_at, right_of
from terrains import fractal

WIDTH_DEG = 60.0

#: A glance takes bearings half a degree apart, and grid north is true north within thousandths.
STEP_DEG = 0.5

LOOKS = (0.0, 60.0, 134.0, 180.0, 226.0, 300.0)

#: As from a tower: on the ground a person in such rough country sees little.
EYE_M = 40.0


@dataclass(frozen=True)
class Scene:
    """An eye, what it sees, and what it sees by plain geometry."""

    surface: Surface
    things: Things
    place: Glance
    watcher: Watcher
    weighing: Weighing

    def fact(self, looks_deg: float, kind: str, part: str = "anywhere", **values: Any) -> Fact:
        """What is told if the picture looks so."""
        direction = heading_index(self.weighing, looks_deg)
        assert self.weighing.framing.heading_deg[direction] == looks_deg
        return fact(told(kind, part, **values), self.place, self.weighing, direction)

    def where(self, name: str) -> tuple[float, float]:
        """Easting and northing of a thing that is a point."""
        at = self.things.frame.geometry.iloc[int(self.things.rows(name)[0])]
        return at.x, at.y

    def samples(self, name: str) -> np.ndarray:
        """(n, 2) places that stand for a thing."""
        k = int(self.things.rows(name)[0])
        here = slice(int(self.things.starts[k]), int(self.things.starts[k + 1]))
        return np.column_stack((self.things.easting_m[here], self.things.northing_m[here]))

    def seen_samples(self, name: str) -> np.ndarray:
        """Those of them that are in view by the walker."""
        places = self.samples(name)
        return places[[self.watcher.clearance_m(*place) >= 0 for place in places]]


@cache
def rough(seed: int) -> Scene:
    """A fractal with thirty points, ten patches and ten lines strewn over it, and an eye on it."""
    random = np.random.default_rng(seed)
    posts = fractal(121, 121, seed=seed, relief_m=100.0)
    surface = surface_of(lambda east, north: posts, half_m=600.0)
    named = [knoll(f"Point {k}", *random.uniform(-500, 500, 2)) for k in range(30)]
    named += [knoll(f"Patch {k}", *random.uniform(-450, 450, 2), radius_m=40.0) for k in range(10)]
    for k in range(10):
        start, turn = random.uniform(-350, 350, 2), random.uniform(0, 2 * np.pi)
        end = start + 200 * np.array([np.sin(turn), np.cos(turn)])
        named.append((f"Spur {k}", "spur", "ground_shape", 0.0, line(tuple(start), tuple(end))))
    things = things_of(*named)
    eye = random.uniform(-200, 200, 2)
    place = look(surface, *eye, things, eye_height_m=EYE_M)
    return Scene(surface, things, place, Watcher.at(surface, place, EYE_M), weighing_of(things, None))


@pytest.fixture(scope="module", params=[1, 2, 3])
def scene(request: pytest.FixtureRequest) -> Scene:
    return rough(request.param)


def numbers(words: str) -> list[float]:
    """All numbers of a sentence but those in names."""
    plain = re.sub(r"(Point|Patch|Spur) \d+", "", words)
    return [float(one) for one in re.findall(r"[-+]?\d+(?:\.\d+)?", plain)]


def metres(words: str) -> float:
    """The first distance of a sentence."""
    value, unit = re.search(r"(\d+(?:\.\d+)?) (km|m)\b", words).groups()
    return float(value) * (1000 if unit == "km" else 1)


def assert_side(words: str, right_deg: float) -> None:
    """The side told is the side that it lies on."""
    if "in the middle" in words:
        assert abs(right_deg) < 3 + STEP_DEG
        return
    told_deg, side = re.search(r"(\d+) degrees (left|right) of the middle", words).groups()
    assert (1 if side == "right" else -1) * float(told_deg) == pytest.approx(right_deg, abs=0.6)


POINTS = [f"Point {k}" for k in range(30)]


def test_seen(scene: Scene) -> None:
    shown = 0
    for looks_deg in LOOKS:
        for name in POINTS:
            found, at = scene.fact(looks_deg, "seen", what=name), scene.where(name)
            right = right_of(scene.watcher.bearing_deg(*at), looks_deg)
            clearance_m = scene.watcher.clearance_m(*at)
            assert right_of(found.bearing_true_deg, looks_deg) == pytest.approx(right, abs=0.1)
            if re.search("shows? at", found.words):
                shown += 1
                assert found.figure == pytest.approx(scene.watcher.distance_m(*at), abs=0.01)
                assert metres(found.words) == pytest.approx(found.figure, abs=5.01)
                assert_side(found.words, right)
                assert clearance_m > -0.2
                assert abs(right) < WIDTH_DEG / 2 + 4
            elif "out of view" in found.words:
                assert clearance_m < 0
            else:
                assert "outside the picture" in found.words
                assert abs(right) > WIDTH_DEG / 2 - 0.1
    assert shown > 5


def test_what_shows_in_another_part_is_not_said_to_be_hidden_or_far(scene: Scene) -> None:
    found_any = 0
    for looks_deg in LOOKS:
        for name in POINTS:
            right = right_of(scene.watcher.bearing_deg(*scene.where(name)), looks_deg)
            if 14 < right < 26 and "shows at" in scene.fact(looks_deg, "seen", what=name).words:
                found_any += 1
                for kind, more in (("seen", {}), ("height", {"stands": "level"}), ("against_sky", {})):
                    found = scene.fact(looks_deg, kind, "left", what=name, **more)
                    assert found.words == f"{name} lies elsewhere in the picture"
                    assert right_of(found.bearing_true_deg, looks_deg) == pytest.approx(right, abs=0.1)
    assert found_any > 0


def test_height(scene: Scene) -> None:
    for looks_deg in LOOKS:
        for name in POINTS:
            found = scene.fact(looks_deg, "height", what=name, stands="level")
            if "stands" not in found.words:
                continue
            angle = scene.watcher.angle_deg(*scene.where(name))
            above_m = np.tan(np.radians(angle)) * scene.watcher.distance_m(*scene.where(name))
            assert found.figure == pytest.approx(angle, abs=0.01)
            assert numbers(found.words) == pytest.approx([angle, above_m], abs=0.51)
            if not found.word:
                assert "hard to tell" in found.words
                continue
            word = re.search(r"stands (.+) us", found.words).group(1)
            low, high = {
                "well above": (3, 90),
                "a little above": (0.5, 3),
                "level with": (-0.5, 0.5),
                "a little below": (-3, -0.5),
                "well below": (-90, -3),
            }[word]
            assert low - 0.01 <= angle <= high + 0.01


def test_against_the_sky(scene: Scene) -> None:
    for looks_deg in LOOKS:
        for name in POINTS:
            found = scene.fact(looks_deg, "against_sky", what=name)
            bearing = scene.watcher.bearing_deg(*scene.where(name))
            angle = scene.watcher.angle_deg(*scene.where(name))
            # A person does not tell the bearings of a degree apart.
            below = [scene.watcher.skyline_deg(bearing + off) - angle for off in np.arange(-0.8, 0.81, 0.2)]
            if "against the sky" in found.words:
                assert min(below) <= 0.25 + 0.06
            elif "below the skyline" in found.words:
                assert found.figure == pytest.approx(numbers(found.words)[0], abs=0.051)
                assert found.figure > 0.25
                assert min(below) - 0.06 <= found.figure <= max(below)


def test_bearing(scene: Scene) -> None:
    for looks_deg in LOOKS:
        for name in POINTS:
            found = scene.fact(looks_deg, "bearing", what=name, degrees=10.0)
            if "lies on" in found.words:
                right = right_of(numbers(found.words)[0], scene.watcher.bearing_deg(*scene.where(name)))
                assert abs(right) <= 0.6
            else:
                assert "out of view" in found.words
                assert scene.watcher.clearance_m(*scene.where(name)) < 0


def test_pairs_of_points(scene: Scene) -> None:
    told_of = 0
    for looks_deg in LOOKS:
        shown = [n for n in POINTS if "shows at" in scene.fact(looks_deg, "seen", what=n).words]
        for one, other in itertools.permutations(shown, 2):
            of_relation = scene.fact(looks_deg, "relation", what=one, is_="left of", other=other)
            of_angle = scene.fact(looks_deg, "angle", what=one, other=other, degrees=5.0)
            of_order = scene.fact(looks_deg, "order", things=[one, other])
            bearings = [scene.watcher.bearing_deg(*scene.where(name)) for name in (one, other)]
            right = right_of(bearings[0], bearings[1])
            told_of += 1
            if not of_relation.word:
                assert "hard to tell" in of_relation.words or abs(right) < 1.0
                assert "which is left" not in of_relation.words or abs(right) < 3.0
                continue
            apart = re.search(r"stands ([\d.]+) degrees (left|right) of", of_relation.words)
            if apart is None:
                assert of_relation.word in ("in front of", "behind") and abs(right) < 2.0
                continue
            gap, side = apart.groups()
            assert (1 if side == "right" else -1) * float(gap) == pytest.approx(right, abs=0.06)
            assert of_relation.figure == pytest.approx(right, abs=0.01)
            assert of_angle.figure == pytest.approx(abs(right), abs=0.01)
            assert numbers(of_angle.words) == pytest.approx([abs(right)], abs=0.51)
            first = re.search(r"left to right stand (.+), ", of_order.words).group(1)
            assert first == (other if right > 0 else one)
            assert of_order.figure == pytest.approx(abs(right), abs=0.01)
    assert told_of > 5


def test_patches_before_and_behind_one_another(scene: Scene) -> None:
    for looks_deg in LOOKS:
        for one in range(10):
            for other in range(10):
                names = f"Patch {one}", f"Patch {other}"
                if one == other:
                    continue
                found = scene.fact(looks_deg, "relation", what=names[0], is_="behind", other=names[1])
                where = re.search(r"stands (in front of|behind) .+, (.+) (nearer|farther)", found.words)
                if where is None:
                    continue
                seen = [scene.seen_samples(name) for name in names]
                away_m = [[scene.watcher.distance_m(*place) for place in places] for places in seen]
                assert min(away_m[1]) - max(away_m[0]) <= found.figure <= max(away_m[1]) - min(away_m[0])
                assert (found.figure > 0) is (where.group(1) == "in front of") is (where.group(3) == "nearer")
                assert metres(where.group(2)) == pytest.approx(abs(found.figure), abs=5.01)


def test_lines_come_down(scene: Scene) -> None:
    for looks_deg in LOOKS:
        for name in (f"Spur {k}" for k in range(10)):
            found = scene.fact(looks_deg, "comes_down", what=name, to="left")
            down = re.search(r"comes down to the (left|right), over (\d+) degrees", found.words)
            if down is None:
                continue
            places = scene.seen_samples(name)
            ground_m = [height_at(scene.surface, *place) for place in places]
            high, low = places[int(np.argmax(ground_m))], places[int(np.argmin(ground_m))]
            right = right_of(scene.watcher.bearing_deg(*low), scene.watcher.bearing_deg(*high))
            assert found.figure == pytest.approx(right, abs=0.05)
            assert float(down.group(2)) == pytest.approx(abs(right), abs=0.55)
            if abs(right) > 0.5:
                assert down.group(1) == ("right" if right > 0 else "left")


def test_number(scene: Scene) -> None:
    for looks_deg in LOOKS:
        found = scene.fact(looks_deg, "number", what="knoll", count=3)
        sure = might = 0
        for name in [*POINTS, *(f"Patch {k}" for k in range(10))]:
            places = scene.samples(name)
            seen_m = [scene.watcher.clearance_m(*place) for place in places]
            off = [abs(right_of(scene.watcher.bearing_deg(*place), looks_deg)) for place in places]
            inside = [o for o, m in zip(off, seen_m, strict=True) if m > 0.5]
            sure += bool(inside) and min(inside) < WIDTH_DEG / 2 - 8
            # The eye of a needle either way: half a metre of ground, eight degrees of the picture's edge.
            might += any(m > -0.5 and o < WIDTH_DEG / 2 + 8 for o, m in zip(off, seen_m, strict=True))
        count = round(found.figure)
        shows = f"about {number_word(count)} knolls show" if count > 1 else "about one knoll shows"
        assert found.words == (shows if count else "no knoll shows")
        assert sure - 0.5 <= found.figure <= might + 0.5


def test_of_several_of_a_kind_the_one_is_told_that_is_meant() -> None:
    # From a bank 60 m high, one knoll stands 10 degrees left and well above, the other 10 degrees right,
    # below the eye and below the skyline.
    grounds = ridge(0, 150, lambda e: 60 + 0 * e), cone(-70, 400, 200, 100), cone(70, 400, 15, 60)
    far = cone(0, 700, 150, 100)
    surface = surface_of(together(plane(), *grounds, far))
    things = things_of(knoll(None, -70, 400), knoll(None, 70, 400), knoll("Far Top", 0, 700))
    place = look(surface, 0, 0, things)
    scene = Scene(surface, things, place, Watcher.at(surface, place), weighing_of(things, None))
    for stands, sign in (("well above", 1), ("well below", -1)):
        found = scene.fact(0.0, "height", what="knoll", stands=stands)
        assert np.sign(found.figure) == sign
        assert f"well {'above' if sign > 0 else 'below'}" in found.words
        assert np.sign(scene.fact(0.0, "vertical_angle", what="knoll", degrees=6.0 * sign).figure) == sign
    for degrees in (350.0, 10.0):
        found = scene.fact(0.0, "bearing", what="knoll", degrees=degrees)
        assert numbers(found.words) == pytest.approx([degrees], abs=0.6)
    assert "against the sky" in scene.fact(0.0, "against_sky", what="knoll", stands=True).words
    assert "below the skyline" in scene.fact(0.0, "against_sky", what="knoll", stands=False).words
    for side in ("left", "right"):
        found = scene.fact(0.0, "relation", what="knoll", is_=f"{side} of", other="Far Top")
        assert f"degrees {side} of Far Top" in found.words


def test_frames_hold_what_is_made() -> None:
    frame = frame_of([knoll("Top", 10, 20)])
    assert (frame.geometry.iloc[0].x, frame.geometry.iloc[0].y) == (EAST_M + 10, NORTH_M + 20)


def test_two_things_plainly_apart_are_not_hard_to_tell_left_from_right() -> None:
    # The one on the right lies at the picture's edge: that it is on the right is plain, that it shows is not.
    knolls = things_of(knoll("West Top", -100, 400), knoll("East Top", 231, 400))
    ground = together(plane(), cone(-100, 400, 60, 80), cone(231, 400, 60, 80))
    place, weighing = look(surface_of(ground), 0, 0, knolls), weighing_of(knolls)
    statement = told("relation", what="West Top", is_="left of", other="East Top")
    found = fact(statement, place, weighing, heading_index(weighing, 0.0))
    apart_deg = np.degrees(np.arctan2(100, 400) + np.arctan2(231, 400))
    assert found.word == ""
    assert found.words == (
        f"West Top stands {apart_deg:.1f} degrees left of East Top, if both show: hard to tell"
    )
