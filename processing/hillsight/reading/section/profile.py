"""A vertical section along a sight line: ground, what is seen of it, crests, and the line to a target.

The section is a straight line on the grid. It is sampled where it crosses grid lines, which is where a sight
line meets the ground (docs/method.md), and at its two ends; between samples the lowered ground is straight.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from hillsight.sight.line import crossing_shares
from hillsight.sight.points import see_points
from hillsight.sight.viewing import Eye

if TYPE_CHECKING:
    import shapely
    from numpy.typing import NDArray

    from hillsight.arrays import Floats
    from hillsight.ground.geodesy import Geodesy
    from hillsight.ground.grid import Surface
    from hillsight.reading.section.whole_target import WholeTarget
    from hillsight.sight.points import PointSight


VISIBLE, HIDDEN, UNKNOWN = "visible", "hidden", "unknown"


@dataclass(frozen=True)
class Target:
    """What a section leads to.

    name : on one line, never empty
    easting_m, northing_m : on the working grid
    height_m : of the thing above the ground
    feature : its row among the map features; None for a place given by coordinates
    shape : of that feature, if it is a line or an area and the place one point of it
    """

    name: str
    easting_m: float
    northing_m: float
    height_m: float = 0.0
    feature: int | None = None
    shape: shapely.Geometry | None = None


@dataclass(frozen=True)
class Course:
    """Where a section runs, and who looks along it.

    number : of the section within the run, from 1
    ends_at : "target", "reach" or "terrain_edge"
    end_easting_m, end_northing_m : on the terrain
    bearing_true_deg, bearing_grid_deg : at the station; of a target the bearing true of its geodesic
    """

    number: int
    station: str
    easting_m: float
    northing_m: float
    ground_height_m: float
    eye_height_m: float
    refraction: float
    target: Target | None
    ends_at: str
    end_easting_m: float
    end_northing_m: float
    bearing_true_deg: float
    bearing_grid_deg: float


@dataclass(frozen=True)
class Samples:
    """The ground along a section; each array (n,) float64, from the station's feet to the end.

    grid_m, distance_m : from the station, on the grid and over the ground (ellipsoid)
    easting_m, northing_m : places
    ground_m : height in the terrain's datum, NaN on a void
    lowered_m : the same lowered for curvature and refraction, as the eye sees it
    clearance_m : of the ground, as in ``sight.points.PointSight``; +inf where no ground is nearer
    """

    grid_m: Floats
    distance_m: Floats
    easting_m: Floats
    northing_m: Floats
    ground_m: Floats
    lowered_m: Floats
    clearance_m: Floats

    @property
    def states(self) -> NDArray[np.str_]:
        """visible, hidden or unknown, one a sample."""
        known = np.where(self.clearance_m < 0.0, HIDDEN, VISIBLE)
        return np.where(np.isnan(self.clearance_m), UNKNOWN, known)


@dataclass(frozen=True)
class Crest:
    """Where ground turns out of view.

    number : within the section, nearest first
    role : brow, crest or skyline; skyline only where the section shows that sky stands behind it
    sample : its place among the samples
    """

    number: int
    role: str
    sample: int


@dataclass(frozen=True)
class Stretch:
    """Ground of one state, between two grid distances.

    crest : what hides it; None if it is not hidden, or begins beyond a void
    deepest : sample of the greatest depth; None if it is not hidden
    depth_m : the greatest depth, 0 if it is not hidden
    emerges : whether ground comes back into view at its end
    """

    state: str
    from_grid_m: float
    to_grid_m: float
    crest: Crest | None = None
    deepest: int | None = None
    depth_m: float = 0.0
    emerges: bool = False


@dataclass(frozen=True)
class TargetLine:
    """The line from the eye to the top of the target.

    level_m : its height at each sample, in the frame of the lowered heights; NaN if the target's is not known
    state, clearance_m : of the target
    crest_sample : the ground that sets the grazing line; None where none does, or it is not known
    closest_sample : where ground comes nearest to the line between its ends (least of the places where the
        gap is smaller than on both sides); None where it only parts from one end and nears the other
    vertical_angle_deg : above the level, with curvature and refraction
    """

    level_m: Floats
    state: str
    clearance_m: float
    crest_sample: int | None
    closest_sample: int | None
    vertical_angle_deg: float


@dataclass(frozen=True)
class Section:
    """A section that has been worked out.

    eye : on the lattice of ``surface``, which holds the ground around the section
    whole : what is seen of all of the target, where it is a line or an area that can be judged
    """

    course: Course
    surface: Surface
    eye: Eye
    samples: Samples
    stretches: tuple[Stretch, ...]
    crests: tuple[Crest, ...]
    line: TargetLine | None
    whole: WholeTarget | None = None

    @property
    def length_m(self) -> float:
        """Over the ground."""
        return float(self.samples.distance_m[-1])

    @property
    def length_grid_m(self) -> float:
        """On the grid."""
        return float(self.samples.grid_m[-1])

    @property
    def spacing_m(self) -> float:
        """The wider spacing of the terrain's posts."""
        return max(self.surface.grid.spacing_x_m, self.surface.grid.spacing_y_m)

    @property
    def drop_m(self) -> float:
        """How much the far end is lowered for curvature and refraction."""
        return float(self.eye.drop_per_m * self.length_grid_m**2)

    def ground_distance_m(self, grid_m: float) -> float:
        """Ground distance of a place at a grid distance."""
        return float(np.interp(grid_m, self.samples.grid_m, self.samples.distance_m))

    def place(self, grid_m: float) -> tuple[float, float]:
        """Easting and northing at a grid distance."""
        share = grid_m / self.length_grid_m
        course = self.course
        return (
            course.easting_m + share * (course.end_easting_m - course.easting_m),
            course.northing_m + share * (course.end_northing_m - course.northing_m),
        )

    def lowered_m(self, grid_m: float) -> float:
        """Lowered ground at a grid distance, straight between samples; NaN beside a void."""
        return float(np.interp(grid_m, self.samples.grid_m, self.samples.lowered_m))

    def height_m(self, grid_m: float) -> float:
        """Ground height at a grid distance, in the terrain's datum; NaN beside a void."""
        return self.lowered_m(grid_m) + float(self.eye.drop_per_m) * grid_m**2

    def at(self, eastings_m: Floats, northings_m: Floats, heights_m: Floats) -> PointSight:
        """Clearance of things at places near the section."""
        rows, columns = self.surface.grid.to_array(eastings_m, northings_m)
        return see_points(self.surface, self.eye, rows, columns, heights_m)


def cut_section(course: Course, surface: Surface, drop_per_m: float, geodesy: Geodesy) -> Section:
    """Work out a section over the ground around it.

    Parameters
    ----------
    surface : posts that hold station, end and all between, with those around
    drop_per_m : lowering for curvature and refraction at the station, as for every view from it
    """
    level_m = course.ground_height_m + course.eye_height_m
    eye = Eye.on(surface.grid, course.easting_m, course.northing_m, level_m, drop_per_m)
    row, column = (float(v) for v in surface.grid.to_array(course.end_easting_m, course.end_northing_m))
    shares = np.r_[0.0, crossing_shares(eye.row, eye.column, row, column), 1.0]
    rows, columns = eye.row + shares * (row - eye.row), eye.column + shares * (column - eye.column)
    # The end comes twice: its ground, and the top of the target on it.
    heights_m = np.zeros(shares.size + 1)
    heights_m[-1] = 0.0 if course.target is None else course.target.height_m
    sight = see_points(surface, eye, np.r_[rows, row], np.r_[columns, column], heights_m)
    length_m = float(
        np.hypot(course.end_easting_m - course.easting_m, course.end_northing_m - course.northing_m)
    )
    grid_m = shares * length_m
    easting_m = course.easting_m + shares * (course.end_easting_m - course.easting_m)
    northing_m = course.northing_m + shares * (course.end_northing_m - course.northing_m)
    _, distance_m = geodesy.inverse(course.easting_m, course.northing_m, easting_m, northing_m)
    ground_m, clearance_m = sight.ground_m[:-1], sight.clearance_m[:-1].copy()
    clearance_m[0] = np.inf  # one's own feet
    samples = Samples(
        grid_m, distance_m, easting_m, northing_m, ground_m, ground_m - drop_per_m * grid_m**2, clearance_m
    )
    stretches, crests = _stretches(samples, to_the_reach=course.ends_at == "reach")
    line = None if course.target is None else _line(course.target, samples, eye, sight)
    return Section(course, surface, eye, samples, stretches, crests, line)


def _stretches(samples: Samples, *, to_the_reach: bool) -> tuple[tuple[Stretch, ...], tuple[Crest, ...]]:
    """Cut a section where the state of the ground changes.

    A change from or to unknown lies at the known sample beside it: what is between is not known.
    """
    states, grid_m, clearance_m = samples.states, samples.grid_m, samples.clearance_m
    runs = np.r_[0, np.flatnonzero(states[1:] != states[:-1]) + 1, states.size]
    cuts_m = [0.0]
    for i in runs[1:-1]:
        before, after = states[i - 1], states[i]
        if before == UNKNOWN:
            cuts_m.append(float(grid_m[i]))
        elif (before, after) == (HIDDEN, VISIBLE):
            share = clearance_m[i - 1] / (clearance_m[i - 1] - clearance_m[i])
            cuts_m.append(float(grid_m[i - 1] + share * (grid_m[i] - grid_m[i - 1])))
        else:
            cuts_m.append(float(grid_m[i - 1]))
    cuts_m.append(float(grid_m[-1]))
    hidden_to_the_end = states[-1] == HIDDEN
    sky_behind = to_the_reach and hidden_to_the_end and UNKNOWN not in states
    stretches: list[Stretch] = []
    crests: list[Crest] = []
    for k, (first, after) in enumerate(pairwise(runs)):
        state = str(states[first])
        if state != HIDDEN:
            stretches.append(Stretch(state, cuts_m[k], cuts_m[k + 1]))
            continue
        crest = None
        if states[first - 1] == VISIBLE:
            role = "skyline" if sky_behind and after == states.size else "crest" if crests else "brow"
            crest = Crest(len(crests) + 1, role, int(first) - 1)
            crests.append(crest)
        deepest = int(first + np.argmin(clearance_m[first:after]))
        stretches.append(
            Stretch(
                HIDDEN,
                cuts_m[k],
                cuts_m[k + 1],
                crest,
                deepest,
                float(-clearance_m[deepest]),
                emerges=bool(after < states.size and states[after] == VISIBLE),
            )
        )
    return tuple(stretches), tuple(crests)


def _line(target: Target, samples: Samples, eye: Eye, sight: PointSight) -> TargetLine:
    """The line from the eye to the target; the last entry of ``sight`` is the target's top."""
    clearance_m, slope = float(sight.clearance_m[-1]), float(sight.slope[-1])
    level_m = eye.level_m + slope * samples.grid_m
    level_m[-1] = samples.lowered_m[-1] + target.height_m
    state = UNKNOWN if np.isnan(clearance_m) else HIDDEN if clearance_m < 0 else VISIBLE
    crest_m = float(sight.crest_distance_m[-1])
    crest = None
    if state != UNKNOWN and crest_m > 0:
        crest = int(np.argmin(np.abs(samples.grid_m - crest_m)))
    return TargetLine(
        level_m,
        state,
        clearance_m,
        crest,
        _closest(level_m - samples.lowered_m),
        float(np.degrees(np.arctan(slope))),
    )


def _closest(gap_m: Floats) -> int | None:
    """The least of the places where the gap is no larger than before and smaller than after."""
    inner = gap_m[1:-1]
    with np.errstate(invalid="ignore"):
        dips = (inner <= gap_m[:-2]) & (inner < gap_m[2:])
    places = 1 + np.flatnonzero(dips)
    return int(places[np.argmin(gap_m[places])]) if places.size else None
