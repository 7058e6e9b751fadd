"""Radio links over made ground: what answers must follow from its shape."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from pyproj import CRS

from hillsight.ground.cover import Cover, Screens
from hillsight.ground.grid import Grid, Surface
from hillsight.plan.posts.plan import Radios
from hillsight.plan.posts.radio import (
    DOUBTFUL,
    LIKELY,
    UNKNOWN,
    UNLIKELY,
    Link,
    RadioEnd,
    all_links,
    link,
    most_loss_db,
    relays,
)

RADIUS_M = 6_371_000.0
HAND_HELD = Radios()
GRID = Grid(CRS("EPSG:32630"), 500_000.0, 6_250_000.0, 20.0, 20.0, 101, 301)


def ground(height_m: np.ndarray | float) -> Surface:
    return Surface(GRID, np.broadcast_to(np.asarray(height_m, np.float32), (101, 301)).copy())


def stands(surface: Surface, name: str, row: float, column: float, antenna_m: float = 1.5) -> RadioEnd:
    easting_m, northing_m = (float(v) for v in GRID.to_map(row, column))
    return RadioEnd(name, easting_m, northing_m, surface.height_at_m(easting_m, northing_m), antenna_m)


def walled(height_m: float, columns: tuple[int, ...] = (150,)) -> Surface:
    heights = np.zeros((101, 301), np.float32)
    heights[:, list(columns)] = height_m
    return ground(heights)


def between(surface: Surface, radios: Radios = HAND_HELD) -> Link:
    ends = [stands(surface, "west", 50, 0, 60.0), stands(surface, "east", 50, 300, 60.0)]
    return link(surface, *ends, radios, RADIUS_M)


def test_high_masts_over_a_plain_lose_what_free_space_loses() -> None:
    # 6 km at 446 MHz: zone of 31.8 m in the middle, bulge of 0.53 m (4/3 earth): 60 m masts clear it.
    found = between(ground(0.0))
    assert found.first_zone_clear == 1.0
    assert found.diffraction_db == 0.0
    assert found.loss_db == pytest.approx(32.45 + 20 * math.log10(446) + 20 * math.log10(6), abs=0.05)
    assert found.margin_db == pytest.approx(most_loss_db(Radios()) - found.loss_db)
    assert found.answer == LIKELY


def test_the_worst_obstacle_is_found_where_it_stands() -> None:
    found = between(walled(80.0))
    assert found.worst_m == pytest.approx(3000.0)
    assert (found.worst_easting_m, found.worst_northing_m) == pytest.approx((503_000.0, 6_249_000.0))
    # 80 m, less the mast, and the bulge in the middle of 6 km on an earth of 4/3: 0.53 m.
    assert found.worst_above_line_m == pytest.approx(20.0 + 0.53, abs=0.005)
    assert found.ridges == 1
    # Closed form: radius of the zone sqrt(0.6722 x 1500) = 31.75 m.
    assert found.first_zone_clear == pytest.approx(-20.53 / 31.75, abs=0.001)
    assert 0 < found.knife_edge_db < found.diffraction_db


def test_two_ridges_cost_more_than_the_worse_of_them() -> None:
    one, two = between(walled(80.0, (100,))), between(walled(80.0, (100, 220)))
    assert two.ridges == 2
    assert two.diffraction_db > one.diffraction_db + 3


def test_it_is_the_same_both_ways() -> None:
    rng = np.random.default_rng(7)
    surface = ground(rng.uniform(0, 60, (101, 301)))
    for _ in range(20):
        ends = [stands(surface, str(k), rng.uniform(0, 100), rng.uniform(0, 300)) for k in range(2)]
        out, back = link(surface, *ends, Radios(), RADIUS_M), link(surface, *ends[::-1], Radios(), RADIUS_M)
        assert out.loss_db == pytest.approx(back.loss_db)
        assert out.worst_m == pytest.approx(back.distance_m - back.worst_m)


def test_a_weaker_set_makes_a_link_doubtful_and_then_unlikely() -> None:
    found = between(walled(80.0))
    to_spare_db = found.margin_db
    weaker = replace(Radios(), power_dbm=27.0 - to_spare_db + 5.0)
    assert between(walled(80.0), weaker).answer == DOUBTFUL
    assert between(walled(80.0), replace(Radios(), power_dbm=27.0 - to_spare_db - 1.0)).answer == UNLIKELY


def test_a_void_between_is_not_taken_for_clear() -> None:
    heights = np.zeros((101, 301), np.float32)
    heights[50, 120] = np.nan
    found = between(ground(heights))
    assert found.answer == UNKNOWN
    assert math.isnan(found.margin_db)


def test_sets_in_one_place_need_no_radio() -> None:
    surface = ground(0.0)
    assert link(surface, *[stands(surface, "a", 3, 3)] * 2, Radios(), RADIUS_M).answer == LIKELY


WEAK = Radios(power_dbm=10.0, sensitivity_dbm=-110.0)


def test_a_post_that_hears_both_passes_messages_on() -> None:
    surface = walled(400.0)
    ends = [stands(surface, name, 50, column) for name, column in (("a", 10), ("b", 150), ("c", 290))]
    links = all_links(surface, ends, WEAK, RADIUS_M)
    assert [(one.start, one.end, one.answer) for one in links] == [
        ("a", "b", LIKELY),
        ("a", "c", UNLIKELY),
        ("b", "c", LIKELY),
    ]
    (way,) = relays(surface, ends, links, [("a", "b"), ("a", "c")], [], WEAK, RADIUS_M)
    assert (way.start, way.end, way.by, way.place) == ("a", "c", ("b",), None)
    assert way.margin_db == min(links[0].margin_db, links[2].margin_db)


def test_a_further_person_is_put_where_both_hear_best_and_not_where_only_one_does() -> None:
    surface = walled(400.0)
    ends = [stands(surface, "a", 50, 10), stands(surface, "c", 50, 290)]
    places = [
        stands(surface, "by a", 50, 12),
        stands(surface, "far up the wall", 5, 150),
        stands(surface, "on the wall", 50, 150),
        stands(surface, "by c", 50, 288),
    ]
    links = all_links(surface, ends, WEAK, RADIUS_M)
    (way,) = relays(surface, ends, links, [("a", "c")], places, WEAK, RADIUS_M)
    assert (way.by, way.place) == (("on the wall",), 2)
    both = [link(surface, *pair, WEAK, RADIUS_M) for pair in ((ends[0], places[2]), (places[2], ends[1]))]
    assert way.margin_db == min(one.margin_db for one in both)
    assert relays(surface, ends, links, [("a", "c")], places[::3], WEAK, RADIUS_M) == ()


def covered(surface: Surface, wood: tuple[slice, slice] | None, screens: Screens) -> Surface:
    shape = surface.height_m.shape
    wood_m, kind = np.zeros(shape, np.float32), np.zeros(shape, np.uint8)
    if wood is not None:
        wood_m[wood], kind[wood] = 80.0, 1
    return replace(
        surface, cover=Cover(np.zeros(shape, np.float32), wood_m, kind, ("", "wood", "wall"), screens)
    )


def test_cover_counts_as_ground_and_is_named() -> None:
    wood = covered(ground(0.0), (slice(None), slice(150, 151)), Screens.none())
    found, hill = between(wood), between(walled(80.0))
    assert found.worst_kind == "wood"
    assert hill.worst_kind == ""
    assert replace(found, worst_kind="") == hill


def test_a_screen_blocks_where_it_is_met_and_not_where_it_is_passed() -> None:
    kind = np.array([2], np.uint8)

    def wall(row: float, to_row: float) -> Link:
        ends = (np.array([v]) for v in (row, 100.25, to_row, 110.75))
        return between(covered(ground(0.0), None, Screens(*ends, np.array([70.0]), kind)))

    met, passed = wall(45.0, 55.0), wall(51.0, 55.0)
    # It is met half way along it: at column 105.5 of posts 20 m apart.
    assert met.worst_m == pytest.approx(2110.0)
    assert met.worst_kind == "wall"
    bulge_m = 0.75 * 2110 * 3890 / (2 * RADIUS_M)
    assert met.worst_above_line_m == pytest.approx(10.0 + bulge_m)
    assert passed == between(ground(0.0))
