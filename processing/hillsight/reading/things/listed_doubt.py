"""How far each entry of a bearing list can be trusted: chance of being seen, plus-minus of its figures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.reading.doubt.trust import Limits, bearing_plus_minus_deg, plus_minus
from hillsight.sight.doubt import Doubtful
from hillsight.sight.probability import ThingSamples, seen_of_things
from hillsight.words.angles import signed_deg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.ground.accuracy import ErrorModel
    from hillsight.reading.things.judged import Judged
    from hillsight.reading.view import SightLines


def add_doubt(
    view: SightLines,
    entries: Sequence[dict[str, Any]],
    judged: Sequence[Judged],
    heights_m: Sequence[float],
    errors: ErrorModel,
    limits: Limits,
) -> None:
    """Fill the columns of doubt, and call ``uncertain`` what is neither surely seen nor surely hidden.

    Parameters
    ----------
    entries : of the bearing list, each with its geometry, state, distance and edges
    judged, heights_m : samples and target height of each entry's feature
    """
    if not entries:
        return
    east = np.array([entry["geometry"].x for entry in entries])
    north = np.array([entry["geometry"].y for entry in entries])
    rows, columns = view.grid.to_array(east, north)
    half = plus_minus(
        view.surface, view.eye, rows, columns, errors, target_heights_m=np.asarray(heights_m, float)
    )
    place_m = float(np.hypot(errors.station_position_m, errors.feature_position_m))
    doubtful = Doubtful.of(view.surface, view.eye, errors, feature=True)
    seen = seen_of_things(doubtful, _samples(view, judged, heights_m))
    for k, (entry, samples) in enumerate(zip(entries, judged, strict=True)):
        for name, values in (
            ("bearing_plus_minus_deg", half.bearing_deg),
            ("distance_plus_minus_m", half.distance_m),
            ("height_difference_plus_minus_m", half.height_difference_m),
            ("vertical_angle_plus_minus_deg", half.vertical_angle_deg),
        ):
            entry[name] = float(values[k]) if np.isfinite(values[k]) else None
        _add_edges(entry, samples, place_m)
        if np.isnan(seen.chance[k]):
            continue
        entry["seen_probability"] = float(seen.chance[k])
        entry["visible_share_low"], entry["visible_share_high"] = float(seen.low[k]), float(seen.high[k])
        if limits.state_word(entry["seen_probability"]) == "uncertain":
            entry["state"] = "uncertain"


def _samples(view: SightLines, judged: Sequence[Judged], heights_m: Sequence[float]) -> ThingSamples:
    """The samples of all entries together."""
    counts = [one.weight.size for one in judged]
    east, north, weight, near, clearance_m = (
        np.concatenate([getattr(one, name) for one in judged])
        for name in ("easting_m", "northing_m", "weight", "near", "clearance_m")
    )
    row, column = view.grid.to_array(east, north)
    starts = np.concatenate(([0], np.cumsum(counts)))
    return ThingSamples(row, column, np.repeat(heights_m, counts), weight, near, clearance_m, starts)


def _add_edges(entry: dict[str, Any], samples: Judged, place_m: float) -> None:
    """Plus-minus of the edges of what is seen, from the distance of the sample that makes each."""
    for side in ("left", "right"):
        edge_deg = entry[f"{side}_edge_true_deg"]
        seen = np.flatnonzero(samples.seen)
        if edge_deg is None or not seen.size:
            continue
        away = np.abs(signed_deg(samples.bearing_deg[seen] - edge_deg))
        distance_m = samples.distance_m[seen[int(np.argmin(away))]]
        entry[f"{side}_edge_plus_minus_deg"] = float(bearing_plus_minus_deg(distance_m, place_m))
