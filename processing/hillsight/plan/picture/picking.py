"""From a pixel of a photograph to the ground that it shows, and how far that may be out.

The ray through the pixel is followed to the first ground it meets. Then it is followed many times more,
everything that is not known drawn anew together: the click, camera, place and eye, the air, and the ground by
the terrain's error model. Where the ray grazes the ground, or runs close over a crest, some draws meet other
ground, with dead ground between. They are counted and told apart, not mixed into one ellipse.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from hillsight.errors import CallError
from hillsight.ground.grid import between_posts
from hillsight.plan.picture.ellipse import Ellipse, ellipse_about
from hillsight.sight.down_ray import Way, meet
from hillsight.sight.viewing import Eye

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from hillsight.arrays import Floats
    from hillsight.ground.error_fields import ErrorFields
    from hillsight.ground.grid import Surface
    from hillsight.plan.picture.camera import Camera
    from hillsight.sight.down_ray import Meeting, Posts

#: What a pixel shows: ground; ground so grazed that it cannot be told where; the sky; or nothing that the
#: terrain tells of: a void, or ground beyond its end.
type State = Literal["ground", "grazing", "sky", "void", "terrain_edge"]

DRAWS = 400

#: Dead ground on more than this share of the way between two meetings, and on two posts at least, makes them
#: meetings with different ground. Common practice, no source.
_DEAD_SHARE, _DEAD_POSTS = 0.5, 2.0

#: Ground is too grazing to say where it is met if fewer draws than this stay on it, or if the ellipse reaches
#: farther than this share of its distance and is so many times as long as wide. Common practice, no source.
_STAYING, _OUT_SHARE, _LONG = 0.5, 0.5, 3.0

#: Ground within so many posts of the eye that the ray passes over is passed over in all draws: posts tell
#: little of it, and whoever took the picture saw over it.
_SEEN_OVER_POSTS = 4.0

#: Other ground whose distances differ by more than this ratio, with none between, is not one ground.
_LEAP = 1.4

#: No ellipse is told of fewer draws than this.
_FEWEST = 12

_SEED = 20_261_201


@dataclass(frozen=True)
class Ground:
    """What rays may meet.

    surface : all ground that is held
    fields : the terrain's errors over its posts, or None where they are not to be drawn
    highest_m : its highest post
    """

    surface: Surface
    fields: ErrorFields | None
    highest_m: float

    def posts(self, number: int | None) -> Posts:
        """Heights by row and column, with errors drawn once, or as the terrain has them."""
        height_m, fields = self.surface.height_m, self.fields
        if number is None or fields is None:
            return lambda rows, columns: height_m[rows, columns].astype(np.float64)
        return lambda rows, columns: height_m[rows, columns] + fields.at(number, rows, columns)


@dataclass(frozen=True)
class Stand:
    """Where the camera stood.

    easting_m, northing_m : on the ground's grid
    eye_height_m : of the camera above the ground there
    surveyed_m : how far the ground's surveyed height stands above the terrain's; 0 where it has none
    drop_per_m : of curvature and refraction
    """

    easting_m: float
    northing_m: float
    eye_height_m: float
    surveyed_m: float
    drop_per_m: float


@dataclass(frozen=True)
class Drawn:
    """What is not known of the camera, drawn once.

    camera : turned, and with a lens, as it may have been
    east_m, north_m, up_m : how far beside its place, and above its height over the ground, it stood
    drop_per_m : of curvature and refraction
    number : of the terrain's errors
    """

    camera: Camera
    east_m: float
    north_m: float
    up_m: float
    drop_per_m: float
    number: int


@dataclass(frozen=True)
class Pick:
    """What one pixel shows.

    x_px, y_px : in the picture as shown
    state : see :data:`State`
    bearing_grid_deg, vertical_angle_deg : of the ray, apparent
    easting_m, northing_m, height_m, distance_m : of the ground met, distance on the grid; NaN without any; of
        a void and of the terrain's end the distance alone
    shares : of the draws, by what they meet: "same", "nearer", "beyond", "sky", "unknown"
    ellipses : each holds 95 % of the draws that meet one ground, the picked one first; of nearer ground, and
        of ground beyond, that which most of them meet
    """

    x_px: float
    y_px: float
    state: State
    bearing_grid_deg: float
    vertical_angle_deg: float
    easting_m: float
    northing_m: float
    height_m: float
    distance_m: float
    shares: Mapping[str, float]
    ellipses: tuple[Ellipse, ...]


def check_pixel(x_px: float, y_px: float, size_px: tuple[int, int], parameter: str = "pick") -> None:
    """Refuse a pixel that is not in the picture.

    Raises
    ------
    CallError : it lies beyond the picture's edges, or is no number
    """
    width, height = size_px
    if not (0.0 <= x_px <= width and 0.0 <= y_px <= height):
        raise CallError(
            f"{x_px:g},{y_px:g} lies outside the picture of {width} x {height} pixels",
            remedy="Give pixels from the picture's upper left corner, x to the right, y downwards",
            parameters=(parameter,),
        )


def drawn_cameras(
    covariance: Floats, moved: Callable[[Floats, int], Drawn], count: int = DRAWS
) -> list[Drawn]:
    """So many cameras as it may have been, the same every time.

    Parameters
    ----------
    covariance : (n, n) of all that is not known of the camera, together
    moved : the camera off by a step (n,) of these unknowns, with the number of the draw
    """
    random = np.random.default_rng(_SEED)
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    steps = random.standard_normal((count, len(covariance))) @ root.T
    return [moved(step, number) for number, step in enumerate(steps)]


def pick(
    x_px: float, y_px: float, camera: Camera, stand: Stand, ground: Ground, drawn: Sequence[Drawn],
    give_or_take_px: float,
) -> Pick:  # fmt: skip
    """The ground that a pixel shows, with its uncertainty.

    Parameters
    ----------
    drawn : as :func:`drawn_cameras` gives them; none: no uncertainty is told
    give_or_take_px : standard deviation of the click each way

    Raises
    ------
    CallError : the pixel is not in the picture
    ValueError : the camera stands off the terrain, on a void, or underground
    """
    check_pixel(x_px, y_px, (camera.lens.width_px, camera.lens.height_px))
    eye = standing_eye(stand, ground)
    bearing, angle = (float(v) for v in camera.directions(x_px, y_px))
    if not math.isfinite(bearing + angle):
        nowhere = math.nan
        return Pick(
            x_px, y_px, "void", bearing, angle, nowhere, nowhere, nowhere, nowhere, {"unknown": 1.0}, ()
        )
    met = meet(ground.surface.grid, ground.posts(None), ground.highest_m, eye, bearing, angle)
    east, north, height = math.nan, math.nan, math.nan
    if met.meets == "ground":
        east = stand.easting_m + met.distance_m * math.sin(math.radians(bearing))
        north = stand.northing_m + met.distance_m * math.cos(math.radians(bearing))
        height = float(ground.surface.heights_at_m(east, north))
    meetings = [_drawn_meeting(x_px, y_px, one, stand, ground, met, give_or_take_px) for one in drawn]
    shares, ellipses = _summed(meetings, east, north)
    state: State = met.meets
    if met.meets == "ground" and drawn:
        own = next((e for e in ellipses if e.which == "same"), None)
        if shares.get("same", 0.0) < _STAYING or (
            own is not None and own.semi_major_m > max(_OUT_SHARE * met.distance_m, _LONG * own.semi_minor_m)
        ):
            state = "grazing"
    return Pick(x_px, y_px, state, bearing, angle, east, north, height, met.distance_m, shares, ellipses)


def standing_eye(stand: Stand, ground: Ground) -> Eye:
    """The camera over the ground as the terrain has it.

    Raises
    ------
    ValueError : it stands off the terrain, on a void or underground
    """
    eye = _eye(stand, ground, ground.posts(None))
    if eye is None:
        raise ValueError("the camera stands off the terrain, on a void or underground")
    return eye


def _eye(stand: Stand, ground: Ground, posts: Posts, drawn: Drawn | None = None) -> Eye | None:
    """The eye over some ground; None off the terrain, on a void or underground."""
    grid = ground.surface.grid
    east, north, up, drop = stand.easting_m, stand.northing_m, 0.0, stand.drop_per_m
    if drawn is not None:
        east, north, up, drop = (
            east + drawn.east_m,
            north + drawn.north_m,
            drawn.up_m,
            drawn.drop_per_m,
        )
    row, column = (float(v) for v in grid.to_array(east, north))
    if not grid.holds(east, north):
        return None
    top, left = int(min(row, max(grid.rows - 2, 0))), int(min(column, max(grid.columns - 2, 0)))
    rows = np.minimum(np.array([[top, top], [top + 1, top + 1]]), grid.rows - 1)
    columns = np.minimum(np.array([[left, left + 1], [left, left + 1]]), grid.columns - 1)
    feet_m = float(between_posts(posts(rows, columns), row - top, column - left)) + stand.surveyed_m
    height_m = max(stand.eye_height_m + up, 0.2)
    if not math.isfinite(feet_m) or height_m + stand.surveyed_m <= 0.0:
        return None
    return Eye.on(grid, east, north, feet_m + height_m, drop)


def _drawn_meeting(
    x_px: float, y_px: float, drawn: Drawn, stand: Stand, ground: Ground, nominal: Meeting, click_px: float
) -> tuple[str, float, float, float]:
    """What one draw meets: which ground, its distance, easting and northing."""
    posts = ground.posts(drawn.number)
    eye = _eye(stand, ground, posts, drawn)
    off = np.random.default_rng((_SEED, drawn.number)).standard_normal(2) * click_px
    bearing, angle = (float(v) for v in drawn.camera.directions(x_px + off[0], y_px + off[1]))
    unknown = ("unknown", math.nan, math.nan, math.nan)
    if eye is None or not math.isfinite(bearing + angle):
        return unknown
    grid = ground.surface.grid
    seen_over_m = _SEEN_OVER_POSTS * max(grid.spacing_x_m, grid.spacing_y_m)
    if nominal.distance_m <= 1.5 * seen_over_m:
        seen_over_m = 0.0
    met = meet(grid, posts, ground.highest_m, eye, bearing, angle, seen_over_m)
    if met.meets != "ground":
        return ("sky", math.nan, math.nan, math.nan) if met.meets == "sky" else unknown
    which = "nearer"  # than the sky, or than what is not known
    if nominal.meets == "ground":
        near_m, far_m = sorted((nominal.distance_m, met.distance_m))
        which = "same"
        least_m = _DEAD_POSTS * max(grid.spacing_x_m, grid.spacing_y_m)
        if far_m - near_m > least_m:
            way = Way.under(grid, posts, eye, bearing, far_m)
            dead_m = way.hidden_m(eye.level_m, near_m, far_m)
            if dead_m > max(least_m, _DEAD_SHARE * (far_m - near_m)):
                which = "beyond" if met.distance_m > nominal.distance_m else "nearer"
    easting_m, northing_m = stand.easting_m + drawn.east_m, stand.northing_m + drawn.north_m
    return (
        which,
        met.distance_m,
        easting_m + met.distance_m * math.sin(math.radians(bearing)),
        northing_m + met.distance_m * math.cos(math.radians(bearing)),
    )


def _summed(
    meetings: Sequence[tuple[str, float, float, float]], east: float, north: float
) -> tuple[dict[str, float], tuple[Ellipse, ...]]:
    """Shares of the draws by what they meet, and an ellipse for each ground."""
    shares: dict[str, float] = {}
    ellipses = []
    for which in ("same", "nearer", "beyond", "sky", "unknown"):
        some = [m for m in meetings if m[0] == which]
        if not some:
            continue
        shares[which] = len(some) / len(meetings)
        if which in ("sky", "unknown"):
            continue
        if which != "same":
            some = _one_ground(some)
        if len(some) >= _FEWEST:
            places = np.array([m[2:] for m in some])
            distance_m = float(np.median([m[1] for m in some]))
            ellipses.append(ellipse_about(places, which, len(some) / len(meetings), distance_m))
    return shares, tuple(ellipses)


def _one_ground(some: list[tuple[str, float, float, float]]) -> list[tuple[str, float, float, float]]:
    """Of draws that meet other ground, the most that lie together: their distances change without a leap."""
    some = sorted(some, key=lambda one: one[1])
    far = np.log([max(one[1], 1e-3) for one in some])
    parts = np.split(np.arange(len(some)), np.flatnonzero(np.diff(far) > math.log(_LEAP)) + 1)
    return [some[n] for n in max(parts, key=len)]
