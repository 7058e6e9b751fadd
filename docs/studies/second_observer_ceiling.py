"""An ideal judge: knows the fine ground and this very observer, and what a picture may hide from anybody.

The likelihood of a place is the mean over draws, shared by all places, of the product of the observer's own
chances: of where beside the spot it was taken, from what height, which way it looks and how wide it is, and
how far level and distances are misjudged. It is as much as any weighing could make of what was said.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage, special

from second_observer_exercises import LEAST_M, MOST_M, SOUGHT, TOLD_DEG, on_land, traits, unlike
from second_observer_grounds import field
from second_observer_sight import Ground
from second_observer_view import look
from second_observer_words import Draws

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from second_observer_exercises import Exercise
    from second_observer_grounds import Pair

    Floats = NDArray[np.float64]

#: Looks from each candidate, and draws of the picture in each: together the draws of the mean.
LOOKS, PICTURES = 50, 42

#: Grounds drawn for a judge who does not know the true one.
GROUNDS = 8

#: Places that are none of the candidates: so many about each of some anchors, each looked from once. One of
#: them may fit far better than all others, so many places tell more than many looks.
ANCHORS, ABOUT_EACH = 48, 7


@dataclass(frozen=True)
class Judgement:
    """What the ideal judge says.

    candidates, none : probabilities; together one
    effective : of how many equal draws the mean at the likeliest candidate is worth
    without : by kind of statement, (c + 1,) the same without all of that kind, none last
    """

    candidates: Floats
    none: float
    effective: float
    without: dict[str, Floats]


def draws_of_truth(pair: Pair, random: np.random.Generator, count: int = GROUNDS) -> list[Ground]:
    """Grounds that the truth may be, for a judge who has nothing but the model and knows how far it errs.

    Each is the model between its posts and a field of errors alike over a post of the model, of the size that
    they have about there.
    """
    truth, model = pair.truth, pair.model
    rows, columns = truth.height_m.shape
    east_m = truth.west_m + truth.spacing_m * np.arange(columns)
    north_m = truth.north_m - truth.spacing_m * np.arange(rows)
    row = (model.north_m - north_m) / model.spacing_m
    column = (east_m - model.west_m) / model.spacing_m
    at = np.meshgrid(row, column, indexing="ij")
    filled = np.nan_to_num(model.height_m.astype(np.float64))
    between = ndimage.map_coordinates(filled, at, order=1, mode="nearest")
    off_m = np.nan_to_num(truth.height_m - between)
    size_m = np.sqrt(ndimage.gaussian_filter(off_m**2, 10.0 * model.spacing_m / truth.spacing_m))
    found = []
    for _ in range(count):
        error = field(truth.height_m.shape, truth.spacing_m, model.spacing_m, random)
        heights = np.where(np.isnan(truth.height_m), np.nan, between + size_m * error).astype(np.float32)
        found.append(Ground(heights, truth.spacing_m, truth.west_m, truth.north_m))
    return found


def judge(
    made: Exercise, none_prior: float, seed: tuple[int, ...], grounds: list[Ground], looks: int = LOOKS
) -> Judgement:
    """The posterior of an ideal judge.

    Parameters
    ----------
    grounds : looked over in turn: the true ground alone, or draws of it
    """
    random = np.random.default_rng(seed)
    off_m, turn = random.uniform(5.0, 25.0, looks), random.uniform(0.0, 2 * np.pi, looks)
    beside = np.column_stack((off_m * np.sin(turn), off_m * np.cos(turn)))
    eyes_m = random.uniform(1.4, 1.8, looks)
    pictures = [_pictures(made.told_deg, random) for _ in range(looks)]
    rays = [_rays(one, made.told_deg) for one in pictures]
    rows = sorted({k for saying, _, _ in made.said for k in saying.things})
    sheet = made.sheet.part(rows)
    number = {row: k for k, row in enumerate(rows)}
    said = [(saying.without_things(number), given) for saying, given, _ in made.said]

    def logs_at(place_m: Floats, numbers: range) -> Floats:
        """(looks x pictures, statements)."""
        found = []
        for k in numbers:
            view = look(grounds[k % len(grounds)], *(place_m + beside[k]), float(eyes_m[k]), sheet, rays[k])
            found.append(np.log([saying.chances(view, pictures[k])[:, given] for saying, given in said]).T)
        return np.concatenate(found)

    ours = [logs_at(place, range(looks)) for place in made.places_m]
    others = [
        logs_at(place, range(k % looks, k % looks + 1)) for k, place in enumerate(_elsewhere(made, random))
    ]

    def answer(kept: NDArray[np.bool_]) -> Floats:
        at = np.array([_mean(one[:, kept].sum(axis=1)) for one in ours])
        none = _mean(np.array([_mean(one[:, kept].sum(axis=1)) for one in others]))
        logs = np.append(at + np.log((1 - none_prior) / at.size), none + np.log(none_prior))
        return np.asarray(special.softmax(logs), np.float64)

    kinds = np.array([saying.kind for saying, _, _ in made.said])
    whole = answer(np.ones(kinds.size, bool))
    likeliest = special.softmax(ours[int(np.argmax(whole[:-1]))].sum(axis=1))
    return Judgement(
        whole[:-1],
        float(whole[-1]),
        float(1.0 / (likeliest**2).sum()),
        {str(kind): answer(kinds != kind) for kind in np.unique(kinds)},
    )


def _mean(logs: Floats) -> float:
    return float(special.logsumexp(logs) - np.log(logs.size))


def _pictures(told_deg: float, random: np.random.Generator) -> Draws:
    """Directions evenly over their distribution about the one told, each with its own width and level."""
    even = (np.arange(PICTURES) + random.random(PICTURES)) / PICTURES
    off_deg = -np.sign(even - 0.5) * TOLD_DEG / np.sqrt(2.0) * np.log(1.0 - 2.0 * np.abs(even - 0.5))
    return Draws.of((told_deg + off_deg) % 360.0, random)


def _rays(pictures: Draws, told_deg: float) -> NDArray[np.int64]:
    """All rays that any of the pictures shows."""
    off = (pictures.heading_deg - told_deg + 180.0) % 360.0 - 180.0
    first, last = np.floor(told_deg + off.min() - 35.0), np.ceil(told_deg + off.max() + 35.0)
    rays: NDArray[np.int64] = np.arange(int(first), min(int(last), int(first) + 359) + 1) % 360
    return rays


def _elsewhere(made: Exercise, random: np.random.Generator) -> list[Floats]:
    """Places drawn as the missing one is: those most like a candidate among many about it."""
    ground, places = made.pair.truth, made.places_m
    found: list[Floats] = []
    for _ in range(ANCHORS):
        anchor = places[int(random.integers(len(places)))]
        towards_deg = made.told_deg + float(random.uniform(-120.0, 120.0))
        about = (float(anchor[0]), float(anchor[1]))
        tried = np.array([on_land(ground, about, LEAST_M, MOST_M, random) for _ in range(SOUGHT)])
        order = np.argsort(unlike(ground, tried, traits(ground, anchor, towards_deg), towards_deg))
        alike = [tried[k] for k in order if np.hypot(*(places - tried[k]).T).min() >= LEAST_M]
        found += alike[:ABOUT_EACH]
    return found
