"""The chance that runners are seen, from draws that all posts share.

Ground, places, eyes and the line that is run are drawn by their errors, again and again. In each draw the
ground is the same for all posts: where it stands higher than the terrain has it, whoever looks over it sees
less. So the chance that any of several posts sees a piece is counted draw by draw. It is not reckoned from
the chances of each, as if they erred apart.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from hillsight.ground.error_fields import ErrorFields
from hillsight.ground.grid import between_posts
from hillsight.ground.roughness import ROUGHNESS, rough_scale_m
from hillsight.plan.posts.watching import Lines, drop_per_m, light_along, middles_m, surface_about
from hillsight.sight.points import ground_between_posts
from hillsight.sight.viewing import TIE_M

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from hillsight.arrays import Bytes, Flags, Floats, Floats32, Integers
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.cover import Cover
    from hillsight.ground.grid import Surface
    from hillsight.ground.terrain import Terrain
    from hillsight.plan.posts.course import Stretches
    from hillsight.plan.posts.places import Places
    from hillsight.plan.posts.watching import Watching

#: A chance of a half is good to 0.04 (one standard deviation), one of 0.95 to 0.02.
DRAWS = 160

#: Draws of places, eyes and air begin here, those of the ground have a beginning of their own.
_SEED = 20_261_130

#: Mean radius (m) that the spread of refraction is reckoned with; the latitude makes no odds to a spread.
_EARTH_M = 6_371_000.0

#: No draw puts a place so many standard deviations off.
_FARTHEST_ASTRAY = 6.0

#: The eye is no lower than this above the ground in any draw.
_LOWEST_EYE_M = 0.2


@dataclass(frozen=True)
class Drawn:
    """What posts see of the course, draw by draw.

    bits : (draws, posts, bytes) uint8, the flags of all pieces packed, eight to a byte
    pieces : how many there are
    """

    bits: Bytes
    pieces: int

    @property
    def draws(self) -> int:
        """How many draws there are."""
        return int(self.bits.shape[0])

    def of_each(self) -> Floats:
        """The chance that each post sees each piece, (posts, pieces)."""
        found = np.empty((self.bits.shape[1], self.pieces))
        for post in range(self.bits.shape[1]):
            found[post] = self._flags(self.bits[:, post]).mean(axis=0)
        return found

    def of_any(self, posts: Integers | None = None) -> Floats:
        """The chance that any of some posts sees each piece, (pieces,); of all posts unless told."""
        return self._flags(self._any(posts)).mean(axis=0)

    def of_share(self, weight: Floats, posts: Integers | None = None) -> tuple[float, float, float]:
        """Mean share of the weight that some posts see, and between what it lies in nine cases of ten."""
        shares = self._flags(self._any(posts)) @ (weight / weight.sum())
        low, high = np.quantile(shares, [0.05, 0.95])
        return float(shares.mean()), float(low), float(high)

    def _any(self, posts: Integers | None) -> Bytes:
        some = self.bits if posts is None else self.bits[:, posts]
        found: Bytes = np.bitwise_or.reduce(some, axis=1)
        return found

    def _flags(self, bits: Bytes) -> Bytes:
        return np.unpackbits(bits, axis=-1, count=self.pieces)


def watch_drawn(
    terrain: Terrain,
    places: Places,
    stretches: Stretches,
    how: Watching,
    errors: ErrorModel,
    which: Integers,
    draws: int = DRAWS,
    progress: Callable[[float], None] | None = None,
) -> Drawn:
    """What some of the places see in so many draws; the same on every run.

    which : (posts,) indices of places
    """
    piece_m = middles_m(stretches)
    astray_m = _FARTHEST_ASTRAY * max(errors.station_position_m, errors.feature_position_m)
    surface = surface_about(terrain, places, *piece_m, astray_m)
    eyes_m = places.easting_m[which], places.northing_m[which]
    drop = drop_per_m(terrain, places, how)
    return drawn_along(surface, eyes_m, piece_m, how, errors, drop, draws, progress)


def drawn_along(
    surface: Surface,
    eyes_m: tuple[Floats, Floats],
    pieces_m: tuple[Floats, Floats],
    how: Watching,
    errors: ErrorModel,
    drop: float,
    draws: int = DRAWS,
    progress: Callable[[float], None] | None = None,
) -> Drawn:
    """The same over a surface.

    Parameters
    ----------
    eyes_m, pieces_m : eastings and northings of the posts, and of the pieces' middles
    drop : as ``watching.light_along`` takes it
    """
    lines = Lines.within(*eyes_m, *pieces_m, how.farthest_m)
    rough_m = rough_scale_m(surface.height_m)
    fields = ErrorFields(surface.grid, errors, rough_m)
    rough = ROUGHNESS[errors.between_posts]
    posts, pieces = lines.shape
    by_pieces = _nearest_post(surface, pieces_m)
    bits = np.zeros((draws, posts, -(-pieces // 8)), np.uint8)
    for number in range(draws):
        random = np.random.default_rng((_SEED, number))
        air, along_east, along_north, *cover_drawn = random.standard_normal(6)
        by_target = rough.by_target * random.standard_normal(by_pieces.max(initial=0) + 1)[by_pieces]
        through = random.random(by_pieces.max(initial=0) + 1)[by_pieces]
        here = np.stack([own.standard_normal(4) for own in _own_draws(number, *eyes_m)])
        ground = replace(
            surface,
            height_m=(surface.height_m + fields.drawn(number)).astype(np.float32),
            cover=_cover_drawn(surface, *cover_drawn),
        )
        eyes = (
            eyes_m[0] + errors.station_position_m * here[:, 0],
            eyes_m[1] + errors.station_position_m * here[:, 1],
        )
        targets = (
            pieces_m[0] + errors.feature_position_m * along_east,
            pieces_m[1] + errors.feature_position_m * along_north,
        )
        drop_drawn = drop - errors.refraction * air / (2.0 * _EARTH_M)
        eye_height_m = np.maximum(how.eye_height_m + errors.eye_height_m * here[:, 2], _LOWEST_EYE_M)
        heights_m = eye_height_m, how.runner_least_m
        seen = light_along(ground, lines, eyes, targets, *heights_m, drop_drawn) > through[lines.piece]
        if rough.between > 0.0:
            near = _Near(ground, rough_m, eyes, targets, heights_m, drop_drawn)
            by_eye = rough.by_eye * here[:, 3]
            open_lines = np.flatnonzero(seen)
            place, piece = lines.place[open_lines], lines.piece[open_lines]
            seen[open_lines] = near.lets_pass(place, piece, by_eye[place], by_eye=True)
            seen[open_lines] &= near.lets_pass(place, piece, by_target[piece], by_eye=False)
        bits[number] = np.packbits(lines.table(seen), axis=1)
        if progress is not None:
            progress((number + 1) / draws)
    return Drawn(bits, pieces)


def _own_draws(number: int, easting_m: Floats, northing_m: Floats) -> Iterator[np.random.Generator]:
    """Draws of each post's own, which do not hang on what other posts are asked about."""
    for east_m, north_m in zip(easting_m, northing_m, strict=True):
        yield np.random.default_rng((_SEED, number, int(10 * east_m) % 2**32, int(10 * north_m) % 2**32))


def _cover_drawn(surface: Surface, height: float, down: float, right: float) -> Cover | None:
    """Cover as it may truly be: all of it higher or lower, and shifted, by standard normal numbers."""
    cover, grid = surface.cover, surface.grid
    if cover is None or not cover.hides:
        return cover
    raised_m = cover.height_sigma_m * height
    by = cover.edge_sigma_m * down / grid.spacing_y_m, cover.edge_sigma_m * right / grid.spacing_x_m

    def drawn(height_m: Floats32) -> Floats32:
        if not height_m.any():
            return height_m
        raised = np.where(height_m > 0, np.maximum(height_m + raised_m, 0.0), 0.0)
        moved = ndimage.shift(raised, by, order=1, mode="nearest")
        found: Floats32 = np.maximum(moved, 0.0).astype(np.float32)
        return found

    screens = cover.screens
    taller_m = cover.sigma_of_screens_m * height
    screen_m = np.where(screens.height_m > 0, np.maximum(screens.height_m + taller_m, 0.0), 0.0)
    return replace(
        cover,
        solid_m=drawn(cover.solid_m),
        wood_m=drawn(cover.wood_m),
        screens=replace(
            screens,
            row=screens.row + by[0],
            column=screens.column + by[1],
            to_row=screens.to_row + by[0],
            to_column=screens.to_column + by[1],
            height_m=screen_m,
        ),
    )


def _nearest_post(surface: Surface, places_m: tuple[Floats, Floats]) -> Integers:
    """A number of the terrain post nearest to each place, alike where it is the same post."""
    rows, columns = (np.rint(v).astype(np.int64) for v in surface.grid.to_array(*places_m))
    _, number = np.unique(rows * surface.grid.columns + columns, return_inverse=True)
    found: Integers = number.ravel()
    return found


@dataclass(frozen=True)
class _Near:
    """Ground close to eyes and targets, where a line need cross no grid line: it too may rise above its
    model.

    As in ``sight.doubt_lines.chance_past_roughness``: the gap half a spacing from either end against the
    roughness there. All lines to a target have the same roughness before it, and all lines from an eye.
    """

    surface: Surface
    rough_m: Floats32
    eyes_m: tuple[Floats, Floats]
    targets_m: tuple[Floats, Floats]
    heights_m: tuple[Floats, float]
    drop: float

    def lets_pass(self, place: Integers, piece: Integers, raised: Floats, *, by_eye: bool) -> Flags:
        """Whether each line passes over the ground by its eye, or by its target, (lines,).

        raised : (lines,) how far that ground is above its model, as a share of the scale of the roughness
            there
        """
        grid = self.surface.grid
        eye_e, eye_n = (v[place] for v in self.eyes_m)
        target_e, target_n = (v[piece] for v in self.targets_m)
        eye_m = (ground_between_posts(self.surface, *self.eyes_m) + self.heights_m[0])[place]
        target_m = (ground_between_posts(self.surface, *self.targets_m) + self.heights_m[1])[piece]
        length_m = np.maximum(np.hypot(target_e - eye_e, target_n - eye_n), 1e-6)
        step = np.minimum(0.5 * max(grid.spacing_x_m, grid.spacing_y_m), 0.5 * length_m) / length_m
        share = step if by_eye else 1.0 - step
        at_m = eye_e + share * (target_e - eye_e), eye_n + share * (target_n - eye_n)
        # Of a line that curves a little less than the ground below it.
        line_m = eye_m + share * (target_m - eye_m) - self.drop * length_m**2 * share * (1.0 - share)
        gap_m = line_m - ground_between_posts(self.surface, *at_m)
        rough_m = np.nan_to_num(between_posts(self.rough_m, *grid.to_array(*at_m)))
        return gap_m >= raised * rough_m - TIE_M
