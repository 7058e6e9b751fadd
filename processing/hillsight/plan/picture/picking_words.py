"""What is said of picked pixels and lines, in sentences."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from hillsight.words.angles import wrap_deg
from hillsight.words.quantities import metres, per_cent, rough_distance_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.plan.picture.picked_lines import PickedLine
    from hillsight.plan.picture.picking import Pick

#: A share of the draws below this is not worth a word.
_WORTH_A_WORD = 0.03


def pick_lines(picks: Sequence[Pick], convergence_deg: float) -> list[str]:
    """A line for each pick, in their order."""
    return [" ".join(_of_pick(number, one, convergence_deg)) for number, one in enumerate(picks, 1)]


def line_lines(lines: Sequence[tuple[Sequence[PickedLine], float]]) -> list[str]:
    """A line for each line drawn."""
    told = []
    for number, (pieces, share) in enumerate(lines, 1):
        if not pieces:
            told.append(f"Line {number} shows no ground, or lies near no crest.")
            continue
        near_m = min(float(piece.distance_m.min()) for piece in pieces)
        far_m = max(float(piece.distance_m.max()) for piece in pieces)
        told.append(
            f"Line {number}: ground on {per_cent(share)} of it, in {len(pieces)} "
            f"{'piece' if len(pieces) == 1 else 'pieces'}, {rough_distance_words(near_m)} to "
            f"{rough_distance_words(far_m)} off."
        )
    return told


def pick_note(number: int, one: Pick) -> str | None:
    """What a pick shows that has no row in a layer; None where it shows ground."""
    what = {
        "sky": "shows the sky",
        "void": "cannot be told: its ray runs over a void of the terrain",
        "terrain_edge": "cannot be told: its ray leaves the terrain",
    }.get(one.state)
    if what is None:
        return None
    where = "" if math.isnan(one.distance_m) else f" at {metres(one.distance_m)}"
    return f"pick {number} ({one.x_px:g},{one.y_px:g}) {what}{where}"


def _of_pick(number: int, one: Pick, convergence_deg: float) -> list[str]:
    head = f"Pick {number} ({one.x_px:g},{one.y_px:g})"
    note = pick_note(number, one)
    if note is not None:
        lines = [f"{note[0].upper()}{note[1:]}."]
    else:
        true_deg = float(wrap_deg(one.bearing_grid_deg + convergence_deg))
        guess = ", too grazing to say where" if one.state == "grazing" else ""
        lines = [
            f"{head}: E {one.easting_m:.0f} N {one.northing_m:.0f}, {metres(one.height_m)} high, "
            f"{metres(one.distance_m)} off on {true_deg:05.1f}° true{guess}."
        ]
    for ellipse in one.ellipses:
        along = float((ellipse.orientation_grid_deg + convergence_deg) % 180.0)
        size = (
            f"95 % within {metres(ellipse.semi_major_m)} along {along:03.0f}° true and "
            f"{metres(ellipse.semi_minor_m)} across, either way"
        )
        if ellipse.which == "same":
            lines.append(f"{size}.")
        elif ellipse.share >= _WORTH_A_WORD:
            which = {
                "beyond": "the next ground beyond",
                "nearer": "ground nearer by" if one.state in ("ground", "grazing") else "ground",
            }[ellipse.which]
            lines.append(
                f"Could also be {which}, at {metres(ellipse.distance_m)} "
                f"({per_cent(ellipse.share)} of the draws): {size}."
            )
    sky = one.shares.get("sky", 0.0)
    if one.state != "sky" and sky >= _WORTH_A_WORD:
        lines.append(f"Could also be the sky ({per_cent(sky)} of the draws).")
    return lines
