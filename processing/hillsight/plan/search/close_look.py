"""The closer look at the places that a first look left: the very likelihood that a verdict weighs with.

A place stands for its cell of the lattice: it may be off by as much as a spot in the cell is from its middle,
and the match sums over that as it does over the ground's errors.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
from scipy import special

from hillsight.plan.look.skies import ROUND, ROUND_STEP_DEG, GroundAbout, bearings_wanted
from hillsight.plan.picture.skyline_match import match
from hillsight.sight.sky_rounds import sky_rounds

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.arrays import Flags, Floats, Floats32, Integers
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.plan.picture.skyline_match import PictureSkyline
    from hillsight.sight.far_sky import FarGround
    from hillsight.sight.sky_rounds import SkyRounds

#: The directions that a match sums over lie in bins so wide, degrees.
_BIN_DEG = 2.0

#: How far to each side of a direction of the first look it may truly be, degrees.
_BESIDE_DEG = 3.0

#: Directions of one place are looked at closely whose first score is within so much of its best, and no more
#: than so many.
_WITHIN, _MOST = 6.0, 3

#: Cases done together, so that their bearings can be the same.
_SECTOR_DEG = 10.0


@dataclass(frozen=True)
class CloseLook:
    """How well places fit, (p,) each.

    log_likelihood : summed over heading, tilt, roll, focal length and the spot within the cell
    heading_grid_deg, tilt_deg, roll_deg, focal_share, misfit_deg, hidden : of the best fit, as in ``Matched``
    spread : (p, 4) as in ``Matched``
    """

    log_likelihood: Floats
    heading_grid_deg: Floats
    tilt_deg: Floats
    roll_deg: Floats
    focal_share: Floats
    misfit_deg: Floats
    hidden: Floats
    spread: Floats

    def take(self, which: Integers) -> CloseLook:
        """Some of the places, in an order of their own."""
        return CloseLook(*(getattr(self, one.name)[which] for one in fields(self)))


@dataclass(frozen=True)
class Eyes:
    """What all places are looked from with.

    far : all ground that may stand against the sky; rough_m : its roughness, ``roughness.rough_scale_m``
    eye_height_m, drop_per_m : of every eye
    """

    far: FarGround
    rough_m: Floats32
    errors: ErrorModel
    eye_height_m: float
    drop_per_m: float

    def level_m(self, easting_m: Floats, northing_m: Floats) -> Floats:
        """Level of eyes, (n,) metres; NaN where no ground is known."""
        return self.far.surface.heights_at_m(easting_m, northing_m) + self.eye_height_m

    def look(self, easting_m: Floats, northing_m: Floats, bearing_grid_deg: Floats) -> SkyRounds:
        """The sky's edge from n places along some bearings."""
        row, column = self.far.surface.grid.to_array(easting_m, northing_m)
        level_m = self.level_m(easting_m, northing_m)
        return sky_rounds(self.far, row, column, level_m, self.drop_per_m, bearing_grid_deg)

    def skies(self, easting_m: Floats, northing_m: Floats, spread_m: float, wanted: Flags) -> Floats:
        """Skies of n places as ``skyline_match.match`` takes them, (n, 6, ROUND).

        Parameters
        ----------
        spread_m : one standard deviation of the place, each way
        wanted : (ROUND,) bearings
        """
        at = np.flatnonzero(wanted)
        seen = self.look(easting_m, northing_m, np.asarray(at * ROUND_STEP_DEG, np.float64))
        angle, distance = (np.full((easting_m.size, ROUND), np.nan) for _ in range(2))
        angle[:, at], distance[:, at] = seen.angle_deg, seen.distance_m
        about = GroundAbout.of(self.far.surface, self.rough_m, self.errors, easting_m, northing_m, spread_m)
        return about.rows(angle, distance, wanted)


def close_look(
    picture: PictureSkyline,
    eyes: Eyes,
    easting_m: Floats,
    northing_m: Floats,
    spread_m: float,
    heading_grid_deg: Floats,
    score: Floats,
    progress: Callable[[float], None] | None = None,
) -> CloseLook:
    """Fit places closely in the directions that a first look likes.

    Parameters
    ----------
    easting_m, northing_m : (p,) on known ground
    spread_m : one standard deviation of the place, each way
    heading_grid_deg, score : (p, k) of the first look, best first
    """
    place, heading = _cases(heading_grid_deg, score)
    count = easting_m.size
    logs = np.full(place.size, -np.inf)
    fits = np.zeros((place.size, 11))
    half_deg = picture.half_width_deg * (1.0 + 3.0 * picture.focal_share) + _BESIDE_DEG + _SECTOR_DEG / 2
    # Turned so that the direction of the first look is due south, and all are asked the same.
    asked = 180.0 + np.arange(-_BESIDE_DEG + _BIN_DEG / 2, _BESIDE_DEG, _BIN_DEG)
    sector = np.floor(heading / _SECTOR_DEG)
    done = 0
    for number in np.unique(sector):
        group = np.flatnonzero(sector == number)
        wanted = bearings_wanted(np.array([(number + 0.5) * _SECTOR_DEG]), half_deg)
        skies = eyes.skies(easting_m[place[group]], northing_m[place[group]], spread_m, wanted)
        for k, turn in enumerate(180.0 - heading[group]):
            skies[k] = np.roll(skies[k], round(turn / ROUND_STEP_DEG), axis=-1)
        found = match(picture, skies, asked, _BIN_DEG)
        logs[group] = special.logsumexp(found.log_likelihood, axis=1)
        fits[group, 0] = found.heading_grid_deg - 180.0 + heading[group]
        for k, values in enumerate((found.tilt_deg, found.roll_deg, found.focal_share, found.misfit_deg)):
            fits[group, 1 + k] = values
        fits[group, 5] = found.hidden
        fits[group, 6:10] = found.spread
        done += group.size
        if progress is not None:
            progress(done / place.size)
    total = np.full(count, -np.inf)
    np.logaddexp.at(total, place, logs)
    best = np.zeros(count, np.intp)
    order = np.lexsort((-logs, place))
    first = np.flatnonzero(np.r_[True, np.diff(place[order]) > 0])
    best[place[order][first]] = order[first]
    each = fits[best]
    return CloseLook(
        total, each[:, 0] % 360.0, each[:, 1], each[:, 2], each[:, 3], each[:, 4], each[:, 5], each[:, 6:10]
    )


def _cases(heading_grid_deg: Floats, score: Floats) -> tuple[Integers, Floats]:
    """Which directions of which places are looked at: indices of places, and headings, (c,) each.

    Directions so near each other that one look takes in both are one.
    """
    place, heading = [], []
    for p in range(score.shape[0]):
        kept: list[float] = []
        for k in range(score.shape[1]):
            if score[p, k] < score[p, 0] - _WITHIN or len(kept) == _MOST:
                break
            one = float(heading_grid_deg[p, k])
            if all(abs((one - other + 180.0) % 360.0 - 180.0) >= 2.0 * _BESIDE_DEG for other in kept):
                kept.append(one)
        place += [p] * len(kept)
        heading += kept
    return np.array(place, np.intp), np.array(heading)
