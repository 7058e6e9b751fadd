"""Places elsewhere, framing and things: what the weighing stands on."""

from __future__ import annotations

from collections.abc import Callable

import geopandas
import numpy as np
import pytest
import shapely
from pyproj import CRS

from hillsight.ground.grid import Grid, Surface
from hillsight.plan.look.drawn import Place
from hillsight.plan.look.framing import Framing
from hillsight.plan.look.glance import STEP_DEG
from hillsight.plan.look.things import Things, find
from hillsight.plan.relocation import reference_places
from hillsight.plan.relocation.decision import Rules, decide
from hillsight.plan.relocation.likeness import Likeness, Traits
from hillsight.plan.relocation.posterior import Posterior
from hillsight.plan.relocation.reference_places import PlacesAbout, Strewn
from hillsight.sight.viewing import Viewing


def surface() -> Surface:
    height_m = np.zeros((101, 101), np.float32)
    height_m[:, :30] = np.nan
    return Surface(Grid(CRS(27700), 300_000.0, 700_000.0, 10.0, 10.0, 101, 101), height_m)


EAST, NORTH = np.array([300_500.0, 300_700.0]), np.array([699_500.0, 699_300.0])


def about(within_m: float = 300.0) -> PlacesAbout:
    return PlacesAbout(surface(), EAST, NORTH, within_m, 40.0)


def test_places_lie_on_known_ground_about_the_candidates_and_are_the_same_each_time() -> None:
    places, allowed = about().evenly(200)
    away = np.hypot(places[:, :1] - EAST, places[:, 1:] - NORTH)
    assert len(places) == 200 and 0.5 < allowed < 1.0
    assert (away.min(axis=1) <= 300.0).all() and (away >= 40.0).all()
    assert (places[:, 0] >= 300_300.0 - 1e-9).all()  # the void in the west
    assert np.array_equal(places, about().evenly(200)[0])
    turned = PlacesAbout(surface(), EAST[::-1], NORTH[::-1], 300.0, 40.0)
    assert np.array_equal(places, turned.evenly(200)[0])


def test_no_ground_gives_no_places() -> None:
    nowhere = PlacesAbout(surface(), np.array([300_100.0]), np.array([699_500.0]), 100.0, 40.0)
    places, allowed = nowhere.evenly(5)
    assert places.shape == (0, 2) and allowed == 0.0
    strewn = Strewn.of(nowhere, places, allowed, np.zeros(0), 5)
    assert len(strewn) == 0
    assert strewn.closer(np.zeros(0), 5).shape == (0, 2)


def hill(places: np.ndarray) -> np.ndarray:
    """A likelihood that is a narrow hill beside a candidate."""
    return np.exp(-0.5 * ((places - (300_600.0, 699_450.0)) ** 2).sum(axis=1) / 30.0**2)


def even(places: np.ndarray) -> np.ndarray:
    """All places as likely beforehand."""
    return np.ones(len(places))


def southern(places: np.ndarray) -> np.ndarray:
    """The farther south the likelier, up to 40 times."""
    return np.exp(np.clip((699_600.0 - places[:, 1]) / 80.0, 0.0, np.log(40.0)))


@pytest.mark.slow
@pytest.mark.parametrize("times", [even, southern])
def test_choosing_and_looking_closer_leave_the_mean_as_it_is(
    times: Callable[[np.ndarray], np.ndarray], monkeypatch: pytest.MonkeyPatch
) -> None:
    # The mean by shares is that over the ground about, each place by how likely it is beforehand; here by
    # many even places.
    everywhere, _ = about().evenly(20_000)
    truth = np.average(hill(everywhere), weights=times(everywhere))
    found = []
    for turn in range(120):
        monkeypatch.setattr(reference_places, "_SEED", 100 * turn)
        places, allowed = about().evenly(750)
        strewn = Strewn.of(about(), places, allowed, times(places), 150)
        assert len(strewn) == pytest.approx(150, abs=1)
        logs = np.log(hill(strewn.places_m) + 1e-12)
        closer = strewn.closer(logs, 100)
        log_share = strewn.log_shares(logs, closer, times(closer), 100)
        assert np.exp(log_share).sum() == pytest.approx(1.0)
        found.append(np.exp(log_share) @ hill(np.concatenate((strewn.places_m, closer))))
        # More of the ground where it fits is looked at than elsewhere.
        assert hill(closer).mean() > 2 * hill(strewn.places_m).mean()
    assert np.mean(found) == pytest.approx(truth, rel=0.15)
    assert np.std(found) < 0.6 * truth
    assert np.std(found) > 0.0


def test_likelier_places_are_chosen_before_others() -> None:
    places, allowed = about().evenly(1_000)
    strewn = Strewn.of(about(), places, allowed, southern(places), 100)
    assert southern(strewn.places_m).mean() > 1.3 * southern(places).mean()


def test_a_place_like_the_candidates_is_likelier_than_the_ground_about() -> None:
    random = np.random.default_rng(4)
    about_traits = random.normal((300.0, 0.0, 2.0), (100.0, 8.0, 3.0), (500, 3))
    alike = Likeness.of(random.normal((450.0, 6.0, 5.0), (8.0, 1.0, 0.4), (4, 3)), about_traits)
    times = alike.times(np.array([(450.0, 6.0, 5.0), (250.0, 6.0, 5.0), (450.0, -12.0, 5.0), (np.nan, 0, 0)]))
    assert times[0] > 10.0 * times[1] and times[0] > 3.0 * times[2]
    assert times[3] == pytest.approx(0.1)


def test_candidates_as_unlike_as_the_ground_about_tell_of_no_place() -> None:
    random = np.random.default_rng(5)
    spread = (100.0, 8.0, 3.0)
    about_traits = random.normal((300.0, 0.0, 2.0), spread, (4_000, 3))
    alike = Likeness.of(random.normal((300.0, 0.0, 2.0), spread, (400, 3)), about_traits)
    assert alike.times(about_traits) == pytest.approx(1.0, abs=0.75)
    # A density beside a density has a mean of one over the ground.
    assert alike.times(about_traits).mean() == pytest.approx(1.0, abs=0.05)


def test_traits_of_a_plane_are_its_height_and_slope() -> None:
    # A plane that rises northwards by one in ten, 2 km across: the skyline is the plane itself.
    north_m = 701_000.0 - 10.0 * np.arange(201)
    height_m = np.repeat((0.1 * (north_m - 699_000.0))[:, None], 201, axis=1).astype(np.float32)
    plane = Surface(Grid(CRS(27700), 299_000.0, 701_000.0, 10.0, 10.0, 201, 201), height_m)
    place = Place("", 300_000.0, 700_000.0, 0.0, 0.0, 0.0)
    for looks_deg, rise in ((0.0, 0.1), (180.0, -0.1)):
        framing = Framing.of(looks_deg, 5.0, 2.0, 0.06)
        traits = Traits(plane, place, Viewing(1.6, 0.0, 800.0, 1.0), framing)
        (found,) = traits.of(np.array([(300_000.0, 700_000.0)]))
        assert found[0] == pytest.approx(100.0, abs=0.01)
        assert found[1] == pytest.approx(np.degrees(np.arctan(rise)), abs=0.01)
        assert np.abs(found[3:]).max() < 0.05
    assert Traits(plane, place, Viewing(1.6, 0.0, 800.0, 1.0), Framing.of(None, 20.0, 60.0, 0.06)).of(
        np.array([(300_000.0, 700_000.0), (300_100.0, 700_100.0)])
    ).shape == (2, 3)


def test_the_parts_of_a_picture_lie_left_to_right_even_over_north() -> None:
    framing = Framing.of(0.0, 0.5, 60.0, 0.06)
    at = int(np.argmax(framing.prior))
    left, middle, right = (framing.bearings(part)[at] * STEP_DEG for part in ("left", "middle", "right"))
    assert framing.heading_deg[at] == 0.0
    assert (left[0], left[-1]) == (330.0, 349.5)
    assert (middle[0], middle[-1]) == (350.0, 9.5)
    assert (right[0], right[-1]) == (10.0, 29.5)


@pytest.mark.parametrize("looks", [0.0, 90.0, 181.0, 359.0])
def test_a_thing_is_held_by_the_part_it_lies_in(looks: float) -> None:
    framing = Framing.of(looks, 0.5, 60.0, 0.02)
    at = int(np.argmax(framing.prior))
    heading = framing.heading_deg[at]
    for part, off in (("left", -20.0), ("middle", 0.0), ("right", 20.0)):
        held = {
            other: float(framing.holds(other, np.array([(heading + off) % 360.0]), np.zeros(1))[at, 0])
            for other in ("left", "middle", "right")
        }
        assert max(held, key=lambda name: held[name]) == part
        assert held[part] > 0.99
    behind = framing.holds("anywhere", np.array([(heading + 180.0) % 360.0]), np.zeros(1))
    assert behind.max() < 1e-6


def test_a_wide_thing_is_held_by_every_part_it_crosses() -> None:
    framing = Framing.of(90.0, 0.5, 60.0, 0.02)
    held = [
        framing.holds(part, np.array([40.0]), np.array([100.0]))[int(np.argmax(framing.prior)), 0]
        for part in ("left", "middle", "right")
    ]
    assert min(held) > 0.99


def test_directions_unknown_are_all_round_and_even() -> None:
    framing = Framing.of(None, 20.0, 60.0, 0.06)
    assert framing.heading_deg.size == 180
    assert framing.prior.sum() == pytest.approx(1.0)
    assert np.ptp(framing.prior) == 0.0


def things() -> geopandas.GeoDataFrame:
    rows = [
        ("Long Wall", "intake wall", "man_made"),
        (None, "wall corner", "man_made"),
        ("Knoll", "summit", "ground_shape"),
        (None, "knoll", "ground_shape"),
    ]
    return geopandas.GeoDataFrame(
        {
            "name": [row[0] for row in rows],
            "kind": [row[1] for row in rows],
            "evidence_class": [row[2] for row in rows],
            "target_height_m": [1.3, 1.3, np.nan, 0.0],
        },
        geometry=[shapely.LineString([(0, 0), (90, 0)]), *(shapely.Point(k, 0) for k in range(3))],
        crs=27700,
    )


@pytest.mark.parametrize(
    ("what", "rows"),
    [
        ("long  WALL", [0]),
        ("wall", [0]),
        ("walls", [0]),
        ("intake wall", [0]),
        ("Knoll", [2]),  # what has a name is meant by it
        ("knolls", [3]),
        ("tarn", []),
    ],
)
def test_things_are_found_by_name_before_kind(what: str, rows: list[int]) -> None:
    assert find(things(), what).tolist() == rows


def test_samples_of_things_follow_one_another() -> None:
    sampled = Things.of(things(), 10.0)
    assert sampled.starts[0] == 0 and sampled.starts[-1] == sampled.easting_m.size
    assert (np.diff(sampled.starts) >= 1).all()
    assert sampled.height_m[0] == 1.3 and sampled.height_m[int(sampled.starts[2])] == 0.0
    assert sampled.is_named("long wall") and not sampled.is_named("wall")


@pytest.mark.parametrize(
    ("whole", "ground", "state"),
    [
        ((0.95, 0.03), (0.96, 0.02), "decided"),
        ((0.85, 0.13), (0.85, 0.13), "undecided"),
        ((0.97, 0.02), (0.94, 0.04), "undecided"),  # man-made features made it so sure
        ((0.94, 0.04), (0.97, 0.02), "undecided"),  # and here they took it away
        ((0.97, 0.02), (0.1, 0.88), "undecided"),  # and against the ground
        ((0.3, 0.1), (0.3, 0.1), "none_fits"),
        ((0.3, 0.1), (0.5, 0.2), "undecided"),  # by man-made features alone it is none of them
    ],
)
def test_when_a_verdict_is_given(whole: tuple[float, float], ground: tuple[float, float], state: str) -> None:
    def of(shares: tuple[float, float]) -> Posterior:
        return Posterior(np.array(shares), 1.0 - sum(shares))

    assert decide(of(whole), of(ground), Rules()) == state
