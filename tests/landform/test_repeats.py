"""What a larger scale has told is not told again."""

from __future__ import annotations

from typing import Any

import shapely

from hillsight.landform.repeats import without_repeats


def row(scale_m: float, *places: tuple[float, float]) -> dict[str, Any]:
    return {"scale_m": scale_m, "geometry": shapely.LineString(places)}


LARGE = row(400.0, (0, 0), (0, 1000))


def test_nothing_is_dropped_where_there_is_nothing_larger() -> None:
    rows = [row(100.0, (0, 0), (0, 100))] * 2
    assert without_repeats(rows, []) == rows
    assert without_repeats([], [LARGE]) == []


def test_a_line_beside_a_larger_one_is_dropped_within_a_quarter_of_the_larger_scale() -> None:
    beside, away = row(100.0, (99, 200), (99, 500)), row(100.0, (101, 200), (101, 500))
    assert without_repeats([beside, away], [LARGE]) == [away]


def test_the_direction_in_which_lines_are_drawn_does_not_matter() -> None:
    assert without_repeats([row(100.0, (50, 500), (50, 200))], [LARGE]) == []


def test_three_fifths_beside_make_it_the_same() -> None:
    # The larger line ends at 1000; with its surroundings it reaches to 1100 on its own axis.
    part, most = row(100.0, (0, 941), (0, 1211)), row(100.0, (0, 931), (0, 1201))
    assert without_repeats([part, most], [LARGE]) == [part]


def test_one_that_crosses_is_another() -> None:
    crossing = row(100.0, (-300, 500), (300, 500))
    assert without_repeats([crossing], [LARGE]) == [crossing]


def test_two_larger_ones_together_do_not_make_it_the_same() -> None:
    halves = [row(400.0, (0, -1000), (0, 0)), row(400.0, (0, 1000), (0, 2000))]
    between = row(100.0, (0, 0), (0, 1000))
    assert without_repeats([between], halves) == [between]


def test_the_rows_kept_are_those_given_in_their_order() -> None:
    rows = [row(100.0, (x, 0), (x, 300)) for x in (700.0, 0.0, 300.0, 500.0)]
    kept = without_repeats(rows, [LARGE])
    assert kept == [rows[0], rows[2], rows[3]]
    assert all(one is other for one, other in zip(kept, [rows[0], rows[2], rows[3]], strict=True))
