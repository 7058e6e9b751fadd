"""Statements that exclude each other are refused with both lines; those that merely differ are not.

Each pair is written so that what follows from the words themselves decides; figures are told where they do.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import pytest

from hillsight.errors import SightingError
from hillsight.plan.kinds.height import HEIGHTS
from hillsight.plan.kinds.registry import KINDS
from hillsight.plan.sighting.contradictions import check_contradictions
from hillsight.plan.statement import Sighting, Statement

Told = tuple[str, dict[str, Any]]


def sighting(*told: Told) -> Sighting:
    """Statements on lines 10, 20, 30 and so on."""
    statements = []
    for number, (kind, values) in enumerate(told, start=1):
        rest = dict(values)
        part = rest.pop("part", "anywhere")
        statements.append(Statement(kind, rest, part=part, line=10 * number))
    return Sighting(statements=tuple(statements), source="picture.toml")


def assert_excluded(one: Told, two: Told) -> None:
    """Either order is refused, among other statements, with both lines."""
    for pair in ((one, two), (two, one)):
        with pytest.raises(SightingError, match="exclude each other") as caught:
            check_contradictions(sighting(("seen", {"what": "tarn"}), pair[0], pair[1]))
        assert caught.value.where == "picture.toml, lines 20 and 30"
        assert "(line 20)" in caught.value.what
        assert "(line 30)" in caught.value.what


def excludes(told: Sighting, *named: Collection[str]) -> bool:
    try:
        check_contradictions(told, *named)
    except SightingError:
        return True
    return False


def assert_held(*told: Told) -> None:
    """None of these excludes another, whichever comes first."""
    for order in (told, told[::-1]):
        assert not excludes(sighting(*order))


def seen(what: str, is_seen: bool | None = None, **more: Any) -> Told:
    return "seen", {"what": what, **({} if is_seen is None else {"seen": is_seen}), **more}


def height(what: str, stands: str, **more: Any) -> Told:
    return "height", {"what": what, "stands": stands, **more}


def relation(what: str, how: str, other: str, **more: Any) -> Told:
    return "relation", {"what": what, "is": how, "other": other, **more}


def brow(**values: Any) -> Told:
    return "brow", values


def bearing(what: str, degrees: float, **more: Any) -> Told:
    return "bearing", {"what": what, "degrees": degrees, **more}


def test_the_message_says_both() -> None:
    told = sighting(seen("Raven Crag"), seen("raven  crag", False))
    with pytest.raises(SightingError) as caught:
        check_contradictions(told)
    assert caught.value.what == (
        "'Raven Crag is seen' (line 10) and 'raven crag is not seen' (line 20) exclude each other: "
        "a thing is seen or it is not"
    )
    assert "Take one of them out" in caught.value.remedy


def test_what_was_not_read_from_a_file_has_no_lines() -> None:
    told = [Statement("skyline", {"shape": shape}) for shape in ("flat", "pointed")]
    with pytest.raises(SightingError, match=r"^'the skyline is flat' and 'the skyline comes to a point'"):
        check_contradictions(Sighting(statements=tuple(told)))


def test_the_first_pair_of_the_file_is_told() -> None:
    told = sighting(
        ("skyline", {"shape": "flat"}), seen("wall"), seen("wall", False), ("skyline", {"shape": "saddle"})
    )
    with pytest.raises(SightingError) as caught:
        check_contradictions(told)
    assert caught.value.where == "picture.toml, lines 20 and 30"


def test_seen_and_not_seen() -> None:
    assert_excluded(seen("Raven Crag"), seen("RAVEN CRAG", False))
    assert_excluded(seen("Raven Crag", part="left"), seen("Raven Crag", False))
    assert_excluded(seen("Raven Crag", part="left"), seen("Raven Crag", False, part="left half"))
    assert_excluded(seen("Raven Crag", within_m=300), seen("Raven Crag", False, within_m=500))
    assert_excluded(seen("Raven Crag", within_m=300), seen("Raven Crag", False))
    # On the left it is not, so it is elsewhere.
    assert_held(seen("Raven Crag"), seen("Raven Crag", False, part="left"))
    assert_held(seen("Raven Crag", part="left half"), seen("Raven Crag", False, part="left"))
    assert_held(seen("Raven Crag", part="right"), seen("Raven Crag", False, part="left half"))
    assert_held(seen("Raven Crag", within_m=600), seen("Raven Crag", False, within_m=500))
    assert_held(seen("Raven Crag"), seen("Raven Crag", False, within_m=500))
    assert_held(seen("Raven Crag"), seen("Raven Crag"), seen("Dove Crag", False), seen("Dove Crag", False))


def test_kinds_seen_and_not_seen() -> None:
    assert_excluded(seen("wall", part="left"), seen("Walls", False, part="left"))
    assert_excluded(seen("re-entrant"), seen("reentrant", False))
    assert_held(seen("wall", part="left"), seen("wall", False))
    assert_held(seen("wall", within_m=300), seen("wall", False, within_m=500))
    assert_held(seen("wall"), seen("wall", False, within_m=500))


def test_names_may_be_given() -> None:
    told = sighting(seen("Pike", part="left"), seen("pike", False))
    # A pike is a kind of hill, unless one is said to be called so.
    assert not excludes(told)
    assert excludes(told, {"Pike", "Raven Crag"})
    unnamed = sighting(seen("Raven Crag", part="left"), seen("Raven Crag", False))
    assert excludes(unnamed)
    assert not excludes(unnamed, ())


@pytest.mark.parametrize(
    "other",
    [
        height("Raven Crag", "above"),
        relation("knoll", "left of", "Raven Crag"),
        ("order", {"things": ["wall", "Raven Crag"]}),
        bearing("Raven Crag", 40),
        ("angle", {"what": "wall", "other": "Raven Crag", "degrees": 4}),
        ("vertical_angle", {"what": "Raven Crag", "degrees": 4, "part": "left"}),
        ("against_sky", {"what": "Raven Crag", "stands": False}),
        ("comes_down", {"what": "Raven Crag", "to": "left"}),
    ],
)
def test_what_is_not_seen_is_not_told_of(other: Told) -> None:
    assert_excluded(seen("Raven Crag", False), other)
    assert_held(seen("Raven Crag", False, within_m=500), other)
    assert_held(seen("Raven Crag", False, part="right"), other)
    assert_held(seen("Dove Crag", False), other)
    # No wall is seen, and yet a wall: that is another one, hidden in part, or a slip we do not catch.
    assert_held(seen("wall", False), other)


def test_heights_exclude_each_other_or_not() -> None:
    # Worked out by hand from what the words mean.
    together = {
        frozenset(pair)
        for pair in (
            ("above", "well above"),
            ("above", "a little above"),
            ("below", "well below"),
            ("below", "a little below"),
        )
    }
    for what in ("Raven Crag", "knoll"):
        for one in HEIGHTS:
            for two in HEIGHTS:
                pair = height(what, one, part="left"), height(what, two, part="left")
                if one == two or frozenset((one, two)) in together:
                    assert_held(*pair)
                else:
                    assert_excluded(*pair)
    assert_held(height("knoll", "above", part="left"), height("knoll", "below", part="right"))
    assert_held(height("knoll", "above"), height("wall", "below"))


def test_brows() -> None:
    assert_excluded(brow(distance="near", part="left"), brow(distance="far", part="left"))
    assert_excluded(brow(distance="none"), brow(distance="near", part="right"))
    assert_excluded(brow(distance="none"), brow(distance_m=80))
    assert_excluded(brow(distance="none"), brow(distance="near", across="some"))
    assert_excluded(brow(slope_before="falls gently"), brow(slope_before="rises gently"))
    assert_excluded(brow(slope_beyond="falls steeply"), brow(slope_beyond="level"))
    assert_held(brow(distance="near", part="left"), brow(distance="far", part="right"))
    assert_held(brow(distance="none", part="left"), brow(distance="near"))
    assert_held(brow(distance="near", across="some"), brow(distance="far", across="some"))
    assert_held(brow(distance="none", across="some"), brow(distance="near", across="some"))
    assert_held(brow(distance="near"), brow(distance="near", slope_before="level"))
    assert_held(brow(slope_before="falls gently"), brow(slope_before="falls steeply"))
    assert_held(brow(slope_before="falls steeply"), brow(slope_beyond="rises steeply"))


def test_dead_ground() -> None:
    def dead(**values: Any) -> Told:
        return "dead_ground", values

    assert_excluded(dead(extent="none"), dead(extent="much"))
    assert_excluded(dead(beyond="nothing"), dead(beyond="level"))
    assert_excluded(dead(beyond="falls gently"), dead(beyond="rises steeply"))
    assert_held(dead(extent="none", part="left"), dead(extent="much", part="right"))
    assert_held(dead(extent="much"), dead(extent_m=300), dead(beyond="level"))
    assert_held(dead(beyond="level"), dead(beyond="rises gently"))


def test_skylines() -> None:
    def shape(of: str, part: str = "left") -> Told:
        return "skyline", {"shape": of, "part": part}

    for other in ("pointed", "saddle", "falls left", "falls right"):
        assert_excluded(shape("flat"), shape(other))
    assert_excluded(shape("falls left"), shape("falls right"))
    assert_excluded(shape("pointed"), shape("saddle"))
    assert_held(shape("pointed"), shape("falls right"), shape("pointed"))
    assert_held(shape("flat"), shape("pointed", "right"), shape("pointed", "anywhere"))


def test_outlines_of_the_skyline() -> None:
    def stands(**values: Any) -> Told:
        return "high_and_low", values

    assert_excluded(stands(highest="left"), stands(highest="middle"))
    assert_excluded(stands(highest="left", lowest="right"), stands(lowest="left"))
    assert_held(stands(highest="left"), stands(lowest="left"), stands(highest="right", part="left half"))
    assert_excluded(("humps", {"count": 2}), ("humps", {"count": 3}))
    assert_held(("humps", {"count": 2}), ("humps", {"count": 2.0}), ("humps", {"count": 1, "part": "left"}))

    def end(side: str, runs: str) -> Told:
        return "skyline_end", {"side": side, "runs": runs}

    assert_excluded(end("left", "falls gently"), end("left", "rises gently"))
    # Words next to each other are a matter of judgement.
    assert_held(end("left", "falls gently"), end("left", "falls steeply"), end("right", "rises gently"))


def test_the_nearer_of_two_brows() -> None:
    sides = [("two_brows", {"nearer": side}) for side in ("left", "right", "neither")]
    for k, one in enumerate(sides):
        for other in sides[k + 1 :]:
            assert_excluded(one, other)
        assert_held(one, (one[0], {**one[1], "part": "left half"}))
    assert_held(sides[0], ("two_brows", {"nearer": "right", "part": "left half"}))


def test_no_brow_is_nearer_where_there_is_none() -> None:
    left, neither = (("two_brows", {"nearer": side}) for side in ("left", "neither"))
    assert_excluded(left, brow(distance="none"))
    assert_excluded(("two_brows", {"nearer": "right", "part": "left half"}), brow(distance="none"))
    assert_held(neither, brow(distance="none"))
    assert_held(left, brow(distance="none", part="right half"))
    assert_held(left, brow(distance="none", across="some"))
    assert_held(left, brow(distance="far"))


def test_the_higher_of_two_things() -> None:
    def stands(what: str, how: str, other: str) -> Told:
        return "two_heights", {"what": what, "stands": how, "other": other}

    a, b = "Raven Crag", "Dove Crag"
    assert_excluded(stands(a, "higher", b), stands(a, "lower", b))
    assert_excluded(stands(a, "higher", b), stands(b, "higher", a))
    assert_excluded(stands(a, "as high", b), stands(b, "lower", a))
    assert_excluded(seen(a, False), stands(b, "lower", a))
    assert_held(stands(a, "higher", b), stands(b, "lower", a), stands(a, "lower", "Great End"))
    assert_held(stands(a, "as high", b), stands(b, "as high", a))


def test_against_the_sky() -> None:
    def sky(what: str, *stands: bool, part: str = "anywhere") -> Told:
        return "against_sky", {
            "what": what,
            "part": part,
            **dict.fromkeys(("stands",)[: len(stands)], *stands),
        }

    assert_excluded(sky("Raven Crag"), sky("raven crag", False))
    assert_excluded(sky("knoll", True), sky("knoll", False))
    assert_held(sky("knoll", True, part="left"), sky("knoll", False, part="right"))
    assert_held(sky("knoll"), sky("knoll", True), sky("Raven Crag", False))


def test_left_and_right() -> None:
    def order(*things: str, part: str = "anywhere") -> Told:
        return "order", {"things": list(things), "part": part}

    a, b, c = "Raven Crag", "Dove Crag", "Angle Tarn Pikes"
    assert_excluded(order(a, b), order(b, a))
    assert_excluded(order(a, c, b), order(b, "wall", a.upper()))
    assert_excluded(order(a, b, part="left"), order(b, a))
    assert_excluded(relation(a, "left of", b), relation(a, "right of", b))
    assert_excluded(relation(a, "left of", b), relation(b, "left of", a))
    assert_excluded(relation(a, "right of", b), relation(b, "right of", a))
    assert_excluded(relation(a, "right of", b), order(a, b))
    assert_excluded(order("knoll", "saddle"), order("saddles", "knoll"))
    assert_held(relation(a, "left of", b), relation(b, "right of", a), order(a, c, b))
    assert_held(order(a, b), order(b, c), order(a, c))
    # Things of a kind may be several.
    assert_held(order("knoll", "saddle", "knoll"), order("saddle", "knoll"))
    assert_held(order("knoll", "saddle", part="left"), order("saddle", "knoll", part="right"))
    assert_held(order(a, "knoll", part="left"), order("knoll", a))


def test_in_front_and_behind() -> None:
    a, b = "Raven Crag", "Dove Crag"
    assert_excluded(relation(a, "in front of", b), relation(a, "behind", b))
    assert_excluded(relation(a, "in front of", b), relation(b, "in front of", a))
    assert_excluded(relation(a, "behind", b), relation(b, "behind", a))
    assert_held(relation(a, "in front of", b), relation(b, "behind", a), relation(a, "overlapping", b))
    assert_held(relation(a, "in front of", b), relation(a, "left of", b))
    assert_held(relation(a, "in front of", b), relation(a, "behind", "Great End"))


def test_sides_that_things_come_down_to() -> None:
    def down(what: str, to: str) -> Told:
        return "comes_down", {"what": what, "to": to}

    assert_excluded(down("Nab Rigg", "left"), down("nab rigg", "right"))
    assert_held(down("spur", "left"), down("spur", "right"))
    assert_held(down("Nab Rigg", "left"), down("Nab Rigg", "left"), down("Long Rigg", "right"))


def test_numbers() -> None:
    def number(what: str, count: float, part: str = "left") -> Told:
        return "number", {"what": what, "count": count, "part": part}

    assert_excluded(number("re-entrant", 3), number("Re-entrants", 2))
    assert_excluded(number("wall", 0), seen("wall", part="left"))
    assert_excluded(number("wall", 2), seen("wall", False, part="left"))
    assert_held(number("wall", 3), number("wall", 3.0), number("wall", 2, "right"), number("spur", 1))
    assert_held(number("wall", 0), seen("wall", False, part="left"), seen("wall", part="right"))
    assert_held(number("wall", 2), seen("wall", part="left"), seen("wall", False, part="left", within_m=90))


def test_measurements_of_one_thing() -> None:
    # Two that are out by 3 each differ by 3 sqrt 2 = 4.24, three times which is 12.7.
    near, far = (
        bearing("Raven Crag", 352.2, give_or_take_deg=3),
        bearing("Raven Crag", 352.4, give_or_take_deg=3),
    )
    start = bearing("Raven Crag", 5, give_or_take_deg=3)
    assert_excluded(start, near)
    assert_held(start, far)
    assert_held(start, (near[0], {**near[1], "north": "grid"}))
    assert_held(bearing("cairn", 10), bearing("cairn", 200))
    assert_excluded(bearing("Raven Crag", 10), bearing("Raven Crag", 200))
    # By 3, 4: together 5, three times which is 15.
    for kind, other in (("angle", {"other": "Dove Crag"}), ("vertical_angle", {})):
        one = kind, {"what": "Raven Crag", **other, "degrees": 20, "give_or_take_deg": 3}
        within = kind, {"what": "Raven Crag", **other, "degrees": 34.9, "give_or_take_deg": 4}
        beyond = kind, {"what": "Raven Crag", **other, "degrees": 35.1, "give_or_take_deg": 4}
        assert_held(one, within)
        assert_excluded(one, beyond)
    turned = "angle", {"what": "Dove Crag", "other": "raven crag", "degrees": 60}
    assert_excluded(("angle", {"what": "Raven Crag", "other": "Dove Crag", "degrees": 10}), turned)
    assert_held(("angle", {"what": "Raven Crag", "other": "wall", "degrees": 10}), turned)


def test_the_examples_hold_together() -> None:
    told = [(kind.name, dict(kind.example)) for kind in KINDS.values()]
    # Both orders of saddle and knoll are not told.
    assert len(told) == len(KINDS)
    assert_held(*told)


def test_as_many_as_a_file_may_hold_are_no_burden() -> None:
    told = [bearing("Raven Crag", 10 + k % 3) for k in range(250)]
    told += [("order", {"things": ["Raven Crag", "Dove Crag", "knoll"]})] * 250
    assert_held(*told)
