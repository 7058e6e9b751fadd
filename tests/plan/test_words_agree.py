"""What is said to fit a place, and what the place is said to show, are one: on made and on real ground."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio
from rasterio.windows import Window

from hillsight.ground.grid import Surface
from hillsight.plan.look.things import Things
from hillsight.plan.weighing.facts import fact
from hillsight.plan.weighing.questions import questions
from plan.made_hills import frame_of, knoll, look, surface_of, weighing_of
from shared_data import shared_file
from terrains import fractal

#: Fields of a statement that hold its answer.
_ANSWERS = (
    "distance",
    "slope_before",
    "extent",
    "beyond",
    "shape",
    "stands",
    "is",
    "seen",
    "nearer",
    "highest",
)
_ANSWERS += ("lowest", "count", "runs")

#: Kinds of statement whose answers exclude one another.
_KINDS = ("brow", "two_brows", "dead_ground", "skyline", "high_and_low", "humps", "skyline_end")
_KINDS += ("height", "two_heights", "relation")

TOPS = frame_of([knoll(f"Top {k}", *np.random.default_rng(k).uniform(-500, 500, 2)) for k in range(6)])


def made(seed: int) -> Surface:
    posts = fractal(121, 121, seed=seed, relief_m=150.0)
    return surface_of(lambda east, north: posts, half_m=600.0)


def highland(seed: int) -> Surface:
    """OS Terrain 50 (OGL v3: Contains OS data (c) Crown copyright and database right), drawn closer."""
    random = np.random.default_rng(seed)
    with rasterio.open(shared_file("osterrain50_nn.tif")) as file:
        row, column = (int(random.integers(n - 121)) for n in file.shape)
        posts = file.read(1, window=Window(column, row, 121, 121)).astype(np.float32) / 5.0
    return surface_of(lambda east, north: posts, half_m=600.0)


@pytest.mark.parametrize("ground", [made, highland], ids=["made", "highland"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_word_is_used_of_a_place_if_and_only_if_it_would_rather_be_said_there(ground, seed) -> None:
    surface = ground(seed)
    place = look(surface, *np.random.default_rng(seed).uniform(-200, 200, 2), Things.of(TOPS, 10.0))
    checked = {True: 0, False: 0}
    kinds = set()
    for looks_deg in (20.0, 140.0, 260.0):
        weighing = weighing_of(looks_deg=looks_deg, things=Things.of(TOPS, 10.0))
        direction = int(np.argmax(weighing.framing.prior))
        for question in questions([place], weighing):
            fits = [float(weighing.fit(one, place)[direction]) for one in question.answers]
            scale = max(sum(fits), 1.0)
            for one, fit in zip(question.answers, fits, strict=True):
                shown = fact(one, place, weighing, direction)
                if shown.absent or one.kind not in _KINDS:
                    continue
                key = next(name for name in _ANSWERS if name in one.values)
                agrees = shown.word == str(one.values[key])
                if abs(fit / scale - 0.5) > 1e-6:
                    assert agrees is (fit / scale > 0.5), (one, shown.words, fits)
                checked[agrees] += 1
                kinds.add(one.kind)
    assert min(checked.values()) > 5
    # Of things, two may never show in one picture.
    assert kinds >= set(_KINDS) - {"height", "two_heights", "relation"}
