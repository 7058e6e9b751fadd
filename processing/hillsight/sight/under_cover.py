"""What the cover on the ground makes of an answer: the one place that decides it.

- What the opaque surface (ground, buildings, surface model) or a screen hides is hidden.
- What only woods hide is seen by the share of sight that comes through: hidden below HIDDEN_BELOW, which is
  told as none, visible above VISIBLE_ABOVE, uncertain between; the share is the chance.
- Cover at a target's own place does not hide it. Where the target stands inside, less tall than the cover,
  what would be visible is uncertain. So is all that an eye inside cover would see.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.ground.cover import Screens
from hillsight.ground.grid import between_posts
from hillsight.sight.crossings import lowered_ground
from hillsight.sight.inside import INSIDE_M, NOBODY_KNOWS
from hillsight.sight.screens import over_screens
from hillsight.sight.viewing import TIE_M
from hillsight.sight.woods import paths_through_wood
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Flags, Floats, Floats32
    from hillsight.ground.cover import ScreenSquares
    from hillsight.ground.grid import Surface
    from hillsight.sight.maxima import Maxima
    from hillsight.sight.viewing import Eye

#: Shares of sight through woods below which a target is hidden, and above which it is visible (common
#: practice, no source).
HIDDEN_BELOW, VISIBLE_ABOVE = 0.05, 0.95

#: Heights (m) over the ground that are less than this may be rounding, or the bend of lowered posts.
_LEAST_COVER_M = 0.01

#: What kernels take where there are no screens.
_NO_LINES, _NO_SQUARES = Screens.none().lines, Screens.none().squares((1, 1))


def screens_of(surface: Surface) -> tuple[Floats, ScreenSquares]:
    """The screens of a surface as kernels take them; none where nothing is known of cover."""
    if surface.cover is None:
        return _NO_LINES, _NO_SQUARES
    return surface.cover.screens.lines, surface.cover.squares


def is_inside(tallest_m: Floats | Floats32, above_ground_m: Floats | float) -> Flags:
    """Whether something so high above the ground is inside cover of a height."""
    with np.errstate(invalid="ignore"):
        inside: Flags = tallest_m - np.maximum(above_ground_m, 0.0) > INSIDE_M
    return inside


def inside_cover(surface: Surface, rows: Floats, columns: Floats, above_ground_m: Floats | float) -> Flags:
    """Whether places (n,) so high above the ground are inside what stands there; false without cover."""
    if surface.cover is None:
        return np.zeros(np.shape(rows), np.bool_)
    return is_inside(between_posts(surface.cover.tallest_m, rows, columns), above_ground_m)


def eye_is_inside(surface: Surface, eye: Eye) -> bool:
    """Whether an eye is below the top of the cover where it stands."""
    if surface.cover is None:
        return False
    row, column = np.array([eye.row]), np.array([eye.column])
    return bool(
        inside_cover(surface, row, column, eye.level_m - between_posts(surface.height_m, row, column))[0]
    )


def state_of_light(light: Floats) -> Bytes:
    """States of targets that only woods hide, by the share of sight that comes through."""
    state = np.where(light < HIDDEN_BELOW, GroundState.HIDDEN, GroundState.UNCERTAIN)
    return np.where(light > VISIBLE_ABOVE, GroundState.VISIBLE, state).astype(np.uint8)


@dataclass(frozen=True)
class Lines:
    """Sight lines to n targets, and what has been found of them.

    Parameters
    ----------
    eyes : (n, 4) or (1, 4) row, column, level in the terrain's datum, drop
    rows, columns : (n,) fractional
    targets_m : (n,) metres, the targets as seen from the eyes (lowered); NaN unknown
    """

    eyes: Floats
    rows: Floats
    columns: Floats
    targets_m: Floats

    def some(self, chosen: Flags) -> Lines:
        """Some of them."""
        eyes = self.eyes if self.eyes.shape[0] == 1 else self.eyes[chosen]
        return Lines(eyes, self.rows[chosen], self.columns[chosen], self.targets_m[chosen])


@dataclass(frozen=True)
class Clear:
    """How targets stand over what hides, (n,) each.

    clearance_m : as in ``points.PointSight``
    fraction : of the way at which the ground stands that sets the grazing line
    """

    clearance_m: Floats
    fraction: Floats

    def some(self, chosen: Flags) -> Clear:
        """Some of them."""
        return Clear(self.clearance_m[chosen], self.fraction[chosen])

    def with_screens(self, lines: Lines, screens: tuple[Floats, Floats, Flags]) -> Clear:
        """The same with the screens on the ways too; ``screens`` as ``over_screens`` gives them."""
        rise_m, fraction, void = screens
        level_m = lines.eyes[:, 2]
        clear_m = lines.targets_m - (level_m + rise_m)
        clear_m[(clear_m < 0) & (clear_m >= -TIE_M)] = 0.0
        with np.errstate(invalid="ignore"):
            nearer = (clear_m < self.clearance_m) | (np.isnan(self.clearance_m) & (clear_m < 0))
            clearance_m = np.where(nearer, clear_m, self.clearance_m)
            clearance_m[void & (clearance_m >= 0)] = np.nan
        return Clear(clearance_m, np.where(nearer, fraction, self.fraction))


def light_through(surface: Surface, lines: Lines, maxima: Maxima | None = None) -> Floats:
    """Share of sight, (n,), that comes through the woods on lines that nothing solid hides; 0 if hidden."""
    assert surface.cover is not None
    passing_m = surface.cover.passing_m
    most_m = -passing_m * math.log(HIDDEN_BELOW)
    path_m = paths_through_wood(
        surface, lines.eyes, lines.rows, lines.columns, lines.targets_m, most_m, maxima
    )
    light: Floats = np.exp(-path_m / passing_m)
    return light


def screens_over(surface: Surface, lines: Lines) -> tuple[Floats, Floats, Flags]:
    """The highest of the screens on the ways, as ``screens.over_screens`` gives it."""
    return over_screens(surface, lines.eyes, lines.rows, lines.columns)


def decided(
    surface: Surface,
    lines: Lines,
    every: Clear,
    opaque: Clear,
    inside: Flags,
    maxima: Maxima | None = None,
) -> tuple[Clear, Floats]:
    """Clearance of targets over what stops more than half of sight, and the share that comes through.

    Parameters
    ----------
    every : over all that stands on the ground, screens too
    opaque : over what lets no sight pass; ``every`` itself where nothing lets any
    inside : (n,) targets, or whose eye is, inside cover
    maxima : ``Maxima.over(surface)``, if there is one

    Returns
    -------
    the share is 1 where visible, 0 where hidden, NaN where unknown
    """
    with np.errstate(invalid="ignore"):
        light = np.where(every.clearance_m >= 0, 1.0, 0.0)
        light[np.isnan(every.clearance_m)] = np.nan
        doubtful = (every.clearance_m < 0) & ~(opaque.clearance_m < 0)
    clearance_m, fraction = every.clearance_m, every.fraction
    if opaque is not every and doubtful.any():
        through = light_through(surface, lines.some(doubtful), maxima)
        # A void on the way matters only where the wood before it does not hide by itself.
        unknown = np.isnan(opaque.clearance_m[doubtful]) & (through >= HIDDEN_BELOW)
        light[doubtful] = np.where(unknown, np.nan, through)
        seen = np.zeros(light.shape, np.bool_)
        seen[doubtful] = (through >= 0.5) | unknown
        clearance_m = np.where(seen, opaque.clearance_m, clearance_m)
        fraction = np.where(seen, opaque.fraction, fraction)
    return Clear(clearance_m, fraction), np.where(inside, np.minimum(light, NOBODY_KNOWS), light)


def standing_m(
    surface: Surface, eye: Eye, easts: Floats, norths: Floats, distance_m: Floats, height_m: Floats
) -> Floats:
    """How much of a height at places on bearings, (n,), is cover on the ground; NaN with the height.

    easts, norths : unit directions on the grid
    """
    if surface.cover is None or not surface.cover.hides:
        return np.where(np.isnan(height_m), np.nan, 0.0)
    row = eye.row - norths * distance_m / surface.grid.spacing_y_m
    column = eye.column + easts * distance_m / surface.grid.spacing_x_m
    # A place on the outermost line may lie a hair outside it.
    row, column = (np.clip(v, 0, n - 1) for v, n in zip((row, column), surface.height_m.shape, strict=True))
    over_m = height_m - between_posts(surface.height_m, row, column)
    return np.where(over_m < _LEAST_COVER_M, 0.0, over_m)


def lowered_targets(surface: Surface, eye: Eye, rows: Floats, columns: Floats) -> Floats:
    """Ground at places (n,) as seen from an eye; NaN off the terrain and where a void has a weight."""
    found = np.empty(rows.size)
    lowered_ground(
        np.ascontiguousarray(surface.height_m, np.float32),
        surface.grid.spacing_x_m,
        surface.grid.spacing_y_m,
        float(eye.drop_per_m),
        eye.row,
        eye.column,
        np.ascontiguousarray(rows),
        np.ascontiguousarray(columns),
        found,
    )
    return found
