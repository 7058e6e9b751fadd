"""In what the views from several stations differ: figures by which places can be told apart, and sentences.

All views look over the same sector: bearings are compared as degrees from its left edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from hillsight.reading.drawn.landmarks import SEEN, feature_rows
from hillsight.reading.ground.brows import LEAST_DEPTH_M
from hillsight.words.angles import clockwise_deg
from hillsight.words.english import listed
from hillsight.words.quantities import rough_distance_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hillsight.arrays import Floats
    from hillsight.reading.drawn.drawn_view import DrawnView

#: What is hidden or clear by less than this (m) is too close to call. Common practice, no source.
CLOSE_M = 2.0

#: Skylines that differ by less (degrees) are not worth a word, nor tops that swap places over less.
#: Common practice, no source.
_LEAST_ANGLE_DEG, _LEAST_GAP_DEG = 0.3, 0.5

#: Brows nearer and farther than each other by less than this ratio are alike. Common practice, no source.
_BROW_RATIO = 1.5

#: Features told of by name in one sentence at most.
_MOST_NAMES = 6


@dataclass(frozen=True)
class SeenFrom:
    """How one feature shows from one station.

    state : as in the layer ``bearing_list``; "outside" where it lies beside the sector
    bearing_true_deg : of the listed point
    across_deg : degrees clockwise from the sector's left edge
    hidden_by_m : how much taller it must stand to show; NaN unless hidden
    """

    state: str
    bearing_true_deg: float
    across_deg: float
    hidden_by_m: float

    @property
    def is_seen(self) -> bool:
        """Whether anything of it is seen in the sector, or may be."""
        return self.state in SEEN

    @property
    def is_close(self) -> bool:
        """Whether it is too close to call."""
        return self.state == "uncertain" or (self.state == "hidden" and not self.hidden_by_m >= CLOSE_M)


@dataclass(frozen=True)
class ComparedFeature:
    """A named feature and how it shows from each station, in their order.

    place : of the feature among those given
    """

    place: int
    name: str
    seen_from: tuple[SeenFrom, ...]

    @property
    def tells(self) -> bool:
        """Whether it is plainly seen from some stations and plainly not from others."""
        plain = [one for one in self.seen_from if not one.is_close]
        return any(one.is_seen for one in plain) and not all(one.is_seen for one in plain)


def compared_features(views: Sequence[DrawnView]) -> list[ComparedFeature]:
    """Named features that are seen from one of the stations at least, from left to right."""
    rows = [feature_rows(view) for view in views]
    found = []
    for place in sorted(set.intersection(*(set(one) for one in rows)) if rows else ()):
        shows = tuple(_seen_from(view, one[place]) for view, one in zip(views, rows, strict=True))
        name = rows[0][place]["name"]
        if isinstance(name, str) and name and any(one.is_seen for one in shows):
            found.append(ComparedFeature(place, name, shows))
    return sorted(found, key=lambda one: (np.mean([s.across_deg for s in one.seen_from]), one.place))


def _seen_from(view: DrawnView, row: dict[str, object]) -> SeenFrom:
    left_deg, span_deg = view.left_grid_deg, view.span_deg
    across = float(clockwise_deg(left_deg, float(row["bearing_grid_deg"])))  # type: ignore[arg-type]
    by = row["hidden_by_m"]
    state = str(row["state"]) if across <= span_deg else "outside"
    return SeenFrom(
        state,
        float(row["bearing_true_deg"]),  # type: ignore[arg-type]
        across,
        float("nan") if by is None else float(by),  # type: ignore[arg-type]
    )


def difference_sentences(
    labels: Sequence[str], views: Sequence[DrawnView], features: Sequence[ComparedFeature]
) -> list[str]:
    """What tells the views apart, in sentences from the figures themselves; what is alike is left out.

    Parameters
    ----------
    labels : of the stations, in the order of the views
    features : of the same views
    """
    sentences = [_highest(labels, views), _greatest_gap(labels, views), _brows(labels, views)]
    sentences += _seen_here_not_there(labels, features)
    sentences.append(_order(labels, features))
    return [sentence for sentence in sentences if sentence]


def highest_of_skyline(view: DrawnView) -> tuple[float, float, float]:
    """True bearing, vertical angle (degrees) and grid distance (m) of the skyline's highest place."""
    fan = view.fan
    at = int(np.nanargmax(fan.sky_deg))
    bearing = (fan.bearing_grid_deg[at] + view.convergence_deg) % 360.0
    return float(bearing), float(fan.sky_deg[at]), float(fan.sky_m[at])


def _highest(labels: Sequence[str], views: Sequence[DrawnView]) -> str:
    told = []
    for label, view in zip(labels, views, strict=True):
        if not np.isfinite(view.fan.sky_deg).any():
            continue
        bearing, angle, distance_m = highest_of_skyline(view)
        up = f"{angle:+.1f}°".replace("-", "−")
        told.append(f"from {label} at {bearing:05.1f}° ({up}, {rough_distance_words(distance_m)} off)")
    return f"The skyline stands highest {listed(told)}." if told else ""


def skyline_gap(first: DrawnView, second: DrawnView) -> tuple[float, float, float]:
    """Where two skylines differ most at the same true bearing: bearing, angle of the first, of the second.

    Degrees; NaN where no bearing has both.
    """
    across = first.fan.bearing_grid_deg - first.left_grid_deg
    other = np.interp(across, second.fan.bearing_grid_deg - second.left_grid_deg, second.fan.sky_deg)
    gap = np.abs(first.fan.sky_deg - other)
    if not np.isfinite(gap).any():
        return float("nan"), float("nan"), float("nan")
    at = int(np.nanargmax(gap))
    bearing = (first.fan.bearing_grid_deg[at] + first.convergence_deg) % 360.0
    return float(bearing), float(first.fan.sky_deg[at]), float(other[at])


def _greatest_gap(labels: Sequence[str], views: Sequence[DrawnView]) -> str:
    told = []
    for (one, first), (two, second) in combinations(zip(labels, views, strict=True), 2):
        bearing, here, there = skyline_gap(first, second)
        if not abs(here - there) >= _LEAST_ANGLE_DEG:
            continue
        high, low = (one, two) if here > there else (two, one)
        told.append(f"{abs(here - there):.1f}° higher from {high} than from {low} at {bearing:05.1f}°")
    return f"The skyline stands {listed(told)}; nowhere do these differ more." if told else ""


def brow_distances_m(view: DrawnView) -> Floats:
    """Grid distance of the brow on each bearing of a view; NaN where ground stays in view."""
    fan = view.fan
    deep = fan.depth_m >= LEAST_DEPTH_M
    first = fan.crest_m[np.arange(len(deep)), np.argmax(deep, axis=1)]
    found: Floats = np.where(deep.any(axis=1), first, np.nan)
    return found


def _brows(labels: Sequence[str], views: Sequence[DrawnView]) -> str:
    middles = []
    for view in views:
        known = brow_distances_m(view)
        known = known[np.isfinite(known)]
        middles.append(float(np.median(known)) if known.size else float("nan"))
    finite = [middle for middle in middles if np.isfinite(middle)]
    if not finite or (len(finite) == len(middles) and max(finite) < _BROW_RATIO * min(finite)):
        return ""
    told = [
        f"{rough_distance_words(middle)} from {label}" if np.isfinite(middle) else f"nowhere from {label}"
        for label, middle in zip(labels, middles, strict=True)
    ]
    return f"The brow, the nearest crest, lies at half of its bearings no farther than {listed(told)}."


def _seen_here_not_there(labels: Sequence[str], features: Sequence[ComparedFeature]) -> list[str]:
    """One sentence for each set of stations that alone see some features."""
    groups: dict[tuple[tuple[int, ...], tuple[int, ...]], list[str]] = {}
    for feature in features:
        if not feature.tells:
            continue
        plain = [i for i, one in enumerate(feature.seen_from) if not one.is_close]
        seen = tuple(i for i in plain if feature.seen_from[i].is_seen)
        unseen = tuple(i for i in plain if not feature.seen_from[i].is_seen)
        groups.setdefault((seen, unseen), []).append(feature.name)
    sentences = []
    for (seen, unseen), names in groups.items():
        more = len(names) - _MOST_NAMES
        told = names if more <= 1 else [*names[:_MOST_NAMES], f"{more} more"]
        here, there = (listed([labels[i] for i in some]) for some in (seen, unseen))
        sentences.append(f"Seen from {here}, and not from {there}: {listed(told)}.")
    return sentences


def _order(labels: Sequence[str], features: Sequence[ComparedFeature]) -> str:
    """The pair of features, seen from two stations, that swap sides by most."""
    best: tuple[float, str] = (0.0, "")
    for (i, one), (j, two) in combinations(list(enumerate(labels)), 2):
        both = [f for f in features if f.seen_from[i].is_seen and f.seen_from[j].is_seen]
        for first, second in combinations(both, 2):
            here = second.seen_from[i].across_deg - first.seen_from[i].across_deg
            there = second.seen_from[j].across_deg - first.seen_from[j].across_deg
            if here * there >= 0 or min(abs(here), abs(there)) < _LEAST_GAP_DEG:
                continue
            if max(abs(here), abs(there)) > 90:  # on the far sides of a round neither is left of the other
                continue
            left, right = (first, second) if here > 0 else (second, first)
            words = (
                f"{left.name} stands {abs(here):.1f}° to the left of {right.name} from {one}, and "
                f"{abs(there):.1f}° to its right from {two}."
            )
            best = max(best, (min(abs(here), abs(there)), words))
    return best[1]
