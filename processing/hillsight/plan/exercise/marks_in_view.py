"""What many places see of tops, spurs and streams: how high a top stands, on which side a spur lies."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from hillsight.reading.things.samples import sample
from hillsight.sight.points import see_points
from hillsight.sight.viewing import Eye
from hillsight.words.angles import signed_deg

if TYPE_CHECKING:
    import geopandas
    import pandas as pd

    from hillsight.arrays import Flags, Floats, Integers
    from hillsight.ground.grid import Surface
    from hillsight.plan.exercise.quick_looks import QuickLooks
    from hillsight.sight.maxima import Maxima

#: Tops are told of to here; spurs and streams between these. Common practice, no source.
_TOPS_WITHIN_M = 6_000.0
_LINES_WITHIN_M = (100.0, 1_500.0)

#: A line stands in view by spots so far apart.
_SPOTS_APART_M = 150.0

#: A top shows by the ground just below it: it may be hidden by so much, metres. Common practice, no source.
BELOW_TOP_M = 2.0

#: Tops asked about at most, the highest first.
_MOST_TOPS = 24

_TOPS = ("summit", "top", "peak", "hill", "knoll", "mountain", "fell")


def is_top(frame: geopandas.GeoDataFrame) -> pd.Series[bool]:
    """Which rows of a table of things are tops given as points."""
    return (frame.geometry.geom_type == "Point") & frame["kind"].fillna("").str.casefold().isin(_TOPS)


@dataclass(frozen=True)
class _Seen:
    """What n places see of m spots: (n, m) whether, bearing (true), vertical angle and distance."""

    shown: Flags
    bearing_deg: Floats
    angle_deg: Floats
    away_m: Floats

    def within(self, direction_deg: float, half_deg: float) -> Flags:
        """(n, m) whether each shows in a picture in that direction."""
        return self.shown & (np.abs(signed_deg(self.bearing_deg - direction_deg)) <= half_deg)


@dataclass(frozen=True)
class MarksInView:
    """What places see of some things.

    tops : each what it is called with the columns of ``top_seen`` that it stands for
    spur_seen, water_seen : spots of the spurs, and of the streams that are called ``water``
    """

    tops: tuple[tuple[str, Integers], ...]
    top_seen: _Seen | None
    water: str
    spur_seen: _Seen | None
    water_seen: _Seen | None

    @classmethod
    def of(
        cls,
        looks: QuickLooks,
        frame: geopandas.GeoDataFrame,
        surface: Surface,
        maxima: Maxima,
        eye_height_m: float,
        drop_per_m: float,
        convergence_deg: float,
    ) -> MarksInView:
        """Look at the tops, spurs and streams of a table (``landform_features``) from all places."""

        def seen(
            geometries: list[object], least_m: float, most_m: float, above_m: float = 0.0
        ) -> _Seen | None:
            spots = [sample(one, _SPOTS_APART_M) for one in geometries]
            if not spots:
                return None
            spots_m = np.column_stack(
                [
                    np.concatenate([getattr(one, name) for one in spots])
                    for name in ("easting_m", "northing_m")
                ]
            )
            return _look(
                looks,
                spots_m,
                surface,
                maxima,
                (eye_height_m, above_m),
                drop_per_m,
                convergence_deg,
                (least_m, most_m),
            )

        kinds = frame["kind"].fillna("").str.casefold()
        tops = frame[is_top(frame)].reset_index(drop=True)
        lines = frame.geometry.geom_type.isin(["LineString", "MultiLineString"])
        spurs = frame[lines & (kinds == "spur")]
        # Streams of the map; where it has none, the re-entrants that they run in.
        water, streams = "stream", frame[lines & (kinds == "stream")]
        if not len(streams):
            water, streams = "re-entrant", frame[lines & (kinds == "re-entrant")]
        return cls(
            _called(tops),
            seen(list(tops.geometry), 50.0, _TOPS_WITHIN_M, BELOW_TOP_M),
            water,
            seen(list(spurs.geometry), *_LINES_WITHIN_M),
            seen(list(streams.geometry), *_LINES_WITHIN_M),
        )

    def heights_deg(self, directions_deg: Floats, half_deg: float) -> Iterator[tuple[str, Floats]]:
        """How high each top stands, and the highest of each kind: (n, d) degrees above the eye's level."""
        seen = self.top_seen
        if seen is None:
            return
        for what, which in self.tops:
            found = np.full((seen.shown.shape[0], len(directions_deg)), np.nan)
            for d, direction in enumerate(directions_deg):
                # Not at the very edge of the picture.
                inside = seen.within(float(direction), 0.8 * half_deg)[:, which]
                angle = np.where(inside, seen.angle_deg[:, which], -np.inf).max(axis=1)
                found[:, d] = np.where(np.isfinite(angle), angle, np.nan)
            yield what, found

    def spurs_beside(self, directions_deg: Floats, half_deg: float) -> Iterator[tuple[str, str, Floats]]:
        """How far right of the nearest stream the nearest spur lies, (n, d) degrees."""
        spurs, water = self.spur_seen, self.water_seen
        if spurs is None or water is None:
            return
        found = np.full((spurs.shown.shape[0], len(directions_deg)), np.nan)
        rows = np.arange(len(found))
        for d, direction in enumerate(directions_deg):
            nearest = []
            for one in (spurs, water):
                away = np.where(one.within(float(direction), 0.8 * half_deg), one.away_m, np.inf)
                at = away.argmin(axis=1)
                nearest.append(np.where(np.isfinite(away[rows, at]), one.bearing_deg[rows, at], np.nan))
            found[:, d] = signed_deg(nearest[0] - nearest[1])
        yield "spur", self.water, found


def _called(tops: geopandas.GeoDataFrame) -> tuple[tuple[str, Integers], ...]:
    """Tops by their names, the highest first; where none has one, by their kinds."""
    named = [k for k, name in enumerate(tops["name"]) if isinstance(name, str)]
    if named:
        return tuple((str(tops["name"][k]), np.array([k])) for k in named[:_MOST_TOPS])
    return tuple((kind, rows.index.to_numpy()) for kind, rows in tops.groupby("kind"))


def _look(
    looks: QuickLooks,
    spots_m: Floats,
    surface: Surface,
    maxima: Maxima,
    heights_m: tuple[float, float],
    drop_per_m: float,
    convergence_deg: float,
    between_m: tuple[float, float],
) -> _Seen:
    """Look at spots from all places; heights_m are the eye's and the spots' above the ground."""
    (eye_height_m, above_m), (least_m, most_m) = heights_m, between_m
    east = spots_m[None, :, 0] - looks.easting_m[:, None]
    north = spots_m[None, :, 1] - looks.northing_m[:, None]
    away_m = np.hypot(east, north)
    shown = np.zeros(away_m.shape, bool)
    angle_deg = np.full(away_m.shape, np.nan)
    rows, columns = surface.grid.to_array(spots_m[:, 0], spots_m[:, 1])
    for k in range(len(looks)):
        near = np.flatnonzero((away_m[k] >= least_m) & (away_m[k] <= most_m))
        if not near.size:
            continue
        level_m = float(looks.ground_m[k]) + eye_height_m
        eye = Eye.on(surface.grid, float(looks.easting_m[k]), float(looks.northing_m[k]), level_m, drop_per_m)
        sight = see_points(surface, eye, rows[near], columns[near], above_m, maxima)
        shown[k, near] = sight.clearance_m >= 0.0
        angle_deg[k, near] = np.degrees(np.arctan(sight.slope))
    bearing_deg = (np.degrees(np.arctan2(east, north)) + convergence_deg) % 360.0
    return _Seen(shown, bearing_deg, angle_deg, away_m)
