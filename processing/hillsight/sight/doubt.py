"""The probability that ground is seen, where terrain, station, eye and ray are not known exactly.

The method is told in doubt_gaps and doubt_lines, the meaning of the errors in ground.accuracy.ErrorModel. The
truth is taken to be the terrain model plus an error, so ground that grazes the line of sight counts for less
than it seems to: true ground is rougher than its model.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.grid import Surface
from hillsight.ground.roughness import ROUGHNESS, rough_scale_m, rough_variance_m2
from hillsight.kernels.threads import in_slices
from hillsight.sight import doubt_gaps as gaps
from hillsight.sight import doubt_lines as lines
from hillsight.sight.doubt_cover import Tops, chance_past_screens, light_in_doubt, tops_of
from hillsight.sight.doubt_ground import (
    add_lags,
    astray_variance_m2,
    lag_table,
    mean_ground,
    posts_bearing,
)
from hillsight.sight.inside import NOBODY_KNOWS
from hillsight.sight.posts import PostSight, distance_from_m, see_posts
from hillsight.sight.under_cover import eye_is_inside, inside_cover, lowered_targets
from hillsight.sight.viewing import Eye

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.arrays import Flags, Floats, Floats32, Integers
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.grid import Grid
    from hillsight.sight.field import FieldOfView
    from hillsight.sight.maxima import Maxima

#: Targets that a thread does before it looks up for an interruption: tens of milliseconds.
_AT_A_TIME = 2048


@dataclass(frozen=True)
class Chances:
    """What is known of n targets.

    chance : (n,) probability that each is seen, NaN unknown
    blame, blamed : (n, doubt_lines.BLAMES) and (n, posts, 3), what each chance hangs on, nought where nothing
        is in doubt; of no rows where not asked for
    """

    chance: Floats
    blame: Floats
    blamed: Floats

    def some(self, chosen: Flags | Integers | slice) -> Chances:
        """Those of some targets."""
        return Chances(self.chance[chosen], self.blame[chosen], self.blamed[chosen])


@dataclass(frozen=True)
class ErringGround:
    """Ground and its errors, whoever looks at it; what all eyes share is worked out once, when it is needed.

    surface : heights and cover, which says itself how it errs
    errors : standard deviations of all that errs
    feature : whether targets are map features, whose places err, and not posts
    """

    surface: Surface
    errors: ErrorModel
    feature: bool = False

    @cached_property
    def height_m(self) -> Floats32:
        """(rows, columns), metres."""
        return np.ascontiguousarray(self.surface.height_m, np.float32)

    @cached_property
    def steepest(self) -> float:
        """No less than the slope about any post of the ground, smoothed as far as places err."""
        if self.surface.cover is None:
            return self.tops[0].steepest
        return tops_of(Surface(self.surface.grid, self.height_m), self.astray_m)[0].steepest

    @property
    def astray_m(self) -> float:
        """How far places err."""
        errors = self.errors
        return max(errors.station_position_m, errors.feature_position_m if self.feature else 0.0)

    @cached_property
    def tops(self) -> tuple[Tops, ...]:
        """What blocks sight, as it may be."""
        return tops_of(self.surface, self.astray_m)

    @cached_property
    def opaque(self) -> tuple[Tops, ...]:
        """The same without the woods that let some sight pass; none where there are none of these."""
        if self.surface.cover is None or not self.surface.cover.lets_pass:
            return ()
        return tops_of(self.surface, self.astray_m, opaque=True)

    @cached_property
    def rough_m(self) -> Floats32:
        """(rows, columns), scale of the roughness about each post."""
        return rough_scale_m(self.height_m)

    @cached_property
    def lags_m2(self) -> Floats32:
        """(p, q), covariance of the errors of two posts p rows and q columns apart; none beyond it."""
        return lag_table(self.surface.grid, self.errors)


@dataclass(frozen=True)
class Doubtful:
    """A surface and an eye with their errors, as the kernels take them.

    erring : the ground and its errors, whoever looks at it
    rough_m : (posts,) float32, scale of the roughness about each post
    lags_m2 : (p, q) covariance of the errors of two posts p rows and q columns apart; beyond it there is none
    with_eye_m2 : (rows, columns) float32, covariance of each post's error with the ground's under the eye
    numbers : of the eye, see doubt_gaps
    """

    erring: ErringGround
    rough_m: Floats32
    lags_m2: Floats32
    with_eye_m2: Floats32
    numbers: Floats

    @property
    def grid(self) -> Grid:
        """Of the posts."""
        return self.erring.surface.grid

    @classmethod
    def of(cls, surface: Surface, eye: Eye, errors: ErrorModel, *, feature: bool = False) -> Doubtful:
        """Prepare the errors of a view of posts, or of map features, whose places err.

        Raises
        ------
        ValueError : the eye's position, level or drop is not a number
        """
        return cls.over(ErringGround(surface, errors, feature), eye)

    @classmethod
    def over(cls, ground: ErringGround, eye: Eye) -> Doubtful:
        """The same over ground that several eyes look at.

        Raises
        ------
        ValueError : the eye's position, level or drop is not a number
        """
        if not np.isfinite([eye.row, eye.column, eye.level_m, eye.drop_per_m]).all():
            raise ValueError(f"an eye must stand somewhere: {eye}")
        surface, errors, lags_m2 = ground.surface, ground.errors, ground.lags_m2
        grid = surface.grid
        surveyed = errors.station_height_m is not None
        corners = [] if surveyed else posts_bearing(grid, eye.row, eye.column)
        with_eye_m2 = np.zeros((grid.rows, grid.columns), np.float32)
        for row, column, weight in corners:
            add_lags(with_eye_m2, lags_m2, row, column, weight)
        numbers = np.zeros(gaps.E_NUMBERS)
        numbers[: gaps.E_RISE_DOWN] = eye.row, eye.column, eye.level_m, eye.drop_per_m
        if corners and errors.station_position_m > 0:
            here = np.array([[eye.row, eye.column]])
            mean = mean_ground(surface, here, errors.station_position_m)[0]
            numbers[gaps.E_RISE_DOWN : gaps.E_HEIGHT_VARIANCE] = mean[:2]
            numbers[gaps.E_OVER] = mean[2]
        if corners:
            numbers[gaps.E_GROUND_VARIANCE] = sum(w * float(with_eye_m2[r, c]) for r, c, w in corners)
        else:
            numbers[gaps.E_GROUND_VARIANCE] = (
                errors.station_height_m**2
                if errors.station_height_m is not None
                else errors.terrain_rmse_m**2
            )
        numbers[gaps.E_HEIGHT_VARIANCE] = errors.eye_height_m**2
        if corners and errors.station_position_m > 0:
            numbers[gaps.E_HEIGHT_VARIANCE] += astray_variance_m2(grid, lags_m2, eye, errors)
        numbers[gaps.E_DROP_SIGMA] = errors.refraction / (2.0 * _EARTH_M)
        numbers[gaps.E_PLACE_SIGMA] = errors.station_position_m
        numbers[gaps.E_TARGET_SIGMA] = errors.feature_position_m if ground.feature else 0.0
        rough = ROUGHNESS[errors.between_posts]
        numbers[gaps.E_MOST_ROUGH] = float(ground.rough_m.max(initial=0.0))
        numbers[gaps.E_ROUGH_BETWEEN : gaps.E_ROUGH_BY_EYE + 1] = (
            rough.between,
            rough.at_posts,
            rough.curve,
            rough.by_target,
            rough.by_eye,
        )
        if corners:
            at = np.array([eye.row]), np.array([eye.column])
            numbers[gaps.E_GROUND_VARIANCE] += rough_variance_m2(ground.rough_m, rough, *at)[0]
        # Errors of the ground are never less alike than independent ones: two independent ones are the worst.
        ground_m2 = float(lags_m2[0, 0])
        numbers[gaps.E_FIXED_VARIANCE] = (
            ground_m2 + max(ground_m2, numbers[gaps.E_GROUND_VARIANCE]) + numbers[gaps.E_HEIGHT_VARIANCE]
        )
        if surface.cover is not None and surface.cover.hides:
            numbers[gaps.E_COVER_VARIANCE] = surface.cover.height_sigma_m**2
            numbers[gaps.E_FIXED_VARIANCE] += numbers[gaps.E_COVER_VARIANCE]
        return cls(ground, ground.rough_m.ravel(), lags_m2, with_eye_m2, numbers)

    def surely_hidden(self, posts: PostSight, target_height_m: float) -> Flags:
        """Posts whose line passes so far below its crest that no error brings them into sight.

        posts : the view over the bare ground, for cover may not be where it is told to be
        """
        distance_m = distance_from_m(self.grid, Eye(*self.numbers[: gaps.E_RISE_DOWN])).astype(np.float32)
        level_m, place_m = self.numbers[gaps.E_LEVEL], self.numbers[gaps.E_PLACE_SIGMA]
        rise = math.hypot(*self.numbers[gaps.E_RISE_DOWN : gaps.E_RISE_RIGHT + 1])
        with np.errstate(divide="ignore", invalid="ignore"):
            gap_m = posts.clearance_m * (posts.crest_distance_m / distance_m)
            fall_m = self.numbers[gaps.E_DROP] * distance_m**2 if self.numbers[gaps.E_DROP] else 0.0
            climb = (np.abs(self.erring.height_m + target_height_m - level_m) + np.abs(fall_m)) / distance_m
            most_m2 = (place_m * (rise + self.erring.steepest + climb)) ** 2
            most_m2 += (self.numbers[gaps.E_DROP_SIGMA] * distance_m**2 / 4.0) ** 2
            most_m2 += self.numbers[gaps.E_FIXED_VARIANCE]
            most_m2 += (self.numbers[gaps.E_ROUGH_BETWEEN] * self.numbers[gaps.E_MOST_ROUGH]) ** 2
            gap_m += 2.0 * self.numbers[gaps.E_ROUGH_CURVE] * self.numbers[gaps.E_MOST_ROUGH]
            hidden: Flags = (gap_m < 0) & (gap_m**2 > gaps.SURE_SIGMAS**2 * most_m2)
        return hidden

    def chances(
        self, targets: Floats, progress: Callable[[float], None] | None = None, *, blaming: bool = False
    ) -> Chances:
        """Probability of targets (n, 3): row, column, on the terrain, and height above the ground.

        blaming : whether to tell what the chances hang on
        """
        surface = self.erring.surface
        ground = np.zeros((len(targets), 3))
        if self.numbers[gaps.E_TARGET_SIGMA] > 0 and len(targets):
            bare = Surface(self.grid, self.erring.height_m)
            ground = mean_ground(bare, targets[:, :2], float(self.numbers[gaps.E_TARGET_SIGMA]))
        with_ground = np.column_stack((targets, ground))
        likeliest, *others = self.erring.tops
        found = self._over(likeliest, with_ground, progress, blaming=blaming)
        if surface.cover is None or not surface.cover.hides:
            return found
        chance = likeliest.weight * found.chance
        for tops in others:
            chance += tops.weight * self._over(tops, with_ground).chance
        return replace(found, chance=self._under_cover(targets, with_ground, chance))

    def _under_cover(self, targets: Floats, with_ground: Floats, chance: Floats) -> Floats:
        """Chances over all that stands on the ground, with what woods let pass, screens, and doubt inside."""
        surface, errors = self.erring.surface, self.erring.errors
        assert surface.cover is not None
        eye = Eye(*self.numbers[: gaps.E_RISE_DOWN])
        rows, columns = (np.ascontiguousarray(targets[:, k]) for k in (0, 1))
        targets_m = lowered_targets(surface, eye, rows, columns) + targets[:, 2]
        doubtful = np.flatnonzero(chance < 1.0)
        if self.erring.opaque and doubtful.size:
            open_chance = np.zeros(doubtful.size)
            for tops in self.erring.opaque:
                open_chance += tops.weight * self._over(tops, with_ground[doubtful]).chance
            eyes = np.array([[eye.row, eye.column, eye.level_m, eye.drop_per_m]])
            lines = (rows[doubtful], columns[doubtful], targets_m[doubtful])
            light = light_in_doubt(surface, errors, eyes, *lines)
            chance[doubtful] += np.maximum(open_chance - chance[doubtful], 0.0) * light
        if surface.cover.screens.height_m.any():
            chance *= chance_past_screens(surface, errors, self.numbers, rows, columns, targets_m)
        inside = inside_cover(surface, rows, columns, targets[:, 2])
        if eye_is_inside(surface, eye):
            inside[:] = True
        return np.where(inside, np.minimum(chance, NOBODY_KNOWS), chance)

    def _over(
        self,
        tops: Tops,
        targets: Floats,
        progress: Callable[[float], None] | None = None,
        *,
        blaming: bool = False,
    ) -> Chances:
        """Chances over one choice of what blocks sight; targets (n, 6) as the kernel takes them."""
        count = len(targets) if blaming else 0
        found = Chances(
            np.empty(len(targets)),
            np.zeros((count, lines.BLAMES)),
            np.zeros((count, 2 * lines.BLAMED_GAPS, 3)),
        )
        with_eye = self.with_eye_m2.ravel()

        def some(first: int, last: int) -> None:
            lines.chances(
                self.erring.height_m,
                tops.height_m,
                tops.smooth_m,
                tops.steep,
                tops.steepest,
                self.rough_m,
                self.lags_m2,
                with_eye,
                self.grid.spacing_x_m,
                self.grid.spacing_y_m,
                self.numbers,
                targets[first:last],
                found.chance[first:last],
                found.blame[first:last],
                found.blamed[first:last],
            )

        in_slices(some, len(targets), _AT_A_TIME, progress)
        return found


#: Mean radius (m) that the spread of refraction is reckoned with; the latitude makes no odds to a spread.
_EARTH_M = 6_371_000.0


def probability_of_posts(
    surface: Surface,
    eye: Eye,
    field: FieldOfView | float,
    target_height_m: float,
    errors: ErrorModel,
    progress: Callable[[float], None] | None = None,
    *,
    posts: PostSight | None = None,
    maxima: Maxima | None = None,
) -> Floats32:
    """Probability that each post of a field of view is seen.

    Parameters
    ----------
    surface : heights
    eye : position on the surface's lattice, level, drop for curvature and refraction
    field : what is asked for; a number is its reach in metres on the grid
    target_height_m : metres above the ground at each post
    errors : standard deviations of all that errs
    progress : called with the share done, 0 to 1, from the calling thread
    posts : what ``see_posts`` says of the same view, crests too, if already worked out
    maxima : of the surface, if already made

    Returns
    -------
    (rows, columns) float32, 0 to 1; NaN outside the field and where voids leave it unknown

    Raises
    ------
    ValueError : the eye's position, level or drop is not a number
    """
    if surface.cover is not None and surface.cover.hides:
        # What cover hides it may not hide for certain: the ground alone decides what is worth a look.
        posts = see_posts(Surface(surface.grid, surface.height_m), eye, field, target_height_m)
    elif posts is None:
        posts = see_posts(surface, eye, field, target_height_m, maxima=maxima)
    doubtful = Doubtful.of(surface, eye, errors)
    probability = np.full(posts.clearance_m.shape, np.nan, np.float32)
    known = np.isfinite(posts.crest_distance_m) & ~np.isnan(posts.clearance_m)
    deep = known & doubtful.surely_hidden(posts, target_height_m)
    probability[deep] = 0.0
    rows, columns = np.nonzero(known & ~deep)
    targets = np.column_stack((rows, columns, np.full(rows.size, target_height_m)))
    probability[rows, columns] = doubtful.chances(targets, progress).chance
    return probability


def targets_of(rows: Floats, columns: Floats, target_heights_m: Floats | float) -> Floats:
    """Targets as Doubtful takes them, (n, 3)."""
    together = np.broadcast_arrays(np.atleast_1d(np.asarray(rows, np.float64)), columns, target_heights_m)
    return np.column_stack([np.asarray(values, np.float64) for values in together])


def on_terrain(grid: Grid, targets: Floats) -> Flags:
    """Targets within the outermost posts."""
    row, column = targets[:, 0], targets[:, 1]
    inside: Flags = (row >= 0) & (row <= grid.rows - 1) & (column >= 0) & (column <= grid.columns - 1)
    return inside
