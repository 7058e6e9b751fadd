"""What a picture shows at a glance, as a few figures, and how alike two pictures are in them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.plan.exercise.quick_looks import BROW_WITHIN_M

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.plan.exercise.quick_looks import QuickLooks

#: The figures, each with what of it nobody tells apart at a glance in whatever ground: metres, degrees, or
#: the natural logarithm of a distance. Common practice, no source.
TRAITS = {
    "height": 25.0,
    "slope ahead": 3.0,
    "form ahead": 3.0,
    "skyline": 1.0,
    "skyline leans": 1.5,
    "skyline bulges": 1.0,
    "skyline's distance": 0.4,
    "brow": 0.4,
}

#: Places are alike within half of what the places about differ.
_SHARE = 0.5

#: Ground nearer than this is underfoot.
_LEAST_BROW_M = 10.0


@dataclass(frozen=True)
class AtAGlance:
    """Figures of n places in each of d directions.

    directions_deg : (d,) true bearings of the picture's middle
    figures : (n, d, t) in the order of TRAITS
    scales : (t,) within which figures are alike
    """

    directions_deg: Floats
    figures: Floats
    scales: Floats

    @classmethod
    def of(cls, looks: QuickLooks, directions_deg: Floats, width_deg: float) -> AtAGlance:
        """Pictures of a width from all places in all directions."""
        across = looks.at(directions_deg, width_deg / 2.0)
        third = max(1, across.shape[1] // 3)
        sky = looks.skyline_deg[:, across]
        left, right = sky[..., :third].mean(axis=-1), sky[..., -third:].mean(axis=-1)
        middle = sky[..., third:-third].mean(axis=-1)
        inner = across[:, third:-third]
        brow_m = np.clip(looks.brow_m[:, inner], _LEAST_BROW_M, BROW_WITHIN_M)
        far_m = np.maximum(looks.skyline_m[:, across], _LEAST_BROW_M)
        height_m = np.broadcast_to(looks.ground_m[:, None], middle.shape)
        figures = np.stack(
            (
                height_m,
                looks.ahead_deg[:, inner].mean(axis=-1),
                looks.form_deg[:, inner].mean(axis=-1),
                sky.mean(axis=-1),
                left - right,
                middle - (left + right) / 2.0,
                np.median(np.log(far_m), axis=-1),
                np.median(np.log(brow_m), axis=-1),
            ),
            axis=-1,
        )
        spread = figures.std(axis=0).mean(axis=0)
        return cls(directions_deg, figures, np.maximum(_SHARE * spread, list(TRAITS.values())))

    def unlikeness(self, place: int, direction: int, without: Sequence[str] = ()) -> Floats:
        """How unlike all places are to one in a direction, (n,): 0 the same, 1 as told, more unlike.

        The root mean square of what their figures differ, each in its scale.

        Parameters
        ----------
        without : traits that are not to be alike
        """
        kept = [k for k, name in enumerate(TRAITS) if name not in without]
        seen = self.figures[:, direction, :]
        off = (seen[:, kept] - seen[place, kept]) / self.scales[kept]
        return np.asarray(np.sqrt((off**2).mean(axis=1)), np.float64)
