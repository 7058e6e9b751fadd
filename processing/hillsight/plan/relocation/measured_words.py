"""What was measured on the photograph, told of each candidate from the very figures that were weighed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import special

from hillsight.plan.kinds.shared.nouns import number_with
from hillsight.plan.picture.camera import Camera, Lens
from hillsight.plan.relocation.summary import times_words
from hillsight.plan.verdict import MeasuredEvidence, MeasuredFit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.plan.look.framing import Framing
    from hillsight.plan.picture.skyline_match import Matched


@dataclass(frozen=True)
class Photographed:
    """What is told of a photograph beside what was measured on it.

    name : of the file; lens : as believed, lens_words : by what; set_aside : statements, in words
    """

    name: str
    lens: Lens
    lens_words: str
    landmarks: int
    traced: bool
    set_aside: tuple[str, ...] = ()


def measured_evidence(
    taken: Photographed,
    labels: Sequence[str],
    logs: Floats,
    fits: Matched,
    framing: Framing,
    convergence_deg: Sequence[float],
    best: int,
    skies_deg: Floats,
    right_up: Floats,
) -> MeasuredEvidence:
    """Evidence of a photograph.

    Parameters
    ----------
    logs : (c, h) log ratios of the candidates, by direction; best : the likeliest candidate by all evidence
    skies_deg : (c, b) vertical angle of their sky's edge by grid bearing, evenly all round
    right_up : (n, 2) of the trace, see ``PictureSkyline``
    """
    with np.errstate(divide="ignore"):
        whole = special.logsumexp(logs + np.log(framing.prior), axis=1)
    found = []
    for k, label in enumerate(labels):
        heading_deg = float(fits.heading_grid_deg[k] + convergence_deg[k]) % 360.0
        focal_px = taken.lens.focal_px * float(fits.focal_share[k])
        half = np.arctan(taken.lens.width_px / 2.0 / focal_px)
        spread = fits.spread[k]
        # The width changes with the focal length's logarithm by minus the sine of the whole angle.
        width_spread = float(np.degrees(np.sin(2.0 * half)) * spread[3])
        misfit_deg = float(fits.misfit_deg[k])
        figures: dict[str, Any] = {
            "heading_true_deg": heading_deg,
            "heading_plus_minus_deg": float(spread[0]),
            "tilt_deg": float(fits.tilt_deg[k]),
            "tilt_plus_minus_deg": float(spread[1]),
            "roll_deg": float(fits.roll_deg[k]),
            "roll_plus_minus_deg": float(spread[2]),
            "width_deg": float(np.degrees(2.0 * half)),
            "width_plus_minus_deg": width_spread,
            "misfit_deg": misfit_deg,
            "misfit_px": float(np.radians(misfit_deg) * focal_px),
            "hidden_share": float(fits.hidden[k]),
        }
        times = float(np.exp(np.clip(whole[best] - whole[k], -700.0, 700.0)))
        words = _sentence(label, figures, times, taken.traced, k == best)
        lines = _lines(taken.lens, fits, k, skies_deg[k], right_up, convergence_deg[k])
        found.append(MeasuredFit(label, times, sentence=words, **figures, **lines))
    return MeasuredEvidence(taken.name, _says(taken), taken.lens_words, tuple(found), taken.set_aside)


def _lines(
    lens: Lens, fits: Matched, k: int, sky_deg: Floats, right_up: Floats, convergence_deg: float
) -> dict[str, Any]:
    """The trace as the camera that fits best has it, and the sky's edge there."""
    plain = Lens(lens.width_px, lens.height_px, lens.focal_px * float(fits.focal_share[k]))
    camera = Camera(plain, float(fits.heading_grid_deg[k]), float(fits.tilt_deg[k]), float(fits.roll_deg[k]))
    bearing, angle = camera.directions(
        plain.principal_x_px + lens.focal_px * right_up[:, 0],
        plain.principal_y_px - lens.focal_px * right_up[:, 1],
    )
    step = 360.0 / sky_deg.size
    expected = np.interp(bearing, np.arange(sky_deg.size + 1) * step, np.r_[sky_deg, sky_deg[0]])
    found = {
        "bearing_true_deg": (bearing + convergence_deg) % 360.0,
        "traced_deg": angle,
        "expected_deg": expected,
    }
    return {name: tuple(np.round(one, 3).tolist()) for name, one in found.items()}


def _says(taken: Photographed) -> str:
    marks = f"{taken.landmarks} marked landmark{'' if taken.landmarks == 1 else 's'}"
    if taken.traced:
        return f"the traced skyline and {marks}" if taken.landmarks else "the traced skyline"
    return marks


def _sentence(label: str, figures: dict[str, float], times: float, traced: bool, is_best: bool) -> str:
    camera = (
        f"the camera looks {figures['heading_true_deg']:.1f} ± {figures['heading_plus_minus_deg']:.1f} "
        f"degrees true, tilted {figures['tilt_deg']:+.1f} ± {figures['tilt_plus_minus_deg']:.1f} and rolled "
        f"{figures['roll_deg']:+.1f} ± {figures['roll_plus_minus_deg']:.1f} degrees"
    )
    if is_best:  # said once, in the sentence that stands first
        camera += " (± is one standard deviation)"
    misfit = ""
    if traced:
        pixels = number_with(round(figures["misfit_px"]), "pixels")
        misfit = (
            f", and the trace strays {figures['misfit_deg']:.2f} degrees ({pixels}) "
            f"from the skyline, {100 * figures['hidden_share']:.0f} % of it before trees or the like"
        )
    if is_best:
        return f"From {label} {camera}{misfit}."
    if times >= 1.0:
        odds = f"{times_words(times)} less likely by the photograph"
    else:
        odds = f"{times_words(1.0 / times)} likelier by the photograph"
    return f"From {label} {camera}{misfit}: {odds}."
