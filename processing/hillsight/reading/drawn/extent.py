"""Which vertical angles a drawn view shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.reading.drawn.drawn_view import DrawnView
    from hillsight.reading.drawn.landmarks import Landmark

#: A view shows no more than this from its highest to its lowest line (degrees): nearer ground lies at the
#: feet, where a terrain model knows nothing of what one sees.
_MOST_DEG = 26.0

#: And no less, so that level ground is not blown up.
_LEAST_DEG = 3.0

#: A skyline nearer than this (post spacings) is too near for the posts to tell its shape: it counts for
#: nothing, and the picture may cut it off.
_TOO_NEAR_POSTS = 2.0

#: Share of the crest lines, by their bearings, that may lie below the lower edge.
_BELOW_SHARE = 0.04


def angles_shown(view: DrawnView, landmarks: Sequence[Landmark]) -> tuple[float, float]:
    """Lowest and highest vertical angle worth showing, degrees; without any room about them.

    From the highest place of the skyline down to the lowest landmark and all but the lowest crest lines.
    """
    known = np.isfinite(view.fan.sky_deg)
    far = known & (view.fan.sky_m > _TOO_NEAR_POSTS * view.spacing_m)
    sky = view.fan.sky_deg[far if far.any() else known]
    seen = np.array([one.angle_deg for one in landmarks if one.is_seen])
    if not sky.size:
        return -_LEAST_DEG, _LEAST_DEG
    high = float(max(sky.max(), seen.max(initial=-90.0)))
    crests = np.concatenate([np.empty(0), *(track.angle_deg for track in view.crests)])
    low = float(min(sky.min(), seen.min(initial=90.0)))
    if crests.size:
        low = min(low, float(np.quantile(crests, _BELOW_SHARE)))
    low = max(low, high - _MOST_DEG)
    spare = max(0.0, _LEAST_DEG - (high - low))
    return low - 0.7 * spare, high + 0.3 * spare
