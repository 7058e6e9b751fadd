"""What of a thing stands against the sky."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.reading.things.judged import Judged
    from hillsight.reading.view import SightLines

#: Bearings in a degree at which the skyline is known.
_BEARINGS_A_DEGREE = 10

#: A place this little below the skyline, in degrees or in metres at its distance, is on it: a sample does not
#: hit the very crest.
_TOLERANCE_DEG, _TOLERANCE_M = 0.05, 1.0


def sky_shares(view: SightLines, judged: Sequence[Judged]) -> list[float | None]:
    """Share of what is seen of each thing that stands against the sky, 0 to 1; None where nothing is seen.

    By weight of its samples (length, area), or by their number where they have none.
    """
    count = 360 * _BEARINGS_A_DEGREE
    skyline = view.along(np.arange(count) / _BEARINGS_A_DEGREE).skyline_slope
    # Between two bearings the lower of them counts, so that a notch beside does not hide a crest.
    skyline = np.fmin(skyline, np.roll(skyline, -1))
    shares: list[float | None] = []
    for samples in judged:
        seen = np.flatnonzero(samples.seen & np.isfinite(samples.slope))
        if not seen.size:
            shares.append(None)
            continue
        east, north = samples.easting_m[seen] - view.easting_m, samples.northing_m[seen] - view.northing_m
        grid_deg = np.degrees(np.arctan2(east, north)) % 360.0
        slot = np.floor(grid_deg * _BEARINGS_A_DEGREE).astype(int) % count
        least = np.radians(_TOLERANCE_DEG) + _TOLERANCE_M / np.maximum(samples.distance_m[seen], 1.0)
        with np.errstate(invalid="ignore"):
            on_it = samples.slope[seen] >= skyline[slot] - least
        weight = samples.weight[seen]
        share = np.average(on_it, weights=weight) if weight.sum() > 0 else on_it.mean()
        shares.append(float(share))
    return shares
