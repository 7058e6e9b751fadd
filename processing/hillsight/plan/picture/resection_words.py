"""What is said of a photograph's camera, in sentences."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.picture.holding import held_words
from hillsight.plan.picture.resection import FITS_FROM
from hillsight.plan.picture.resection_errors import heading_causes
from hillsight.plan.picture.station_cameras import why_weak
from hillsight.words.angles import signed_deg
from hillsight.words.english import listed
from hillsight.words.quantities import metres, per_cent, probability_words, rough_distance_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.plan.picture.station_cameras import StationCamera

#: A cause is worth naming from so large a share.
_MOSTLY = 0.4

#: A mark is worth naming as the worst from so many times what is expected of it.
_WORTH_NAMING = 2.0


def worst_mark(one: StationCamera) -> int | None:
    """Place of the mark that the others fit worst, among all; None where none is told from the others."""
    if one.resection is None:
        return None
    times = one.resection.marks.times_expected
    times = np.where(one.resection.marks.used, times, np.where(np.isnan(times), np.inf, times))
    if np.isnan(times).all():
        return None
    return int(np.nanargmax(times))


def camera_lines(one: StationCamera, convergence_deg: float) -> list[str]:
    """One station's camera: two or three sentences with every number's plus-minus."""
    label = one.station.label
    if one.resection is None:
        return [f"{label}: no camera there shows the marks."]
    resection = one.resection
    camera, sigma = resection.camera, resection.sigma
    true_deg = (camera.heading_grid_deg + convergence_deg) % 360.0
    heading = _figure(true_deg, sigma["heading_deg"])
    tilt, roll = _figure(camera.tilt_deg, sigma["tilt_deg"]), _figure(camera.roll_deg, sigma["roll_deg"])
    focal = _figure(camera.lens.focal_px, sigma["focal_px"])
    width = _figure(camera.lens.width_deg, sigma["width_deg"])
    lines = [
        f"{label}: heading {heading} degrees true, tilt {tilt}, roll {roll} degrees; focal length {focal} "
        f"pixels, the picture {width} degrees wide (± is one standard deviation)."
    ]
    if one.model.standing.is_solved:
        place_m = math.hypot(sigma["easting_m"], sigma["northing_m"])
        moved_m = math.hypot(one.eye[0] - one.station.easting_m, one.eye[1] - one.station.northing_m)
        lines.append(
            f"{label}: the camera stood at E {one.eye[0]:.0f} N {one.eye[1]:.0f} ± {metres(place_m)}, "
            f"{rough_distance_words(moved_m)} from the station as given."
        )
    used = resection.marks.used
    off_px, off_deg = residuals(one)
    root_px, root_deg = (float(np.sqrt(np.mean(off[used] ** 2))) for off in (off_px, off_deg))
    causes = heading_causes(one.model, resection.state, used)
    if causes and max(causes.values()) >= _MOSTLY:
        cause = max(causes, key=lambda name: causes[name])
        lines.append(
            f"{label}: {per_cent(causes[cause])} of the heading's variance comes from errors of {cause}."
        )
    lines.append(
        f"{label}: {int(used.sum())} of {used.size} marks fit within {root_px:.1f} pixels, {root_deg:.2f} "
        f"degrees (root of the mean square), {_misfit_words(resection.misfit)}."
    )
    return lines


def cautions(one: StationCamera, hidden_below: float) -> list[str]:
    """What to beware of at one station.

    hidden_below : probability of being in view below which a landmark is said to be hidden
    """
    label, resection = one.station.label, one.resection
    names = one.model.marks.names
    found = []
    hidden = [name for name, p in zip(names, one.visible_probability, strict=True) if p < hidden_below]
    if hidden:
        verb = "is" if len(hidden) == 1 else "are"
        found.append(f"{label}: terrain hides {listed(hidden)} from there, which {verb} marked all the same")
    if resection is None:
        found.append(f"{label}: {_no_camera(one)}")
        return found
    wrong = [name for name, used in zip(names, resection.marks.used, strict=True) if not used]
    behind = [name for name, x in zip(names, resection.marks.shown_px[:, 0], strict=True) if np.isnan(x)]
    if behind:
        found.append(f"{label}: {listed(behind)} would lie behind the camera or beyond what its lens shows")
    wrong = [name for name in wrong if name not in behind]
    if wrong:
        found.append(f"{label}: left out as marked wrongly, or of another landmark: {listed(wrong)}")
    worst, times = worst_mark(one), resection.marks.times_expected
    if worst is not None and resection.marks.used[worst] and times[worst] > _WORTH_NAMING:
        found.append(
            f"{label}: the worst mark is {names[worst]}, {times[worst]:.1f} times as far as expected from "
            "where the others put it"
        )
    if not resection.fits:
        by_chance = f"a misfit as large has a chance of {probability_words(resection.fit_chance)}"
        too_many = f"{len(wrong) + len(behind)} of {len(names)} had to be left out"
        reason = by_chance if resection.fit_chance < FITS_FROM else too_many
        found.append(f"{label}: the marks do not fit this station: {reason}")
    held = held_words(resection.camera.tilt_deg, resection.camera.roll_deg)
    if held and resection.fits:
        found.append(f"{label}: {held}")
    if one.weak:
        reason = why_weak(one)
        found.append(f"{label}: the marks do not fix {listed(one.weak)}{f': {reason}' if reason else ''}")
    if resection.rival is not None:
        other = resection.rival
        turn_deg = float(signed_deg(other.heading_grid_deg - resection.camera.heading_grid_deg))
        found.append(
            f"{label}: another camera fits nearly as well: its heading is {turn_deg:+.1f} degrees from this "
            f"one's, its focal length {other.lens.focal_px:.0f} pixels"
        )
    spare = 2 * int(resection.marks.used.sum()) - one.model.free
    if spare <= 0:
        found.append(f"{label}: the marks are just enough, so that none checks the others")
    return found


def residuals(one: StationCamera) -> tuple[np.ndarray, np.ndarray]:
    """Distance of each mark from where the camera shows it, (n,) pixels and (n,) degrees at the eye."""
    assert one.resection is not None
    marks, camera = one.model.marks, one.resection.camera
    off = np.stack([marks.x_px, marks.y_px], axis=-1) - one.resection.marks.shown_px
    bearing, angle = (np.radians(v) for v in camera.directions(marks.x_px, marks.y_px))
    there_bearing, there_angle = np.radians(one.bearing_grid_deg), np.radians(one.vertical_angle_deg)
    # Half of the chord, which stays exact for small angles.
    half = np.sin((angle - there_angle) / 2) ** 2
    half += np.cos(angle) * np.cos(there_angle) * np.sin((bearing - there_bearing) / 2) ** 2
    return np.linalg.norm(off, axis=-1), np.degrees(2.0 * np.arcsin(np.sqrt(half)))


def comparison_lines(found: Sequence[StationCamera]) -> list[str]:
    """Which of several stations the marks fit."""
    if len(found) < 2:
        return []
    order = sorted(found, key=lambda one: -one.probability)
    best, next_best = order[0], order[1]
    if best.resection is None:
        return ["The marks fit none of the stations."]
    shares = ", ".join(f"{one.station.label} {probability_words(one.probability)}" for one in order[:6])
    if not best.resection.fits:
        return [f"The marks fit none of the stations well; {best.station.label} comes nearest ({shares})."]
    says = "fit" if best.probability >= 0.95 else "fit best, but do not decide for,"
    if next_best.resection is None or best.probability >= 0.995:
        says = "fit"
    return [
        f"The marks {says} {best.station.label}: {shares}, if it is one of these and all alike beforehand."
    ]


def _no_camera(one: StationCamera) -> str:
    spread = float(np.ptp((one.bearing_grid_deg - one.bearing_grid_deg[0] + 180.0) % 360.0))
    return (
        "no camera there shows enough of the marks: they lie up to "
        f"{min(spread, 360.0 - spread):.0f} degrees apart, or in another order than in the picture"
    )


def _misfit_words(misfit: float) -> str:
    if np.isnan(misfit):
        return "with nothing left to check them by"
    return f"{misfit:.1f} times what is expected of such marks"


def _figure(value: float, sigma: float) -> str:
    """A number with its plus-minus, both to the second figure of the latter."""
    if not math.isfinite(sigma) or sigma <= 0:
        return f"{value:.1f}"
    decimals = max(0, 1 - math.floor(math.log10(sigma)))
    return f"{value:.{decimals}f} ± {sigma:.{decimals}f}"
