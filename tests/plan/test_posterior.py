"""Bayes' rule and all about it, against examples worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.plan.relocation.posterior import (
    Calibration,
    Elsewhere,
    LikelihoodTable,
    base_rates,
    posterior,
)
from hillsight.plan.vocabulary import SURENESS
from hillsight.plan.weighing.statements import judgements, matters, topic, wrong_chances
from plan.made_hills import told

EVEN = np.array([0.5, 0.5])
ONE = np.ones(1)


def fits_of(*rows: tuple[float, ...]) -> np.ndarray:
    """(c, s, 1): a candidate's fits in each row, one direction."""
    return np.array(rows)[:, :, None]


def table_of(
    fits: np.ndarray,
    rates: np.ndarray,
    wrong: np.ndarray,
    prior: np.ndarray,
    matter: np.ndarray | None = None,
    judgement: np.ndarray | None = None,
    mistaken: float = 0.0,
) -> LikelihoodTable:
    """Of fits (c, s, h) in one draw or (c, d, s, h) in several; every statement a matter of its own."""
    if fits.ndim == 3:
        fits = fits[:, None]
    each = np.arange(rates.size)
    matter, judgement = (each if one is None else one for one in (matter, judgement))
    return Calibration(rates, wrong, matter, judgement, prior, mistaken).table(fits)


def test_two_candidates_two_statements_by_hand() -> None:
    # Statement 1 fits A by 0.8 and B by 0.2, base rate 0.4, wrong in one of ten: against the base rate
    # A 0.9 * 2 + 0.1 = 1.9, B 0.9 * 0.5 + 0.1 = 0.55. Statement 2 fits A by 0.3 and B by 0.6, base rate 0.3,
    # wrong in one of five: A 0.8 * 1 + 0.2 = 1, B 0.8 * 2 + 0.2 = 1.8. Products: A 1.9, B 0.99.
    table = table_of(fits_of((0.8, 0.3), (0.2, 0.6)), np.array([0.4, 0.3]), np.array([0.1, 0.2]), ONE)
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
    table = table_of(np.zeros((3, 0, 1)), np.zeros(0), np.zeros(0), ONE)
    found = posterior(table.without(), np.array([0.5, 0.3, 0.2]), 0.0, 0.2)
    assert found.candidates == pytest.approx([0.4, 0.24, 0.16])
    assert found.none == pytest.approx(0.2)


def test_base_rates_are_means_over_places_and_directions() -> None:
    # Two places, two directions looked in once and three times in four, by hand:
    # (0.25 * 0.2 + 0.75 * 0.6 + 0.25 * 0.4 + 0.75 * 0.0) / 2 = 0.3.
    fits = np.array([[[[0.2, 0.6]]], [[[0.4, 0.0]]], [[[0.9, 0.9]]]])
    known = np.array([[True], [True], [False]])  # what cannot be looked from does not count
    assert base_rates(fits, known, np.array([0.25, 0.75])) == pytest.approx([0.3])
    nothing = np.zeros((2, 1, 1, 2))
    assert base_rates(nothing, np.ones((2, 1), bool), EVEN)[0] > 0  # nothing is divided by nought


def test_a_statement_wrong_for_sure_tells_nothing() -> None:
    fits = fits_of((0.9, 0.9), (0.1, 0.1))
    table = table_of(fits, np.array([0.3, 0.3]), np.array([1.0, 0.05]), ONE)
    assert table.log_ratios[:, 0, 0, 0] == pytest.approx([0.0, 0.0])
    without = table.without(np.array([True, False]))
    assert table.without() == pytest.approx(without)


def test_the_surer_the_more_it_tells() -> None:
    fits = fits_of((0.9,), (0.1,))
    ratios = []
    for sure in ("certain", "sure", "likely", "doubtful"):
        wrong = wrong_chances([told("skyline", "anywhere", sure, shape="flat")])
        assert wrong[0] == SURENESS[sure]
        one, two = table_of(fits, np.array([0.3]), wrong, ONE).without()
        ratios.append(one - two)
    assert ratios == sorted(ratios, reverse=True)
    assert ratios[-1] > 0


def test_no_statement_makes_a_place_impossible() -> None:
    table = table_of(fits_of((1.0,), (0.0,)), np.array([0.5]), np.zeros(1), ONE)
    assert np.isfinite(table.without()).all()
    assert posterior(table.without(), EVEN, 0.0, 0.2).candidates[1] > 0


def test_what_is_not_known_is_averaged_over_all_statements_at_once() -> None:
    # In one draw both statements fit A, in the other neither: by hand (1.8 * 1.8 + 0.2 * 0.2) / 2 = 1.64. At
    # B each fits in one draw alone: 1.8 * 0.2 = 0.36, though each by itself fits both places alike.
    fits = np.array([[[[0.9], [0.9]], [[0.1], [0.1]]], [[[0.9], [0.1]], [[0.1], [0.9]]]])
    table = table_of(fits, np.array([0.5, 0.5]), np.zeros(2), ONE)
    assert np.exp(table.without()) == pytest.approx([1.64, 0.36])
    for k in (0, 1):
        assert np.exp(table.without(np.arange(2) == k)) == pytest.approx([1.0, 1.0])


def test_a_draw_in_which_nothing_is_known_does_not_count() -> None:
    fits = np.array([[[[0.9]], [[0.1]]]])
    calibration = Calibration(np.array([0.5]), np.zeros(1), np.zeros(1, int), np.zeros(1, int), ONE, 0.0)
    table = calibration.table(fits, np.array([[True, False]]))
    assert np.exp(table.without()) == pytest.approx([1.8])


def test_the_error_of_few_draws_is_that_of_a_mean() -> None:
    # Likelihoods 1.8 and 0.2 in turn: mean 1, standard deviation 0.8; of 100 draws 0.08.
    fits = np.tile([[[0.9]], [[0.1]]], (50, 1, 1))[None]
    assert table_of(fits, np.array([0.5]), np.zeros(1), ONE).error() == pytest.approx([0.08])


def test_what_judges_the_same_again_counts_once() -> None:
    again = [told("skyline", shape="pointed")] * 3
    assert judgements(again).tolist() == [0, 0, 0]
    fits, rates, wrong = np.array([[[0.8]], [[0.2]]]), np.array([0.4]), np.array([0.1])
    once = table_of(fits, rates, wrong, ONE).without()
    three = table_of(
        np.repeat(fits, 3, axis=1),
        np.repeat(rates, 3),
        np.repeat(wrong, 3),
        ONE,
        np.zeros(3, int),
        np.zeros(3, int),
    )
    assert three.without() == pytest.approx(once)
    assert three.leave_one_out() == pytest.approx(np.repeat(once[:, None], 3, axis=1))


def test_a_distance_in_words_and_in_metres_is_one_judgement_and_a_slope_another() -> None:
    said = [
        told("brow", "left", distance="near"),
        told("brow", "left", distance_m=60.0),
        told("brow", "left", slope_before="level"),
        told("brow", "right", distance="near"),
    ]
    assert judgements(said).tolist() == [0, 0, 1, 2]
    assert matters(said).tolist() == [0, 0, 0, 1]


def test_one_matter_is_mistaken_together() -> None:
    # Three statements of one thing that fit B not at all: each 0.1 against the base rate 1. All together
    # mistaken in 3 of 100: 0.97 * 0.001 + 0.03. Of three matters: (0.97 * 0.1 + 0.03) cubed.
    fits, rates = np.full((1, 3, 1), 0.05), np.full(3, 0.5)
    one = table_of(fits, rates, np.zeros(3), ONE, np.zeros(3, int), None, 0.03)
    assert np.exp(one.without()) == pytest.approx([0.97 * 0.001 + 0.03])
    three = table_of(fits, rates, np.zeros(3), ONE, None, None, 0.03)
    assert np.exp(three.without()) == pytest.approx([(0.97 * 0.1 + 0.03) ** 3])


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
    assert matters(said).tolist() == judgements(said).tolist() == list(range(len(said)))


def test_a_pair_is_one_matter_either_way_round() -> None:
    one = told("relation", what="Top", is_="left of", other="Tarn")
    other = told("relation", what="tarn", is_="right of", other="top")
    assert topic(one) == topic(other)
    assert matters([one, other]).tolist() == [0, 0]


def test_none_of_them_gains_by_bad_fits_and_loses_by_good_ones() -> None:
    for fit, more in ((0.05, True), (0.9, False)):
        table = table_of(fits_of((fit,), (fit,)), np.array([0.3]), np.array([0.05]), ONE)
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


def test_none_of_them_is_the_mean_of_other_places_by_their_shares() -> None:
    table = table_of(fits_of((0.5,), (1.0,), (0.0,)), np.array([0.5]), np.array([0.1]), ONE)
    elsewhere = Elsewhere(table, np.log([0.5, 0.3, 0.2]))
    # Against the base rate 1.0, 1.9 and 0.1: 0.5 + 0.57 + 0.02.
    assert np.exp(elsewhere.without()) == pytest.approx(1.09)
    assert np.exp(elsewhere.leave_one_out()) == pytest.approx([1.0])


def random_table(directions: int = 7):
    random = np.random.default_rng(8)
    fits = random.random((4, 3, 5, directions))
    prior = random.dirichlet(np.ones(directions))
    rest = random.uniform(0.2, 0.6, 5), random.uniform(0.0, 0.4, 5)
    matter, judgement = np.array([0, 0, 1, 1, 2]), np.array([0, 1, 2, 2, 3])
    return fits, rest, prior, matter, judgement


def test_leaving_one_out_is_reckoning_without_it() -> None:
    fits, (rates, wrong), prior, matter, judgement = random_table()
    table = table_of(fits, rates, wrong, prior, matter, judgement, 0.03)
    left = table.leave_one_out()
    for k in range(5):
        keep = np.arange(5) != k
        again = table_of(
            fits[:, :, keep], rates[keep], wrong[keep], prior, matter[keep], judgement[keep], 0.03
        )
        assert left[:, k] == pytest.approx(again.without())
        assert table.without(~keep) == pytest.approx(again.without())


def test_the_order_of_statements_changes_nothing() -> None:
    fits, (rates, wrong), prior, matter, judgement = random_table()
    turned = np.array([3, 0, 4, 2, 1])
    one = table_of(fits, rates, wrong, prior, matter, judgement, 0.03)
    other = table_of(
        fits[:, :, turned], rates[turned], wrong[turned], prior, matter[turned], judgement[turned], 0.03
    )
    assert one.without() == pytest.approx(other.without())
    assert one.directions() == pytest.approx(other.directions())


def test_all_directions_alike_are_averaged() -> None:
    fits, (rates, wrong), _, _, _ = random_table()
    even = np.full(7, 1 / 7)
    one = fits[:, :1, :1]
    table = table_of(one, rates[:1], wrong[:1], even)
    by_hand = ((1 - wrong[0]) * one[:, 0, 0].mean(axis=1) / rates[0]) + wrong[0]
    assert np.exp(table.without()) == pytest.approx(by_hand)


def test_statements_must_agree_on_one_direction() -> None:
    # Each fits one direction well and the other not: A fits both in the same direction, B in opposite ones.
    fits = np.array([[[0.9, 0.1], [0.9, 0.1]], [[0.9, 0.1], [0.1, 0.9]]])
    table = table_of(fits, np.array([0.5, 0.5]), np.zeros(2), EVEN)
    # By hand: A (1.8 * 1.8 + 0.2 * 0.2) / 2 = 1.64, B 1.8 * 0.2 = 0.36.
    assert np.exp(table.without()) == pytest.approx([1.64, 0.36])
    assert table.directions()[0] == pytest.approx([3.24 / 3.28, 0.04 / 3.28])
    assert table.directions()[1] == pytest.approx([0.5, 0.5])
