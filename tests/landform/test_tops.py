"""Tops and saddles of hills whose heights, cols and places are known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hillsight.arrays import Floats
from hillsight.ground.grid import Surface
from hillsight.landform.limits import cut_by
from hillsight.landform.point_rows import SUMMIT_PROMINENCE_M, point_rows
from hillsight.landform.scale import Worked
from hillsight.landform.tops import Rises, Top, raw_peaks, rises, rises_within, tops
from landform.known import CENTRE
from landform.worked_ground import grid_of, ground
from terrains import fractal


def hill(x: Floats, y: Floats, east_m: float, north_m: float, height_m: float, spread_m: float) -> Floats:
    return height_m * np.exp(-((x - east_m) ** 2 + (y - north_m) ** 2) / (2 * spread_m**2))


def two_hills(x: Floats, y: Floats) -> Floats:
    """Hills of 150 m and 120 m, 800 m apart: halfway each gives exp(-4^2 / 2 1.25^2) = 0.006 of itself."""
    return 100.0 + hill(x, y, -400.0, 0.0, 150.0, 125.0) + hill(x, y, 400.0, 0.0, 120.0, 125.0)


def found_on(surface: Surface, *scales_m: float) -> tuple[list[Top], list[np.ndarray], list[Worked]]:
    worked = [Worked.of(surface, scale_m) for scale_m in scales_m]
    found, which = tops([(w, rises(w)) for w in worked], surface, raw_peaks(surface))
    return found, which, worked


@pytest.fixture(scope="module")
def pair() -> Surface:
    return ground(two_hills, grid_of(121, 181))


def test_heights_places_and_the_col_of_two_hills(pair: Surface) -> None:
    (high, low), _, _ = found_on(pair, 200.0)
    assert (high.easting_m - CENTRE[0], high.northing_m - CENTRE[1]) == (-400.0, 0.0)
    assert (low.easting_m - CENTRE[0], low.northing_m - CENTRE[1]) == (400.0, 0.0)
    assert (high.height_m, low.height_m) == pytest.approx((250.0, 220.0), abs=1e-3)
    # Where the slopes along the line between the tops cancel, nearer the lower hill's side of the middle.
    line = np.linspace(-400.0, 400.0, 8001)
    col = int(np.argmin(two_hills(line, np.zeros(8001))))
    assert low.key_height_m == pytest.approx(two_hills(line[col], np.zeros(1))[0], abs=0.05)
    assert low.prominence_m == pytest.approx(220.0 - low.key_height_m)
    assert low.saddle_easting_m - CENTRE[0] == pytest.approx(line[col], abs=15.0)
    assert low.saddle_northing_m == CENTRE[1]
    assert (low.is_least, low.parent, high.parent) == (False, 0, -1)
    assert high.is_least
    assert high.higher_ground_m == np.inf
    # Ground as high as the lower hill begins where the higher one's slope passes 220 m.
    radius_m = 125.0 * np.sqrt(2 * np.log(150.0 / 120.0))
    assert low.higher_ground_m == pytest.approx(800.0 - radius_m, abs=10.0)


def test_several_scales_give_each_top_once_with_the_largest_that_shows_it(pair: Surface) -> None:
    knoll = ground(lambda x, y: two_hills(x, y) + hill(x, y, -400.0, 400.0, 14.0, 30.0), pair.grid)
    found, which, _ = found_on(knoll, 280.0, 80.0)
    assert [top.scale_m for top in found] == [280.0, 280.0, 80.0]
    assert [round(top.northing_m - CENTRE[1]) for top in found] == [0, 0, 400]
    assert [sorted(numbers.tolist()) for numbers in which] == [[0, 1], [0, 1, 2]]


def test_summits_come_from_the_terrain_and_not_from_the_smoothed_ground() -> None:
    """A cairn's post 60 m off the smoothed summit is the highest of the terrain."""
    surface = ground(two_hills, grid_of(121, 181))
    height_m = surface.height_m.copy()
    height_m[60, 56] = 251.0
    (high, _), _, _ = found_on(Surface(surface.grid, height_m), 200.0)
    assert (high.easting_m - CENTRE[0], high.height_m) == (-340.0, 251.0)


@given(added_m=st.integers(-300, 3000), seed=st.integers(0, 50))
@settings(max_examples=10, deadline=None)
def test_a_height_added_everywhere_moves_no_rise(added_m: int, seed: int) -> None:
    height_m = np.round(fractal(70, 70, seed=seed, relief_m=200.0) * 64) / 64
    one, other = (
        rises(Worked.of(Surface(grid_of(70, 70), (height_m + c).astype(np.float32)), 100.0))
        for c in (0, added_m)
    )
    assert one.summits.tolist() == other.summits.tolist()
    assert one.saddles.tolist() == other.saddles.tolist()
    assert one.parents.tolist() == other.parents.tolist()


@pytest.mark.parametrize("seed", range(6))
def test_on_rough_ground_parents_are_higher_and_saddles_lower(seed: int) -> None:
    surface = Surface(grid_of(150, 150), fractal(150, 150, seed=seed, relief_m=300.0))
    found, which, worked = found_on(surface, 300.0, 100.0, 40.0)
    assert len(found) > 3
    for k, top in enumerate(found):
        assert top.parent < k, "a top joins a higher one, never itself"
        assert top.prominence_m > 0
        row, column = surface.grid.to_array(top.easting_m, top.northing_m)
        assert surface.height_m[int(row), int(column)] == np.float32(top.height_m)
    places = {(top.easting_m, top.northing_m) for top in found}
    assert len(places) == len(found)
    for ground_at, numbers in zip(worked, which, strict=True):
        for number, post in zip(numbers, rises(ground_at).summits, strict=True):
            if number >= 0:
                e, n = ground_at.grid.to_map(*np.divmod(float(post), ground_at.grid.columns))
                away = np.hypot(found[number].easting_m - e, found[number].northing_m - n)
                assert away <= ground_at.scale_m / 2
                assert found[number].scale_m >= ground_at.scale_m


def test_two_rises_of_one_summit_do_not_make_it_its_own_parent() -> None:
    """Hills closer than half a scale, with a col deep enough to part them: both reach for the higher."""
    surface = ground(
        lambda x, y: (
            400.0
            - 0.02 * np.hypot(x, y)
            + hill(x, y, -72.0, 0.0, 300.0, 26.0)
            + hill(x, y, 72.0, 0.0, 290.0, 26.0)
        ),
        grid_of(161, 161),
    )
    worked = Worked.of(surface, 300.0)
    assert rises(worked).summits.size == 2, "the ground is not what the test is about"
    found, _, _ = found_on(surface, 300.0)
    assert all(top.parent != k for k, top in enumerate(found))
    _, saddles, _ = point_rows(found, worked, set())
    assert all(row["lower_top"] != row["higher_top"] for row in saddles)


def test_a_slope_has_no_top_and_a_hill_cut_by_the_edge_has_a_least_prominence() -> None:
    assert found_on(ground(lambda x, y: 100 + 0.2 * x, grid_of(101, 101)), 100.0)[0] == []
    cut = ground(lambda x, y: 100 + hill(x, y, 380.0, 0.0, 100.0, 200.0), grid_of(101, 101))
    ((top,), _, _) = found_on(cut, 100.0)
    assert top.is_least
    assert np.isnan(top.key_height_m)
    # Certain is only the height above the highest post of the edge, at 500 m east.
    assert top.prominence_m == pytest.approx(100.0 * (1 - np.exp(-(120.0**2) / (2 * 200.0**2))), abs=0.01)


def test_rises_on_a_part_keep_their_places() -> None:
    whole = grid_of(20, 30)
    found = Rises(
        np.array([2 * 30 + 3, 9 * 30 + 12, 15 * 30 + 28]),
        np.array([-1, 8 * 30 + 9, 9 * 30 + 20]),
        np.array([-1, 0, 1]),
    )
    part, kept = rises_within(found, 30, whole.part(8, 10, 10, 19), 8, 10)
    assert kept.tolist() == [False, True, True]
    assert part.summits.tolist() == [1 * 19 + 2, 7 * 19 + 18]
    assert part.saddles.tolist() == [-1, 1 * 19 + 10]


def test_rows_of_tops_and_saddles(pair: Surface) -> None:
    knoll = ground(lambda x, y: two_hills(x, y) + hill(x, y, -400.0, 400.0, 14.0, 30.0), pair.grid)
    found, _, worked = found_on(knoll, 280.0, 80.0)
    taken: set[str] = set()
    rows, saddles, names = point_rows(found, worked[-1], taken)
    assert [row["kind"] for row in rows] == ["summit", "summit", "knoll"]
    assert [row["prominence_m"] >= SUMMIT_PROMINENCE_M for row in rows] == [True, True, False]
    assert [row["landform"] for row in rows[:2]] == ["top-399600-300000", "top-400400-300000"]
    assert (rows[0]["key_saddle"], rows[0]["parent"]) == (None, None)
    assert np.isnan(rows[0]["higher_ground_m"])
    assert rows[1]["parent"] == "top-399600-300000"
    assert rows[1]["dominance"] == pytest.approx(found[1].prominence_m / 220.0, rel=1e-4)
    assert {row["landform"] for row in [*rows, *saddles]} == taken
    by_name = {row["landform"]: row for row in saddles}
    assert rows[1]["key_saddle"] == names[1]
    saddle = by_name[names[1]]
    assert (saddle["lower_top"], saddle["higher_top"]) == ("top-400400-300000", "top-399600-300000")
    assert saddle["climb_m"] == pytest.approx(220.0 - saddle["height_m"])
    assert saddle["height_m"] == pytest.approx(rows[1]["key_saddle_height_m"], abs=1.0)
    assert saddle["scale_m"] == 280.0
    assert by_name[names[2]]["scale_m"] == 80.0
    assert all(row["geometry"].z == row["height_m"] for row in [*rows, *saddles])
    assert [row["cut_by"] for row in rows] == cut_by([row["geometry"] for row in rows], worked[-1])


def test_without_tops_there_are_no_rows(pair: Surface) -> None:
    assert point_rows([], Worked.of(pair, 100.0), set()) == ([], [], {})
