"""How far each entry of a bearing list can be trusted: chance of being seen, plus-minus of its figures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from hillsight.reading.doubt.trust import Limits, bearing_plus_minus_deg, plus_minus
from hillsight.sight.doubt import Doubtful
from hillsight.sight.doubt_shares import seen_of_feature

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats, Integers
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.reading.things.judged import Judged
    from hillsight.reading.view import View

#: Samples of a feature whose chances are worked out: as many spread evenly, and as many of those likeliest to
#: be seen.
_SAMPLES = 24


def add_doubt(
    view: View,
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
    for k, (entry, samples) in enumerate(zip(entries, judged, strict=True)):
        for name, values in (
            ("bearing_plus_minus_deg", half.bearing_deg),
            ("distance_plus_minus_m", half.distance_m),
            ("height_difference_plus_minus_m", half.height_difference_m),
            ("vertical_angle_plus_minus_deg", half.vertical_angle_deg),
        ):
            entry[name] = float(values[k]) if np.isfinite(values[k]) else None
        _add_edges(entry, samples, place_m)
        if entry["state"] in ("out_of_reach", "unknown"):
            continue
        chosen, weight = _chosen(samples)
        row, column = view.grid.to_array(samples.easting_m[chosen], samples.northing_m[chosen])
        share = seen_of_feature(view.surface, view.eye, row, column, heights_m[k], weight, errors, doubtful)
        if np.isnan(share.any_seen):
            continue
        entry["seen_probability"] = share.any_seen
        entry["visible_share_low"], entry["visible_share_high"] = share.low, share.high
        if limits.state_word(share.any_seen) == "uncertain":
            entry["state"] = "uncertain"


def _chosen(samples: Judged) -> tuple[Integers, Floats]:
    """Indices of the samples within the reach to look at, and the weight that each stands for.

    Shares rest on samples spread evenly over what the terrain as it is shows, hides and leaves unknown, so
    that of each as much is kept as there is. Those likeliest to be seen are added for the chance that
    anything is seen, without weight.
    """
    near = np.flatnonzero(samples.near)
    if near.size <= 2 * _SAMPLES:
        return near, samples.weight[near]
    weight = samples.weight if samples.weight[near].any() else np.ones_like(samples.weight)
    whole = float(weight[near].sum())
    kept = np.zeros(weight.size)
    for state in (samples.seen, samples.hidden, samples.unknown):
        members = np.flatnonzero(state & (weight > 0))
        if not members.size:
            continue
        upto = np.cumsum(weight[members])
        count = max(1, round(_SAMPLES * float(upto[-1]) / whole))
        middles = (np.arange(count) + 0.5) / count * upto[-1]
        np.add.at(kept, members[np.searchsorted(upto, middles)], upto[-1] / count)
    clearance = np.nan_to_num(samples.clearance_m[near], nan=-np.inf)
    best = near[np.argsort(-clearance, kind="stable")[:_SAMPLES]]
    chosen = np.union1d(np.flatnonzero(kept), best)
    return chosen, kept[chosen]


def _add_edges(entry: dict[str, Any], samples: Judged, place_m: float) -> None:
    """Plus-minus of the edges of what is seen, from the distance of the sample that makes each."""
    for side in ("left", "right"):
        edge_deg = entry[f"{side}_edge_true_deg"]
        seen = np.flatnonzero(samples.seen)
        if edge_deg is None or not seen.size:
            continue
        away = np.abs((samples.bearing_deg[seen] - edge_deg + 180.0) % 360.0 - 180.0)
        distance_m = samples.distance_m[seen[int(np.argmin(away))]]
        entry[f"{side}_edge_plus_minus_deg"] = float(bearing_plus_minus_deg(distance_m, place_m))
