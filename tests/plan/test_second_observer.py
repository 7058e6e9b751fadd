"""The second observer of the studies: what it sees against plain geometry, and its chances."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pyproj import CRS

import second_observer_sight
from hillsight.plan.relocation.decision import Rules
from second_observer_ceiling import judge
from second_observer_exam import NONE_PRIOR, put, terrain_of
from second_observer_exercises import Exercise, exercises
from second_observer_grounds import Pair
from second_observer_sayings import may_say
from second_observer_sight import DROP_PER_M, Ground, walk
from second_observer_view import look
from second_observer_words import Draws
from study_report import Rows, bits, reliability, spiegelhalter, summary
from terrains import fractal


def made_pair(seed: int) -> Pair:
    """Fractal ground of 9 km, and every second post of it."""
    height_m = fractal(361, 361, seed=seed, relief_m=600.0).astype(np.float32)
    truth = Ground(height_m, 25.0, 300_000.0, 709_000.0)
    model = Ground(np.ascontiguousarray(height_m[::2, ::2]), 50.0, 300_000.0, 709_000.0)
    return Pair("made", truth, model, CRS(27700))


@pytest.fixture(scope="module")
def made() -> list[Exercise]:
    return [one for seed in (1, 2) for one in exercises(made_pair(seed), 5, (7, 8), seed)]


def test_the_observer_and_the_judge_share_no_code_with_what_they_examine() -> None:
    folder = Path(second_observer_sight.__file__).parent
    apart = sorted(
        set(folder.glob("second_observer_*.py"))
        - {folder / f"second_observer_{n}.py" for n in ("exam", "study")}
    )
    assert len(apart) >= 8
    for path in apart:
        assert "hillsight" not in re.findall(r"^\s*(?:from|import) (\w+)", path.read_text(), re.MULTILINE), (
            path
        )


def test_a_plateau_ends_in_a_brow_and_a_wall_of_hills_behind_is_the_sky() -> None:
    # Level at 500 m for 400 m, then 200 m lower, and from 3,000 m a level ridge at 600 m.
    east_m = 10.0 * np.arange(401)
    profile = np.where(east_m <= 400.0, 500.0, np.where(east_m < 3_000.0, 300.0, 600.0))
    ground = Ground(np.tile(profile, (41, 1)).astype(np.float32), 10.0, 0.0, 400.0)
    seen = walk(ground, 0.5, 200.0, 2.0, np.array([90]))
    assert seen.brow_m[90] == pytest.approx(399.5, abs=10.0)
    drop_m = DROP_PER_M * 3_000.0**2
    assert seen.sky_deg[90] == pytest.approx(
        np.degrees(np.arctan((600.0 - drop_m - 502.0) / 2_999.5)), abs=0.02
    )
    # The sight line over the edge falls 2 m in 400: the hills' foot shows where it meets their side.
    assert 2_980.0 <= seen.again_m[90] <= 3_000.0
    assert seen.before_deg[90] == pytest.approx(0.0, abs=0.1)


def test_all_chances_of_a_question_are_chances(made) -> None:
    draws = Draws.of(np.linspace(0.0, 350.0, 8), np.random.default_rng(1))
    kinds = set()
    for one in made:
        view = look(one.pair.truth, *one.true_m, 1.6, one.sheet)
        for turn in range(8):
            at = Draws(
                *(
                    v[turn : turn + 1]
                    for v in (draws.heading_deg, draws.width_deg, draws.level_deg, draws.scale_log)
                )
            )
            for saying in may_say(view, one.sheet, at):
                kinds.add(saying.kind)
                chances = saying.chances(view, draws)
                assert chances.shape == (8, len(saying.answers))
                assert (chances > 0).all()
                assert (chances.sum(axis=1) <= 1.0 + 1e-6).all()
    assert {"brow", "dead_ground", "skyline", "seen", "height", "relation", "comes_down"} <= kinds
    assert {"high_and_low", "humps", "skyline_end", "two_brows", "two_heights"} <= kinds


def test_the_ideal_judge_gains_from_what_is_said(made) -> None:
    gained = []
    for k, one in enumerate(made):
        if one.truth is None:
            continue
        found = judge(one, NONE_PRIOR, (k,), [one.pair.truth], looks=4)
        every = np.append(found.candidates, found.none)
        assert every.sum() == pytest.approx(1.0)
        gained.append(bits(every, one.truth))
    assert len(gained) >= 4
    assert np.mean(gained) > 0.6  # of some 2 at most


def test_relocate_takes_an_exercise(made, tmp_path) -> None:
    answer = put(made[0], terrain_of(made[0].pair, tmp_path))
    assert sum(answer.candidates) + answer.none == pytest.approx(1.0)
    assert answer.state in ("decided", "undecided", "none_fits")
    assert Rules().none_prior == NONE_PRIOR


def stated_rows(surer: float) -> pd.DataFrame:
    """Answers of three candidates whose probabilities are true, or stated surer than they are."""
    random = np.random.default_rng(3)
    rows = []
    for _ in range(1_500):
        p = random.dirichlet((0.6, 0.6, 0.6, 0.6))
        true = int(random.choice(4, p=p))
        # The weighing is told that two places in ten are missing, and three are.
        told = (p * (0.8 / 0.7, 0.8 / 0.7, 0.8 / 0.7, 0.2 / 0.3)) ** surer
        told = told / told.sum()
        rows.append(
            {
                "truth": np.nan if true == 3 else true,
                "state": "decided" if told[:3].max() >= 0.95 else "undecided",
                "probabilities": str(told[:3].tolist()),
                "none": told[3],
                "without": "{}",
            }
        )
    return pd.DataFrame(rows)


def test_the_report_tells_true_chances_from_too_sure_ones() -> None:
    rows = [Rows.of(stated_rows(surer)) for surer in (1.0, 2.5)]
    true, sure = (summary(one) for one in rows)
    for figure in ("z_candidates", "z_best", "z_none"):
        assert abs(true[figure]) < 3.0
        assert abs(sure[figure]) > 4.0
    assert true["wrong_p"] > 0.01
    assert sure["wrong_p"] < 0.001
    assert sure["bits"] < true["bits"]
    assert reliability(rows[0], "candidates")["held"].all()
    assert not reliability(rows[1], "candidates")["held"].all()


def test_spiegelhalters_z_of_a_worked_case() -> None:
    # Two at 0.9 that both failed, by hand.
    stated, came = np.array([0.9, 0.9]), np.array([False, False])
    by_hand = 2 * (-0.9 * -0.8) / np.sqrt(2 * 0.64 * 0.09)
    assert spiegelhalter(stated, came) == pytest.approx(by_hand)
