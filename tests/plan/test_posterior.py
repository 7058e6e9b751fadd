"""Bayes' rule and all about it, against examples worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.plan.observer import Observer
from hillsight.plan.relocation.posterior import base_rates, log_elsewhere, log_mean, posterior, table_of
from hillsight.plan.vocabulary import SURENESS
from hillsight.plan.weighing.statements import topic, weights, wrong_chances
from plan.made_hills import told

EVEN = np.array([0.5, 0.5])
ONE = np.ones(1)


def fits_of(*rows: tuple[float, ...]) -> np.ndarray:
    """(c, s, 1): a candidate's fits in each row, one direction."""
    return np.array(rows)[:, :, None]


def test_two_candidates_two_statements_by_hand() -> None:
    # Statement 1 fits A by 0.8 and B by 0.2, base rate 0.4, wrong in one of ten: against the base rate
    # A 0.9 * 2 + 0.1 = 1.9, B 0.9 * 0.5 + 0.1 = 0.55. Statement 2 fits A by 0.3 and B by 0.6, base rate 0.3,
    # wrong in one of five: A 0.8 * 1 + 0.2 = 1, B 0.8 * 2 + 0.2 = 1.8. Products: A 1.9, B 0.99.
    table = table_of(
        fits_of((0.8, 0.3), (0.2, 0.6)), np.array([0.4, 0.3]), np.array([0.1, 0.2]), np.ones(2), ONE, 1.0
    )
    assert np.exp(table.without()) == pytest.approx([1.9, 0.99])
    # None of them by nature of the base rate 1, before anything is said 0.2; the candidates 0.4 each:
    # 0.76, 0.396 and 0.2 of 1.356.
    found = posterior(table.without(), EVEN, 0.0, 0.2)
    assert found.candidates == pytest.approx([0.76 / 1.356, 0.396 / 1.356])
    assert found.none == pytest.approx(0.2 / 1.356)
    assert found.best == 0
    assert found.ratio_to_next == pytest.approx(1.9 / 0.99)
    # Priors 1 to 3: 0.2 * 1.9 = 0.38, 0.6 * 0.99 = 0.594, 0.2; of 1.174.
    tipped = posterior(table.without(), np.array([0.25, 0.75]), 0.0, 0.2)
    assert tipped.candidates == pytest.approx([0.38 / 1.174, 0.594 / 1.174])
    assert tipped.best == 1


def test_with_nothing_said_priors_stand() -> None:
    table = table_of(np.zeros((3, 0, 1)), np.zeros(0), np.zeros(0), np.zeros(0), ONE, 1.0)
    found = posterior(table.without(), np.array([0.5, 0.3, 0.2]), 0.0, 0.2)
    assert found.candidates == pytest.approx([0.4, 0.24, 0.16])
    assert found.none == pytest.approx(0.2)


def test_base_rates_are_means_over_places_and_directions() -> None:
    # Two places, two directions looked in once and three times in four, by hand:
    # (0.25 * 0.2 + 0.75 * 0.6 + 0.25 * 0.4 + 0.75 * 0.0) / 2 = 0.3.
    fits = np.array([[[0.2, 0.6]], [[0.4, 0.0]]])
    assert base_rates(fits, np.array([0.25, 0.75])) == pytest.approx([0.3])
    assert base_rates(np.zeros((2, 1, 2)), EVEN)[0] > 0  # nothing is divided by nought


def test_a_statement_wrong_for_sure_tells_nothing() -> None:
    fits = fits_of((0.9, 0.9), (0.1, 0.1))
    table = table_of(fits, np.array([0.3, 0.3]), np.array([1.0, 0.05]), np.ones(2), ONE, 1.0)
    assert table.log_fits[:, 0, 0] == pytest.approx([0.0, 0.0])
    without = table.without(np.array([True, False]))
    assert table.without() == pytest.approx(without)


def test_the_surer_the_more_it_tells() -> None:
    fits = fits_of((0.9,), (0.1,))
    ratios = []
    for sure in ("certain", "sure", "likely", "doubtful"):
        wrong = wrong_chances([told("skyline", "anywhere", sure, shape="flat")])
        assert wrong[0] == SURENESS[sure]
        one, two = table_of(fits, np.array([0.3]), wrong, ONE, ONE, 1.0).without()
        ratios.append(one - two)
    assert ratios == sorted(ratios, reverse=True)
    assert ratios[-1] > 0


def test_no_statement_makes_a_place_impossible() -> None:
    table = table_of(fits_of((1.0,), (0.0,)), np.array([0.5]), np.zeros(1), ONE, ONE, 1.0)
    assert np.isfinite(table.without()).all()
    assert posterior(table.without(), EVEN, 0.0, 0.2).candidates[1] > 0


def test_the_discount_is_a_power_of_all_evidence() -> None:
    arguments = (fits_of((0.8,), (0.2,)), np.array([0.4]), np.zeros(1), ONE, ONE)
    whole, half = table_of(*arguments, 1.0).without(), table_of(*arguments, 0.5).without()
    assert half == pytest.approx(whole / 2)


def test_three_times_the_same_counts_once() -> None:
    thrice = weights([told("skyline", shape="pointed")] * 3, Observer())
    assert thrice.sum() == pytest.approx(1.0)
    assert weights([told("skyline", shape="pointed")], Observer()) == pytest.approx([1.0])
    fits, rates, wrong = np.array([[[0.8]], [[0.2]]]), np.array([0.4]), np.array([0.1])
    once = table_of(fits, rates, wrong, ONE, ONE, 1.0).without()
    again = table_of(
        np.repeat(fits, 3, axis=1), np.repeat(rates, 3), np.repeat(wrong, 3), thrice, ONE, 1.0
    ).without()
    assert again == pytest.approx(once)


def test_three_kinds_about_one_thing() -> None:
    # Three kinds, alike by a half: 3 / (1 + 2 * 0.5) = 1.5 statements' worth, a half each.
    said = [
        told("seen", what="Top"),
        told("height", what="top", stands="level"),
        told("against_sky", what="TOP", stands=True),
    ]
    assert weights(said, Observer(alike=0.5)) == pytest.approx([0.5, 0.5, 0.5])
    assert weights(said, Observer(alike=1.0)).sum() == pytest.approx(1.0)
    assert weights(said, Observer(alike=0.0)).sum() == pytest.approx(3.0)


def test_matters_of_their_own_count_in_full() -> None:
    said = [
        told("brow", "left", distance="near"),
        told("brow", "right", distance="near"),
        told("skyline", shape="flat"),
        told("seen", what="Top"),
        told("seen", what="Tarn"),
        told("relation", what="Top", is_="left of", other="Tarn"),
    ]
    assert len({topic(one) for one in said}) == len(said)
    assert weights(said, Observer()) == pytest.approx(np.ones(len(said)))


def test_a_pair_is_one_matter_either_way_round() -> None:
    one = told("relation", what="Top", is_="left of", other="Tarn")
    other = told("relation", what="tarn", is_="right of", other="top")
    assert topic(one) == topic(other)
    assert weights([one, other], Observer()).sum() == pytest.approx(1.0)


def test_none_of_them_gains_by_bad_fits_and_loses_by_good_ones() -> None:
    for fit, more in ((0.05, True), (0.9, False)):
        table = table_of(fits_of((fit,), (fit,)), np.array([0.3]), np.array([0.05]), ONE, ONE, 1.0)
        found = posterior(table.without(), EVEN, 0.0, 0.2)
        assert (found.none > 0.2) is more
        assert found.candidates.sum() + found.none == pytest.approx(1.0)


def test_none_prior_shifts_odds_by_its_own() -> None:
    # Bayes' rule in odds: posterior odds of none over any are prior odds times one factor.
    log_likelihood = np.log([2.0, 0.5])
    factors = []
    for none_prior in (0.05, 0.2, 0.6):
        found = posterior(log_likelihood, EVEN, np.log(0.7), none_prior)
        factors.append(found.none / (1 - found.none) / (none_prior / (1 - none_prior)))
    assert factors == pytest.approx([0.7 / 1.25] * 3)


def test_elsewhere_is_a_mean_until_one_place_stands_out() -> None:
    about = np.log([1.0, 2.0, 3.0])
    assert log_mean(about) == pytest.approx(np.log(2.0))
    assert log_mean(np.zeros(0)) == 0.0
    assert log_elsewhere(about, np.log([1.0, 0.7]), 5.0) == pytest.approx(np.log(2.0))
    assert log_elsewhere(about, np.log([0.5, 0.1]), 5.0) == pytest.approx(np.log(3.0))


def random_table(directions: int = 7):
    random = np.random.default_rng(8)
    fits = random.random((4, 5, directions))
    prior = random.dirichlet(np.ones(directions))
    rest = (random.uniform(0.2, 0.6, 5), random.uniform(0.0, 0.4, 5), random.uniform(0.3, 1.0, 5))
    return fits, rest, prior, table_of(fits, *rest, prior, 0.9)


def test_leaving_one_out_is_reckoning_without_it() -> None:
    fits, (rates, wrong, counts), prior, table = random_table()
    left = table.leave_one_out()
    for k in range(5):
        keep = np.arange(5) != k
        again = table_of(fits[:, keep], rates[keep], wrong[keep], counts[keep], prior, 0.9)
        assert left[:, k] == pytest.approx(again.without())
        assert table.without(~keep) == pytest.approx(again.without())


def test_all_directions_alike_are_averaged() -> None:
    fits, (rates, wrong, _), _, _ = random_table()
    even = np.full(7, 1 / 7)
    one = fits[:, :1]
    table = table_of(one, rates[:1], wrong[:1], ONE, even, 1.0)
    by_hand = ((1 - wrong[0]) * one[:, 0].mean(axis=1) / rates[0]) + wrong[0]
    assert np.exp(table.without()) == pytest.approx(by_hand)


def test_statements_must_agree_on_one_direction() -> None:
    # Each fits one direction well and the other not: A fits both in the same direction, B in opposite ones.
    fits = np.array([[[0.9, 0.1], [0.9, 0.1]], [[0.9, 0.1], [0.1, 0.9]]])
    table = table_of(fits, np.array([0.5, 0.5]), np.zeros(2), np.ones(2), EVEN, 1.0)
    # By hand: A (1.8 * 1.8 + 0.2 * 0.2) / 2 = 1.64, B 1.8 * 0.2 = 0.36.
    assert np.exp(table.without()) == pytest.approx([1.64, 0.36])
    assert table.directions()[0] == pytest.approx([3.24 / 3.28, 0.04 / 3.28])
    assert table.directions()[1] == pytest.approx([0.5, 0.5])
