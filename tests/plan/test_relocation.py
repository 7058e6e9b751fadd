"""Relocation from end to end on a made hill, where it is known what each candidate shows.

See ``made_relocations`` for the ground and what is true at A.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from hillsight.errors import CallError, StationError
from hillsight.ground.stations import Station
from hillsight.plan.look.framing import Framing
from hillsight.plan.relocation.decision import DECIDED, NONE_FITS, UNDECIDED, Rules
from hillsight.plan.relocation.relocation import relocate
from hillsight.plan.relocation.setting import Setting
from hillsight.plan.statement import Statement
from hillsight.plan.verdict import Verdict
from plan.made_hills import told
from plan.made_relocations import EAST_M, NORTH_M, OF_A, VOID, setting_of, sighting, stations, weigh

#: Two places as far from the edge as each other, 250 m apart.
TWINS = ((-100.0, -350.0), (150.0, -350.0))
NEAR_EDGE = told("brow", "middle", distance="near")


@pytest.fixture(scope="module")
def setting(tmp_path_factory: pytest.TempPathFactory) -> Setting:
    return setting_of(tmp_path_factory.mktemp("hill"))


@pytest.fixture(scope="module")
def of_a(setting: Setting) -> Verdict:
    return weigh(setting, OF_A, "C", "A", "B").verdict


def chances(verdict: Verdict) -> dict[str, float]:
    return {one.station: one.probability for one in verdict.candidates}


def test_what_is_true_at_a_candidate_alone_decides(of_a: Verdict) -> None:
    assert of_a.state == DECIDED
    assert of_a.best.station == "A"
    assert of_a.best.probability >= Rules().decide_from
    assert of_a.best.rank == 1
    assert of_a.headline.startswith("Decided: taken from A")
    assert of_a.questions == ()
    assert any(one.role == "decides" for one in of_a.arguments)


def test_probabilities_add_up_and_candidates_keep_their_order(of_a: Verdict) -> None:
    assert sum(chances(of_a).values()) + of_a.none_probability == pytest.approx(1.0)
    assert [one.station for one in of_a.candidates] == ["C", "A", "B"]
    assert sorted(one.rank for one in of_a.candidates) == [1, 2, 3]
    ordered = sorted(chances(of_a).values())
    assert of_a.ratio_to_next == pytest.approx(ordered[-1] / ordered[-2])


def test_the_order_of_candidates_and_statements_makes_no_difference(setting: Setting, of_a: Verdict) -> None:
    again = weigh(setting, OF_A[::-1], "A", "B", "C").verdict
    assert chances(again) == pytest.approx(chances(of_a))
    assert again.none_probability == pytest.approx(of_a.none_probability)


def test_the_same_again_is_the_same(setting: Setting, of_a: Verdict) -> None:
    assert weigh(setting, OF_A, "C", "A", "B").verdict == of_a


def test_without_the_true_place_none_fits(setting: Setting) -> None:
    verdict = weigh(setting, OF_A, "B", "C").verdict
    assert verdict.state == NONE_FITS
    assert verdict.none_probability >= setting.rules.none_from
    assert verdict.headline.startswith("None fits")
    words = next(text for text in verdict.cautions if "fits best" in text)
    # The place told to look about lies on the upper level and near its edge, as A does.
    north_m = float(words.split(" N ")[1].split()[0]) - NORTH_M
    assert -450 < north_m < -290


@pytest.fixture(scope="module")
def of_twins(setting: Setting) -> Verdict:
    return weigh(setting, [NEAR_EDGE], *TWINS).verdict


def test_places_alike_in_all_that_is_said_stay_undecided(of_twins: Verdict) -> None:
    verdict = of_twins
    assert verdict.state == UNDECIDED
    one, two = chances(verdict).values()
    assert one == pytest.approx(two, rel=0.2)
    assert verdict.headline.startswith("Undecided")


def test_the_next_question_tells_the_two_apart(of_twins: Verdict) -> None:
    verdict = of_twins
    first = verdict.questions[0]
    assert {label for label, _ in first.expected} == {"P1", "P2"}
    assert first.expected[0][1] != first.expected[1][1]
    assert not any("In the middle, how soon" in one.text for one in verdict.questions)  # that is answered
    assert all(0 < one.information_bits <= 1 for one in verdict.questions)


def test_nothing_said_leaves_priors(setting: Setting) -> None:
    verdict = weigh(setting, [], "A", "B", "C").verdict
    assert verdict.state == UNDECIDED
    assert list(chances(verdict).values()) == pytest.approx([0.8 / 3] * 3)
    assert [each.prior for each in verdict.candidates] == pytest.approx([0.8 / 3] * 3)
    assert verdict.none_probability == pytest.approx(setting.rules.none_prior)
    assert verdict.arguments == ()


def test_priors_count_by_their_odds(setting: Setting, of_twins: Verdict) -> None:
    tipped = weigh(setting, [NEAR_EDGE], *TWINS, priors=[3.0, 1.0]).verdict
    one, two = chances(of_twins).values()
    more, less = chances(tipped).values()
    assert more / less == pytest.approx(3 * one / two)
    assert [each.prior for each in tipped.candidates] == pytest.approx([0.6, 0.2])  # 0.2 for none
    assert chances(weigh(setting, [NEAR_EDGE], *TWINS, priors=[30.0, 10.0]).verdict) == chances(tipped)


@pytest.mark.parametrize("priors", [[-1.0, 2.0], [0.0, 1.0], [float("nan"), 1.0], [float("inf"), 1.0]])
def test_priors_that_are_none_are_refused(setting: Setting, priors: Sequence[float]) -> None:
    with pytest.raises(CallError, match="prior"):
        weigh(setting, OF_A, "A", "B", priors=priors)


@pytest.mark.parametrize("sure", ["sure", "certain"])
def test_walls_alone_never_decide(setting: Setting, sure: str) -> None:
    # All six walls are in view from D, none from A; that none of these is hardly reckoned with.
    said = [told("seen", "anywhere", sure, what=f"Wall {k}") for k in range(6)]
    said += [told("height", "anywhere", sure, what=f"Wall {k}", stands="well below") for k in range(6)]
    bold = replace(setting, rules=Rules(none_prior=0.001, none_from=0.99))
    verdict = weigh(bold, said, "A", "D").verdict
    assert verdict.best.station == "D"
    assert verdict.best.probability >= bold.rules.decide_from
    assert verdict.state == UNDECIDED
    by_ground = [one.by_ground for one in verdict.candidates]
    assert by_ground == pytest.approx([by_ground[0]] * 2)
    assert any("ground" in text for text in verdict.cautions)


def test_walls_second_what_the_ground_decides(setting: Setting) -> None:
    before = weigh(setting, OF_A, "A", "D").verdict
    after = weigh(setting, [*OF_A, told("seen", what="Wall 2", seen=False)], "A", "D").verdict
    assert after.state == DECIDED
    assert after.ratio_to_next > before.ratio_to_next
    of_wall = next(one for one in after.arguments if one.evidence_class == "man_made")
    assert 1 < of_wall.times <= 2.1
    assert after.arguments[0].evidence_class == "ground_shape"


def test_fewer_than_two_candidates_are_refused(setting: Setting) -> None:
    for places in ((), ("A",)):
        with pytest.raises(StationError, match="nothing to decide"):
            weigh(setting, OF_A, *places)


def test_one_place_twice_is_refused(setting: Setting) -> None:
    with pytest.raises(StationError, match="'P1' and 'P3' are one place"):
        weigh(setting, OF_A, (0.0, -350.0), (300.0, -350.0), (0.5, -350.0))
    assert weigh(setting, OF_A, (0.0, -350.0), (5.0, -350.0)).verdict.candidates


def test_a_candidate_on_a_void_is_refused(setting: Setting) -> None:
    with pytest.raises(StationError, match=r"void|no ground|no height") as caught:
        weigh(setting, OF_A, "A", VOID)
    assert "P2" in str(caught.value)


def test_a_candidate_off_the_terrain_is_refused(setting: Setting) -> None:
    with pytest.raises(StationError, match="terrain"):
        relocate(
            setting,
            [*stations("A"), Station("Off", None, EAST_M + 5_000, NORTH_M, None, "candidates")],
            sighting(*OF_A),
        )


def test_a_thing_on_no_map_is_refused_with_what_is_called_nearly_so(setting: Setting) -> None:
    said = [OF_A[0], told("seen", what="West Knol")]
    with pytest.raises(CallError, match="'West Knol'") as caught:
        weigh(setting, said, "A", "B")
    assert "'West Knoll'" in (caught.value.remedy or "")
    assert "line 10" in (caught.value.where or "")
    with pytest.raises(CallError, match="'lighthouse'") as caught:
        weigh(setting, [told("seen", what="lighthouse")], "A", "B")
    for kind in ("knoll", "saddle", "spur", "wall"):
        assert kind in (caught.value.remedy or "")


def test_a_magnetic_bearing_needs_a_day(setting: Setting, tmp_path_factory: pytest.TempPathFactory) -> None:
    # East Knoll lies atan(300 / 600) = 26.6 degrees from A; magnetic north 5 degrees west of true.
    said = [told("bearing", what="East Knoll", degrees=31.6, north="magnetic", give_or_take_deg=1.0)]
    with pytest.raises(CallError, match="magnetic bearing needs the day"):
        weigh(setting, said, "A", "B")
    dated = setting_of(tmp_path_factory.mktemp("dated"), declination_deg=-5.0)
    verdict = weigh(dated, said, "A", "B").verdict
    assert verdict.best.station == "A"
    assert "27 degrees true" in verdict.arguments[0].facts[0].words


@pytest.mark.slow
def test_five_hundred_statements_are_weighed(setting: Setting) -> None:
    parts = ("left", "middle", "right", "left half", "right half")
    kinds = [
        *((("brow"), {"distance_m": 40.0 + k}) for k in range(20)),
        *((("dead_ground"), {"extent_m": 600.0 + 10 * k}) for k in range(20)),
        *((("skyline"), {"shape": shape}) for shape in ("flat", "pointed", "saddle", "falls left")),
        *((("seen"), {"what": what}) for what in ("West Knoll", "knoll", "wall", "spur", "The Saddle")),
        *((("height"), {"what": "East Knoll", "stands": "well above"}) for _ in range(51)),
    ]
    said: list[Statement] = [told(kind, part, **values) for kind, values in kinds for part in parts]
    assert len(said) == 500
    quick = replace(setting, elsewhere=4, framing=Framing.of(0.0, 0.5, 90.0, 0.06))
    verdict = weigh(quick, said, "A", "B").verdict
    assert len(verdict.arguments) == 500
    assert {one.number for one in verdict.arguments} == set(range(1, 501))
    assert sum(chances(verdict).values()) + verdict.none_probability == pytest.approx(1.0)


def test_saying_it_again_makes_it_no_surer(setting: Setting) -> None:
    once = weigh(setting, OF_A, "A", "B").verdict
    thrice = weigh(setting, OF_A * 3, "A", "B").verdict
    assert chances(thrice) == pytest.approx(chances(once))


def test_more_candidates_than_are_argued_are_ranked(setting: Setting) -> None:
    places = [(40.0 * k - 300.0, -900.0) for k in range(15)]
    verdict = weigh(setting, OF_A, *places, "A").verdict
    assert verdict.best.station == "A"
    assert verdict.arguments == ()


def test_the_direction_is_found_where_none_is_told(tmp_path_factory: pytest.TempPathFactory) -> None:
    # All that is true at A is true of a picture that looks north; A's ground to the south is level.
    every_way = setting_of(tmp_path_factory.mktemp("every"), looks_deg=None)
    verdict = weigh(every_way, OF_A, "A", "B").verdict
    best = verdict.best
    assert best.station == "A"
    assert abs((best.looks_true_deg + 180) % 360 - 180) < 20
    assert 0 < best.looks_plus_minus_deg < 45


def test_progress_goes_up_to_the_end(setting: Setting) -> None:
    done: list[float] = []
    weigh(setting, OF_A, "A", "B", progress=done.append)
    assert all(one <= other for one, other in itertools.pairwise(done))
    assert done[-1] == 1.0
    assert np.ptp(done) > 0.5
