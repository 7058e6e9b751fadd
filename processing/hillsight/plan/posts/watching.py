"""What each place where a marshal may stand sees of the course.

A runner is taken to be seen where a point at the least height of runners above the ground is seen and stands
no farther off than a person is made out: then all of the body from there up shows. Heads that pass over a
brow do not count. Each piece of the course is judged at its middle. What woods leave in doubt
does not count as seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import CallError
from hillsight.ground.geodesy import Geodesy, drop_coefficient_per_m
from hillsight.plan.look.noticing import made_out_to_m
from hillsight.sight.maxima import Maxima
from hillsight.sight.points import ground_between_posts, light_of_pairs
from hillsight.sight.under_cover import state_of_light
from hillsight.words.states import GroundState

if TYPE_CHECKING:
    from collections.abc import Callable

    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.ground.grid import Surface
    from hillsight.ground.terrain import Terrain
    from hillsight.plan.posts.course import Stretches
    from hillsight.plan.posts.places import Places

#: Sight lines walked at a time: their places and levels take some 60 bytes each.
_LINES_AT_A_TIME = 2_000_000

#: Places whose distances from all pieces are measured at a time.
_PLACES_AT_A_TIME = 256


@dataclass(frozen=True)
class Watching:
    """Who watches, and whom.

    eye_height_m : of the marshal's eye above the ground
    runner_least_m : of the runner's body so much above the ground and all above it must show
    runner_width_m : least width of a runner; how far off that is made out is told by ``look.noticing``
    glass : power of the binoculars, 1 for none
    hazy, known : whether the air is; whether runners must be known for people, not only detected
    reach_m : farthest that counts on the grid; as far as a person is made out where None
    refraction : ray curvature over earth curvature

    Raises
    ------
    CallError : a number that cannot be
    """

    eye_height_m: float = 1.6
    runner_least_m: float = 1.0
    runner_width_m: float = 0.5
    glass: float = 1.0
    hazy: bool = False
    known: bool = False
    reach_m: float | None = None
    refraction: float = 0.13

    def __post_init__(self) -> None:
        for what, value, most in (
            ("the marshal's eye", self.eye_height_m, 100.0),
            ("a runner's least height", self.runner_least_m, 3.0),
            ("a runner's width", self.runner_width_m, 3.0),
            ("the farthest that counts", 1.0 if self.reach_m is None else self.reach_m, 1e6),
        ):
            if not 0.0 < value <= most:
                raise CallError(
                    f"{what} is {value:g} m",
                    where="watching",
                    remedy=f"Give metres above 0, up to {most:,.0f}",
                )
        if not 1.0 <= self.glass <= 100.0:
            raise CallError(
                f"a glass of power {self.glass:g} is none",
                where="watching",
                remedy="Give the power of the binoculars, such as 8, or 1 for the naked eye",
            )

    @property
    def farthest_m(self) -> float:
        """How far off a runner counts, metres on the grid."""
        made_out_m = made_out_to_m(self.runner_width_m, known=self.known, glass=self.glass, hazy=self.hazy)
        return made_out_m if self.reach_m is None else min(self.reach_m, made_out_m)


@dataclass(frozen=True)
class Lines:
    """Sight lines from places to pieces no farther off than counts, place by place.

    place, piece : (n,) indices
    shape : places and pieces there are
    """

    place: Integers
    piece: Integers
    shape: tuple[int, int]

    @classmethod
    def within(
        cls,
        easting_m: Floats,
        northing_m: Floats,
        piece_easting_m: Floats,
        piece_northing_m: Floats,
        reach_m: float,
    ) -> Lines:
        """All lines no longer than a reach, metres on the grid."""
        found = []
        for first in range(0, easting_m.size, _PLACES_AT_A_TIME):
            some = slice(first, first + _PLACES_AT_A_TIME)
            east_m = piece_easting_m[None, :] - easting_m[some, None]
            north_m = piece_northing_m[None, :] - northing_m[some, None]
            place, piece = np.nonzero(east_m**2 + north_m**2 <= reach_m**2)
            found.append((place + first, piece))
        places, pieces = (
            np.concatenate([one[k] for one in found]) if found else np.empty(0, np.int64) for k in range(2)
        )
        return cls(places, pieces, (easting_m.size, piece_easting_m.size))

    def table(self, seen: Flags) -> Flags:
        """(places, pieces) from what each line says; False where there is no line."""
        found = np.zeros(self.shape, bool)
        found[self.place, self.piece] = seen
        return found


def watch(
    terrain: Terrain,
    places: Places,
    stretches: Stretches,
    how: Watching,
    progress: Callable[[float], None] | None = None,
) -> Flags:
    """What each place sees of each piece of the course, by the terrain as it is, (places, pieces)."""
    piece_m = middles_m(stretches)
    surface = surface_about(terrain, places, *piece_m)
    lines = Lines.within(places.easting_m, places.northing_m, *piece_m, how.farthest_m)
    light = light_along(
        surface,
        lines,
        (places.easting_m, places.northing_m),
        piece_m,
        how.eye_height_m,
        how.runner_least_m,
        drop_per_m(terrain, places, how),
        progress,
    )
    return lines.table(state_of_light(light) == GroundState.VISIBLE)


def light_along(
    surface: Surface,
    lines: Lines,
    eyes_m: tuple[Floats, Floats],
    targets_m: tuple[Floats, Floats],
    eye_height_m: Floats | float,
    target_height_m: float,
    drop: float,
    progress: Callable[[float], None] | None = None,
) -> Floats:
    """What share of sight comes through along each line, (lines,): 1 seen, 0 hidden or off the terrain.

    Between the two only by cover, see ``sight.under_cover``.

    Parameters
    ----------
    eyes_m, targets_m : eastings and northings of all places and pieces
    eye_height_m : (places,) or one, above the ground; target_height_m : likewise
    drop : metres by the square of the distance that targets stand lower by curvature and refraction
    """
    eye_level_m = ground_between_posts(surface, *eyes_m) + eye_height_m
    target_level_m = ground_between_posts(surface, *targets_m) + target_height_m
    eye_at, target_at = surface.grid.to_array(*eyes_m), surface.grid.to_array(*targets_m)
    found = np.zeros(lines.place.size)
    # Block maxima cost about as much as a look at every post; many parts share them.
    maxima = Maxima.over(surface) if lines.place.size > _LINES_AT_A_TIME else None
    for first in range(0, lines.place.size, _LINES_AT_A_TIME):
        some = slice(first, first + _LINES_AT_A_TIME)
        place, piece = lines.place[some], lines.piece[some]
        found[some] = light_of_pairs(
            surface,
            maxima,
            eye_at[0][place],
            eye_at[1][place],
            eye_level_m[place],
            target_at[0][piece],
            target_at[1][piece],
            target_level_m[piece],
            drop,
        )
        if progress is not None:
            progress((first + place.size) / lines.place.size)
    return np.nan_to_num(found)


def middles_m(stretches: Stretches) -> tuple[Floats, Floats]:
    """Eastings and northings of the pieces' middles."""
    first = stretches.first
    return stretches.easting_m[first], stretches.northing_m[first]


def surface_about(
    terrain: Terrain, places: Places, easting_m: Floats, northing_m: Floats, astray_m: float = 0.0
) -> Surface:
    """The terrain between all places and pieces, and so far about them: sight lines leave no wider window."""
    east = np.concatenate((places.easting_m, easting_m))
    north = np.concatenate((places.northing_m, northing_m))
    middle = float(east.min() + east.max()) / 2.0, float(north.min() + north.max()) / 2.0
    return terrain.window(*middle, float(max(np.ptp(east), np.ptp(north))) / 2.0 + astray_m)


def drop_per_m(terrain: Terrain, places: Places, how: Watching) -> float:
    """Of curvature and refraction, at the middle of the places: a course is small beside the earth."""
    middle = float(places.easting_m.mean()), float(places.northing_m.mean())
    return drop_coefficient_per_m(Geodesy(terrain.crs).gaussian_radius_m(*middle), how.refraction)
