"""What one place sees of things, by samples that stand far apart: a bearing list's questions, quickly.

What is seen of a thing, its highest part and the chance that anything of it shows mean the same here as in
``reading.things.bearing_list``, where samples stand closer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from hillsight.arrays import known_or
from hillsight.reading.doubt.trust import SIGMAS_95, plus_minus
from hillsight.sight.doubt import Doubtful
from hillsight.sight.points import see_points
from hillsight.sight.probability import ThingSamples, seen_at_a_glance
from hillsight.words.angles import signed_deg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.ground.grid import Surface
    from hillsight.plan.look.things import Things
    from hillsight.sight.doubt import ErringGround
    from hillsight.sight.maxima import Maxima
    from hillsight.sight.points import PointSight
    from hillsight.sight.viewing import Eye

#: Seen things this little below the skyline stand on it.
_ON_SKYLINE_DEG = 0.05

#: Nothing is nearer than this, so that a thing underfoot has a bearing and an angle.
_NEAREST_M = 0.5


@dataclass(frozen=True)
class ThingsSeen:
    """What is seen of each thing; every array (m,), NaN where it does not apply.

    judged : whether any of it lies within the reach and can be judged: not on a void, nor behind one
    chance : that anything of it is seen, by all that errs; 0 beyond the reach and where nobody can say
    left_deg, width_deg : true bearing of its left edge and angle from there to its right edge, of what is
        seen, or of what would show first where nothing is
    middle_deg : true bearing of its middle
    distance_m : of its middle; nearest_m : of the nearest that is seen
    highest_m : grid distance of its highest part that is seen
    vertical_deg, height_difference_m : of the top of that part against the eye
    vertical_spread_deg, height_spread_m : standard deviations of these two by all that errs
    below_sky_deg : least angle between what is seen of it and the skyline on that bearing
    falls_right_deg : how far right of its higher end its lower end is seen; NaN for what is no line
    apparent_deg : angle across the smaller dimension of what is seen of it: the thickness of a line where it
        is nearest, the size of a point, of an area its height or width in the picture
    """

    judged: Flags
    chance: Floats
    left_deg: Floats
    width_deg: Floats
    middle_deg: Floats
    distance_m: Floats
    nearest_m: Floats
    highest_m: Floats
    vertical_deg: Floats
    height_difference_m: Floats
    vertical_spread_deg: Floats
    height_spread_m: Floats
    below_sky_deg: Floats
    falls_right_deg: Floats
    apparent_deg: Floats

    def of_rows(self, rows: Integers) -> ThingsSeen:
        """Of some of the things alone."""
        return replace(self, **{name: values[rows] for name, values in vars(self).items()})

    def seeming_higher(self, by_deg: float) -> ThingsSeen:
        """As they seem to somebody who takes the level for so much lower than it is."""
        up = np.tan(np.radians(by_deg))
        return replace(
            self,
            vertical_deg=self.vertical_deg + by_deg,
            height_difference_m=self.height_difference_m + self.highest_m * up,
        )


_NOTHING = ThingsSeen(np.zeros(0, bool), *(np.zeros(0) for _ in range(14)))


@dataclass(frozen=True)
class _Groups:
    """The samples that speak for each thing, one thing after another.

    at : (k,) indices among all samples
    owner : (k,) the thing of each, rising
    begins, counts : (m,) where each thing's begin, and how many they are, one at least
    highest : (m,) index of each thing's highest, once that is known
    """

    at: Integers
    owner: Integers
    begins: Integers
    counts: Integers
    highest: Integers

    def first_by(self, *keys: Floats) -> Integers:
        """Of each thing the place among ``at`` that comes first by some keys (k,), the last key first."""
        return np.lexsort((*keys, self.owner))[self.begins]


def things_seen(
    erring: ErringGround,
    eye: Eye,
    reach_m: float,
    convergence_deg: float,
    skyline_deg: Floats,
    things: Things,
    maxima: Maxima | None,
) -> ThingsSeen:
    """Look at things from an eye.

    Parameters
    ----------
    erring : the ground and its errors, of map features
    convergence_deg : grid north's true bearing
    skyline_deg : (bearings,) vertical angle of the skyline, by true bearing all round in equal steps
    """
    if len(things) == 0:
        return _NOTHING
    sampled = _Sampled.of(erring.surface, eye, reach_m, convergence_deg, things, maxima)
    at = sampled.groups.highest
    half = plus_minus(
        erring.surface,
        eye,
        sampled.rows[at],
        sampled.columns[at],
        erring.errors,
        target_heights_m=things.height_m[at],
    )
    return sampled.seen(
        things,
        skyline_deg,
        _chances(erring, eye, reach_m, things, sampled, maxima),
        half.vertical_angle_deg / SIGMAS_95,
        half.height_difference_m / SIGMAS_95,
    )


def things_plainly_seen(
    surface: Surface,
    eye: Eye,
    reach_m: float,
    convergence_deg: float,
    skyline_deg: Floats,
    things: Things,
    maxima: Maxima | None,
) -> ThingsSeen:
    """The same where nothing errs: each thing is in sight or it is not, and there are no spreads."""
    if len(things) == 0:
        return _NOTHING
    sampled = _Sampled.of(surface, eye, reach_m, convergence_deg, things, maxima)
    with np.errstate(invalid="ignore"):
        in_sight = sampled.near & (sampled.sight.clearance_m >= 0)
    some = np.logical_or.reduceat(in_sight, things.starts[:-1])
    none = np.zeros(len(things))
    return sampled.seen(things, skyline_deg, some.astype(np.float64), none, none)


@dataclass(frozen=True)
class _Sampled:
    """Samples of things as they stand to an eye, each array (n,); and which speak for each thing."""

    eye: Eye
    rows: Floats
    columns: Floats
    sight: PointSight
    distance_m: Floats
    bearing_deg: Floats
    near: Flags
    groups: _Groups

    @classmethod
    def of(
        cls,
        surface: Surface,
        eye: Eye,
        reach_m: float,
        convergence_deg: float,
        things: Things,
        maxima: Maxima | None,
    ) -> _Sampled:
        """Look at every sample."""
        rows, columns = surface.grid.to_array(things.easting_m, things.northing_m)
        sight = see_points(surface, eye, rows, columns, things.height_m, maxima)
        down_m = (rows - eye.row) * surface.grid.spacing_y_m
        right_m = (columns - eye.column) * surface.grid.spacing_x_m
        distance_m = np.maximum(np.hypot(down_m, right_m), _NEAREST_M)
        bearing_deg = (np.degrees(np.arctan2(right_m, -down_m)) + convergence_deg) % 360.0
        near = distance_m <= reach_m
        groups = _speaking(things, near, sight.clearance_m, distance_m)
        ground_m = known_or(sight.ground_m, -np.inf)
        highest = groups.at[groups.first_by(-ground_m[groups.at])]
        groups = replace(groups, highest=highest)
        return cls(eye, rows, columns, sight, distance_m, bearing_deg, near, groups)

    def seen(
        self,
        things: Things,
        skyline_deg: Floats,
        chance: Floats,
        vertical_spread_deg: Floats,
        height_spread_m: Floats,
    ) -> ThingsSeen:
        """What is seen of each thing, its chance and spreads being known."""
        groups, bearing_deg, distance_m = self.groups, self.bearing_deg, self.distance_m
        left_deg, width_deg = _extents_deg(groups, bearing_deg[groups.at])
        off_deg = (bearing_deg[groups.at] - left_deg[groups.owner]) % 360.0
        order = np.lexsort((distance_m[groups.at], off_deg, groups.owner))
        middle = groups.at[order[groups.begins + (groups.counts - 1) // 2]]
        ground_m = known_or(self.sight.ground_m[groups.at], -np.inf)
        vertical_deg = np.degrees(np.arctan(self.sight.slope))
        below_deg = _below_sky_deg(skyline_deg, bearing_deg, vertical_deg)[groups.at]
        highest = groups.highest
        return ThingsSeen(
            np.logical_or.reduceat(self.near & ~np.isnan(self.sight.clearance_m), things.starts[:-1]),
            chance,
            left_deg,
            width_deg,
            (left_deg + width_deg / 2) % 360.0,
            distance_m[middle],
            np.minimum.reduceat(distance_m[groups.at], groups.begins),
            distance_m[highest],
            vertical_deg[highest],
            self.sight.ground_m[highest] + things.height_m[highest] - self.eye.level_m,
            vertical_spread_deg,
            height_spread_m,
            np.minimum.reduceat(known_or(below_deg, 90.0), groups.begins),
            _falls_right_deg(things, groups, bearing_deg, ground_m),
            self._apparent_deg(things, width_deg, vertical_deg),
        )

    def _apparent_deg(self, things: Things, width_deg: Floats, vertical_deg: Floats) -> Floats:
        """Angle across the smaller dimension of what is seen of each thing."""
        groups = self.groups
        nearest_m = np.minimum.reduceat(self.distance_m[groups.at], groups.begins)
        across_deg = np.degrees(np.arctan(things.size_m / nearest_m))
        angles = known_or(vertical_deg[groups.at], 0.0)
        upright_deg = np.maximum.reduceat(angles, groups.begins) - np.minimum.reduceat(angles, groups.begins)
        upright_deg = upright_deg + np.degrees(np.arctan(things.height_m[groups.highest] / nearest_m))
        return np.where(things.is_area, np.minimum(width_deg, upright_deg), across_deg)


def _speaking(things: Things, near: Flags, clearance_m: Floats, distance_m: Floats) -> _Groups:
    """What is seen of each thing by the terrain taken at its word; else what would show first."""
    counts = np.diff(things.starts)
    owner = np.repeat(np.arange(len(things)), counts)
    with np.errstate(invalid="ignore"):
        seen = near & (clearance_m >= 0)
    some_seen = np.bincount(owner, seen, len(things)) > 0
    # Of a thing beyond the reach, or that nobody can judge, the nearest sample.
    rank_m = np.where(near, known_or(clearance_m, -np.inf), -np.inf)
    first = np.lexsort((distance_m, -rank_m, owner))[things.starts[:-1]]
    seen[first[~some_seen]] = True
    at = np.flatnonzero(seen)
    kept = np.bincount(owner[at], minlength=len(things))
    return _Groups(at, owner[at], np.concatenate(([0], np.cumsum(kept)[:-1])), kept, np.empty(0, np.int64))


def _extents_deg(groups: _Groups, bearing_deg: Floats) -> tuple[Floats, Floats]:
    """Left edge and width of the narrowest arc that holds all bearings of a thing, (m,)."""
    sorted_deg = bearing_deg[np.lexsort((bearing_deg, groups.owner))]
    lasts = groups.begins + groups.counts - 1
    after_deg = np.roll(sorted_deg, -1)
    after_deg[lasts] = sorted_deg[groups.begins] + 360.0
    gap_deg = after_deg - sorted_deg
    widest = groups.first_by(-gap_deg)
    after = np.where(widest == lasts, groups.begins, widest + 1)
    return sorted_deg[np.minimum(after, sorted_deg.size - 1)], 360.0 - gap_deg[widest]


def _below_sky_deg(skyline_deg: Floats, bearing_deg: Floats, vertical_deg: Floats) -> Floats:
    """How far each sample stands below the skyline beside it."""
    slot = np.rint(bearing_deg / 360.0 * skyline_deg.size).astype(np.int64) % skyline_deg.size
    beside_deg = np.fmin(skyline_deg[slot - 1], skyline_deg[(slot + 1) % skyline_deg.size])
    return np.maximum(np.fmin(skyline_deg[slot], beside_deg) - vertical_deg - _ON_SKYLINE_DEG, 0.0)


def _falls_right_deg(things: Things, groups: _Groups, bearing_deg: Floats, ground_m: Floats) -> Floats:
    """Angle from the higher to the lower end of what is seen of a line."""
    high, low = groups.at[groups.first_by(-ground_m)], groups.at[groups.first_by(ground_m)]
    falls = signed_deg(bearing_deg[low] - bearing_deg[high])
    return np.where(things.is_line & (groups.counts > 1), falls, np.nan)


def _chances(
    erring: ErringGround,
    eye: Eye,
    reach_m: float,
    things: Things,
    sampled: _Sampled,
    maxima: Maxima | None,
) -> Floats:
    """Chance that anything of each thing is seen; 0 beyond the reach and where nobody can say."""
    grid = erring.surface.grid

    def closer(about: Sequence[tuple[int, Integers]]) -> ThingSamples:
        places = [things.closely(thing, samples) for thing, samples in about]
        counts = [len(one) for one in places]
        row, column = grid.to_array(*np.concatenate(places).T)
        height_m = np.repeat([things.height_m[things.starts[thing]] for thing, _ in about], counts)
        clearance_m = see_points(erring.surface, eye, row, column, height_m, maxima).clearance_m
        down_m, right_m = (row - eye.row) * grid.spacing_y_m, (column - eye.column) * grid.spacing_x_m
        within = np.hypot(down_m, right_m) <= reach_m
        starts = np.concatenate(([0], np.cumsum(counts)))
        return ThingSamples(row, column, height_m, np.ones(row.size), within, clearance_m, starts)

    samples = ThingSamples(
        sampled.rows,
        sampled.columns,
        things.height_m,
        things.weight,
        sampled.near,
        sampled.sight.clearance_m,
        things.starts,
    )
    found = seen_at_a_glance(Doubtful.over(erring, eye), samples, closer)
    return known_or(found.chance, 0.0)
