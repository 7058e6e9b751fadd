"""What each line across a photograph costs as its sky's edge: looks of sky and ground, edges, and a little
prior.

All of it works on a small copy of the picture. The looks of sky and ground are learned from the picture
itself,
from several first guesses; the cheapest line of all stands.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from hillsight.plan.picture import edge_path, sky_model

if TYPE_CHECKING:
    from hillsight.arrays import AnyArray, Floats

#: Longer side of the small copy, at most.
WORKING_PX = 480

# Settled by looking at drawn photographs and at real ones; no source. All in the unit of the path's cost.
#: A full edge along the line is worth this much a column.
EDGE = 9.0
#: What a full edge above the line costs, and the most that count.
EDGE_ABOVE, MOST_ABOVE = 2.4, 15.0
#: A step of a row costs this, up to a most: trees and rocks stand up.
ROW, MOST_STEP = 0.8, 14.0
#: Share of a pixel's evidence that is its own, not its neighbours'; and the most that one pixel can say.
OWN, MOST_SAID = 0.06, 5.0
#: Weight of what skies look like anywhere, beside what this one looks like.
PRIOR = 0.06

_ROUNDS = 3
_SKY_KINDS, _GROUND_KINDS = 4, 7
_FLOOR = 0.35


@dataclass(frozen=True)
class Small:
    """A small copy of a picture.

    by : how many pixels a side make one of it
    rgb : (rows, columns, 3) float32, 0 to 255; grain : (rows, columns), unevenness within each of its pixels
    """

    by: int
    rgb: Floats
    grain: Floats

    @property
    def light(self) -> Floats:
        """(rows, columns), 0 to 255."""
        return self.rgb.mean(axis=2)


@dataclass(frozen=True)
class Segmented:
    """The cheapest line of a small picture, and what it was weighed by.

    line : (columns,) first row of ground; costs : (columns, rows + 1) of a line before each row
    edge, sharp : (columns, rows + 1), 0 to 1; sky_like : (rows, columns), log odds of the learned looks
    prior : (rows, columns), log odds of looks anywhere
    """

    line: AnyArray
    costs: Floats
    edge: Floats
    sharp: Floats
    sky_like: Floats
    prior: Floats


def small_copy(rgb: AnyArray) -> Small:
    """A picture, (rows, columns, 3) uint8, by means of square blocks; what is left over at the right is
    left out."""
    by = max(1, int(np.ceil(max(rgb.shape[:2]) / WORKING_PX)))
    rows, columns = rgb.shape[0] // by, rgb.shape[1] // by

    def means(values: Floats) -> Floats:
        blocks = values.reshape(rows, by, columns, by, *values.shape[2:])
        return np.asarray(blocks.mean(axis=(1, 3), dtype=np.float32))

    whole = rgb[: rows * by, : columns * by]
    light = whole.mean(axis=2, dtype=np.float32)
    return Small(by, means(whole), means(np.abs(light - ndimage.uniform_filter(light, 3))))


def looks(small: Small) -> Floats:
    """What a pixel looks like and where it stands, (rows, columns, 7) float32, each in its own usual
    spread."""
    red, green, blue = np.moveaxis(small.rgb, 2, 0)
    light = small.light
    rows, columns = light.shape
    y, x = np.mgrid[0 : 1 : rows * 1j, 0 : 1 : columns * 1j]
    mean = ndimage.uniform_filter(light, 5)
    spread = np.sqrt(np.maximum(ndimage.uniform_filter(light * light, 5) - mean**2, 0))
    grain = np.log(ndimage.uniform_filter(small.grain, 3) + 0.7)

    def soft(values: Floats) -> Floats:
        return np.asarray(ndimage.gaussian_filter(values, 0.7))

    return np.stack(
        [
            soft(light) / 14,
            soft(red - blue) / 9,
            soft(green - (red + blue) / 2) / 6,
            grain / 0.4,
            np.log(spread + 1) / 0.7,
            1.5 * x,
            3.5 * y,
        ],
        axis=-1,
    ).astype(np.float32)


def edges(small: Small) -> tuple[Floats, Floats]:
    """How much of an edge lies between each two rows, 0 to 1, (columns, rows + 1); and how sharp it is,
    likewise.

    Edges of the ground are sharp; those of clouds are mostly spread over several pixels.
    """
    steep, broad = _steepness(small.rgb, 1.0), _steepness(small.rgb, 2.6)
    usual = max(0.35, float(np.percentile(steep, 8)))
    sharp = np.clip((steep / (broad + 0.3 * usual) - 1.25) / 0.5, 0, 1)
    return _between(steep**2 / (steep**2 + (3 * usual) ** 2)), _between(sharp)


def _steepness(rgb: Floats, over: float) -> Floats:
    """Change of colour a pixel, over so many pixels, (rows, columns)."""
    power = np.zeros(rgb.shape[:2])
    for colour in np.moveaxis(rgb, 2, 0):
        down = ndimage.gaussian_filter(colour, (over, 1.3 * over), order=(1, 0))
        along = ndimage.gaussian_filter(colour, (1.3 * over, over), order=(0, 1))
        power += (down**2 + 0.5 * along**2) / 3
    return np.sqrt(power)


def _between(values: Floats) -> Floats:
    """Means of each row and the next, nothing at the rims, (columns, rows + 1)."""
    means = np.zeros((values.shape[0] + 1, values.shape[1]))
    means[1:-1] = (values[1:] + values[:-1]) / 2
    return np.asarray(means.T)


def anywhere(small: Small) -> Floats:
    """Log odds of sky for what is known of skies anywhere: bright, even, blue or grey, not green or brown."""
    red, green, blue = np.moveaxis(small.rgb, 2, 0)
    light = small.light
    grain = np.log(ndimage.uniform_filter(small.grain, 5) + 0.7)
    odds = 0.7 * np.tanh((light - np.median(light)) / 40)
    odds -= np.tanh((grain - np.percentile(grain, 10) - 0.5) / 0.5)
    odds -= np.tanh(np.maximum(red - blue - 8, 0) / 15) + np.tanh(
        np.maximum(green - (red + blue) / 2 - 3, 0) / 5
    )
    return np.asarray(odds + np.tanh(np.maximum(blue - red - 8, 0) / 15) * (light > 60))


def _summed(sky_odds: Floats) -> Floats:
    """Cost of each line when all above it is taken for sky and the rest for ground, (columns, rows + 1)."""
    rows, columns = sky_odds.shape
    total = np.zeros((rows + 1, columns))
    np.cumsum(-2 * sky_odds, axis=0, out=total[1:])
    return np.asarray(total.T + sky_odds.sum(axis=0)[:, None])


def segment(small: Small, seed: int = 0) -> Segmented:
    """Find the cheapest line of a small picture."""
    (edge, sharp), prior, values = edges(small), anywhere(small), looks(small)
    rows, columns = prior.shape
    flat = values.reshape(-1, values.shape[-1])
    above = np.zeros_like(edge)
    above[:, 4:] = np.cumsum(np.maximum(edge * sharp - 0.3, 0) * 1.4, axis=1)[:, :-4]
    lines = -EDGE * edge + EDGE_ABOVE * np.minimum(above, MOST_ABOVE)
    known = _summed(PRIOR * prior)
    # first guesses: below the topmost edges; by looks anywhere; a third of the way down
    guesses = [
        edge_path.cheapest(lines + EDGE_ABOVE * above, ROW, MOST_STEP),
        edge_path.cheapest(lines + 4 * known, ROW, MOST_STEP),
        np.full(columns, int(0.3 * rows)),
    ]
    rng = np.random.default_rng(seed)
    settled = [_settled(guess, flat, lines + known, (rows, columns), rng) for guess in guesses]
    _, line, costs, sky_like = min(settled, key=lambda one: one[0])
    return Segmented(line, costs, edge, sharp, sky_like, prior)


def _settled(
    line: AnyArray, flat: Floats, fixed: Floats, shape: tuple[int, int], rng: np.random.Generator
) -> tuple[float, AnyArray, Floats, Floats]:
    """From a first guess, learn the looks of both sides and move the line, until it rests.

    Returns the whole cost, the line, (columns, rows + 1) costs of lines, and (rows, columns) log odds of sky.
    """
    rows, columns = shape
    row = np.arange(rows)[:, None]
    for _ in range(_ROUNDS):
        sky = (row < np.clip(line, int(0.04 * rows) + 1, int(0.97 * rows))).ravel()
        as_sky = sky_model.learned(flat[sky], _SKY_KINDS, rng, _FLOOR).log_density(flat).reshape(shape)
        as_ground = sky_model.learned(flat[~sky], _GROUND_KINDS, rng, _FLOOR).log_density(flat).reshape(shape)
        odds = np.clip(as_sky - as_ground, -MOST_SAID, MOST_SAID)
        costs = fixed + _summed(OWN * odds)
        before, line = line, edge_path.cheapest(costs, ROW, MOST_STEP)
        if np.abs(line - before).max() < 2:
            break
    fit = np.where(row < line, as_sky, as_ground)
    steps = np.minimum(ROW * np.abs(np.diff(line)), MOST_STEP)
    whole = fixed[np.arange(columns), line].sum() + steps.sum() - OWN * np.maximum(fit, -20).sum()
    return float(whole), line, costs, odds
