"""The camera of a photograph at each of several stations, and which station its marks fit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.errors import MarksError
from hillsight.plan.picture import perspective
from hillsight.plan.picture.resection import resect
from hillsight.plan.picture.resection_model import Model

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.ground.stations import Station
    from hillsight.plan.picture.camera import Camera
    from hillsight.plan.picture.mark_ground import MarkedThing
    from hillsight.plan.picture.resection import Resection

#: Standard deviations from which a camera is not fixed by its marks: of heading, tilt and roll (degrees), of
#: the focal length (share), and of a solved place (share of the middle distance to the marks).
WEAK_ANGLE_DEG, WEAK_FOCAL_SHARE, WEAK_PLACE_SHARE = 2.0, 0.15, 0.1

#: Marks of one feature are the same mark within so many standard deviations of a click.
_SAME_CLICKS = 4.0

#: Marks are on one line where they spread across it less than this share of along it.
_ON_ONE_LINE = 0.08

#: Marks in so small a share of the picture's longer side do not fix a focal length.
_NARROW = 0.25


@dataclass(frozen=True, eq=False)
class StationCamera:
    """What the marks say of one station.

    resection : None where no camera there shows enough of the marks; why says so
    probability : that the photograph is from here, if it is from one of the stations given, all alike
        beforehand
    eye : easting, northing and level the sight lines start at
    bearing_grid_deg, vertical_angle_deg, distance_grid_m : (n,) of the landmarks from that eye
    visible_probability : (n,) that terrain leaves each landmark in view; NaN where not looked at
    """

    station: Station
    model: Model
    resection: Resection | None
    probability: float
    eye: tuple[float, float, float]
    bearing_grid_deg: Floats
    vertical_angle_deg: Floats
    distance_grid_m: Floats
    visible_probability: Floats

    @property
    def camera(self) -> Camera | None:
        """The camera, or None where none shows the marks."""
        return None if self.resection is None else self.resection.camera

    @property
    def weak(self) -> tuple[str, ...]:
        """What the marks do not fix, in words; empty where they fix everything that was asked."""
        found, resection = [], self.resection
        if resection is None:
            return ()
        sigma = resection.sigma
        found += [name for name in ("heading", "tilt", "roll") if not sigma[f"{name}_deg"] <= WEAK_ANGLE_DEG]
        if not sigma["focal_px"] <= WEAK_FOCAL_SHARE * resection.camera.lens.focal_px:
            found.append("focal length")
        place_m = float(np.hypot(sigma["easting_m"], sigma["northing_m"]))
        most_m = WEAK_PLACE_SHARE * float(np.median(self.distance_grid_m))
        if self.model.standing.is_solved and not place_m <= most_m:
            found.append("place")
        return tuple(found)

    @property
    def state(self) -> str:
        """``fits``, ``no_fit``, ``weak`` or ``no_camera``."""
        if self.resection is None:
            return "no_camera"
        if not self.resection.fits:
            return "no_fit"
        return "weak" if self.weak else "fits"


def check_marks(things: Sequence[MarkedThing], *, focal_known: bool, solved: bool, is_part: bool) -> None:
    """Refuse marks that cannot fix a camera: too few for what is asked, or one landmark at two places.

    Raises
    ------
    MarksError : as said
    """
    for k, one in enumerate(things):
        for other in things[:k]:
            apart_m = np.hypot(one.easting_m - other.easting_m, one.northing_m - other.northing_m)
            if apart_m > 0.5 or one.height_m != other.height_m:
                continue
            apart_px = np.hypot(one.mark.x_px - other.mark.x_px, one.mark.y_px - other.mark.y_px)
            close = apart_px <= _SAME_CLICKS * (one.mark.give_or_take_px + other.mark.give_or_take_px)
            where = "the same place" if close else f"two places {apart_px:.0f} pixels apart"
            raise MarksError(
                f"{one.name} is marked twice, at {where}",
                where=f"landmarks {other.number} and {one.number}",
                remedy="Keep one of the two marks",
                parameters=("marks",),
            )
    unknowns = {"how the camera is turned": 3}
    if not focal_known:
        unknowns["the focal length"] = 1
    if solved:
        unknowns["the place"] = 2
    if is_part:
        unknowns["the axis of a cropped picture"] = 2
    needed = (sum(unknowns.values()) + 1) // 2
    if len(things) < needed:
        listed = ", ".join(f"{name} ({count})" for name, count in unknowns.items())
        count = "1 landmark is" if len(things) == 1 else f"{len(things)} landmarks are"
        raise MarksError(
            f"{count} marked, and {needed} are needed: each tells two numbers, and unknown are {listed}",
            remedy="Mark more landmarks"
            + ("" if focal_known else ", or tell how wide the picture is, in degrees"),
            parameters=("marks",) if focal_known else ("marks", "width"),
        )


def station_cameras(
    stations: Sequence[Station], models: Sequence[Model], visible: Sequence[Floats]
) -> list[StationCamera]:
    """Resect at every station and weigh them against each other.

    visible : (n,) for each station, probability that each landmark is in view
    """
    found = [resect(model) for model in models]
    likelihoods = np.array([-np.inf if one is None else one.log_likelihood for one in found])
    best = likelihoods.max(initial=-np.inf)
    shares = np.exp(likelihoods - best) if np.isfinite(best) else np.ones(len(found))
    shares = shares / shares.sum()
    rows = []
    for station, model, resection, share, seen in zip(stations, models, found, shares, visible, strict=True):
        values = np.zeros(len(model.sigma)) if resection is None else resection.state.values
        vectors, eye = model.vectors(values), model.eye(values)
        bearing, angle = perspective.directions_of(vectors)
        rows.append(
            StationCamera(
                station,
                model,
                resection,
                float(share),
                (float(eye[0]), float(eye[1]), float(eye[2])),
                bearing,
                angle,
                np.hypot(vectors[:, 0], vectors[:, 1]),
                seen,
            )
        )
    return rows


def why_weak(one: StationCamera) -> str:
    """Why the marks do not fix the camera, as far as their places in the picture tell; may be empty."""
    marks, lens = one.model.marks, one.model.lens
    points = np.stack([marks.x_px, marks.y_px], axis=-1)
    if one.resection is not None:
        points = points[one.resection.marks.used]
    centred = points - points.mean(axis=0)
    along, across = np.sqrt(np.linalg.svd(centred.T @ centred, compute_uv=False))
    reasons = []
    if len(points) < 4:
        reasons.append(f"only {len(points)} marks count")
    spread_px = float(np.ptp(points, axis=0).max())
    if spread_px < _NARROW * max(lens.width_px, lens.height_px):
        share = 100.0 * spread_px / max(lens.width_px, lens.height_px)
        reasons.append(f"they lie within {share:.0f} % of the picture's longer side")
    if len(points) > 2 and across < _ON_ONE_LINE * along:
        reasons.append("they lie on one line in the picture")
    if one.model.standing.is_solved and np.ptp(one.distance_grid_m) < 0.3 * np.median(one.distance_grid_m):
        reasons.append("they are all about equally far away")
    return " and ".join(reasons)
