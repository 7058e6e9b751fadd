"""The bearing list: map features in order from left to right, with what is seen of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import pandas as pd
import shapely

from hillsight.ground.geodesy import grid_bearing_deg
from hillsight.ground.magnetic import magnetic_bearing_deg
from hillsight.reading.doubt.trust import Limits
from hillsight.reading.things.against_sky import sky_shares
from hillsight.reading.things.extent import scattered_extent_deg
from hillsight.reading.things.judged import judge
from hillsight.reading.things.listed_doubt import add_doubt
from hillsight.reading.things.relative_height import HeightWords
from hillsight.reading.what_hides import what_hides
from hillsight.schema.frames import BUT_STATION, frame_of_rows

if TYPE_CHECKING:
    from hillsight.arrays import Floats
    from hillsight.ground.accuracy import ErrorModel
    from hillsight.ground.magnetic import Declination
    from hillsight.reading.ground.crest_lines import CrestLines
    from hillsight.reading.things.judged import Judged
    from hillsight.reading.view import SightLines

#: What an entry holds for the work alone, besides the columns of the layer.
_FOR_THE_WORK = ("place", "judged", "geometry", "crest_grid_m")

#: A feature seen in all directions but for gaps below this surrounds the station.
_ALL_ROUND_GAP_DEG = 5.0

#: A point so near the station, m on the grid, is where its person stands: it has no bearing from there.
_STOOD_ON_M = 2.0

#: States in which something of a feature is seen.
SEEN_STATES = ("visible", "partly")


@dataclass(frozen=True)
class Listing:
    """A bearing list, and the samples that each of its rows was judged by, in the same order."""

    frame: geopandas.GeoDataFrame
    judged: list[Judged]


def bearing_list(
    view: SightLines,
    features: geopandas.GeoDataFrame,
    lines: CrestLines | None,
    *,
    declination: Declination | None = None,
    from_bearing_deg: float = 0.0,
    to_bearing_deg: float | None = None,
    height_words: HeightWords | None = None,
    errors: ErrorModel | None = None,
    limits: Limits | None = None,
) -> Listing:
    """List features by true bearing, clockwise from a bearing.

    Parameters
    ----------
    view : the view; features are judged out to its reach
    features : columns name, kind, evidence_class, target_height_m, source and geometry in the view's CRS;
        landform and description too where landforms are among them
    lines : the view's crest lines, to name what hides a hidden feature; None to leave that out
    declination : magnetic declination at the station, for compass bearings
    from_bearing_deg : true bearing that the order starts at
    to_bearing_deg : if given, only the sector clockwise up to this true bearing is listed; a feature
        that lies partly in it is judged by the part inside; the starting bearing again means all round
    height_words : where level ends, and well above and well below begin
    errors : what errs, and how much; None leaves the columns of doubt null
    limits : probabilities of being seen between which a feature is uncertain

    Returns
    -------
    the frame with the columns of the layer ``bearing_list`` but for ``station``, in its order; a row's index
    is the place of its feature among those given. A point that the station stands on (within 2 m) is not
    listed. The point of a feature is the seen place in the middle of
    what is seen; of a hidden one, the place that would show first; otherwise its middle.
    """
    sector = None
    if to_bearing_deg is not None and (to_bearing_deg - from_bearing_deg) % 360.0 != 0.0:
        sector = (from_bearing_deg, to_bearing_deg)
    words = height_words or HeightWords()
    entries = [
        _entry(view, feature, judged, lines, words) | {"place": place, "judged": judged}
        for place, (feature, judged) in enumerate(
            zip(features.itertuples(index=False), judge(view, features, sector), strict=True)
        )
        if judged is not None and not _stood_on(view, feature.geometry)
    ]
    entries.sort(
        key=lambda e: ((e["bearing_true_deg"] - from_bearing_deg) % 360.0, e["distance_m"], str(e["name"]))
    )
    heights_m = features["target_height_m"].to_numpy(float)
    heights_m = np.where(np.isnan(heights_m), view.viewing.target_height_m, heights_m)
    _fill_hidden(entries, view, lines, heights_m)
    for entry, share in zip(entries, sky_shares(view, [e["judged"] for e in entries]), strict=True):
        entry["sky_share"] = share
    if errors is not None:
        own_m = [float(heights_m[e["place"]]) for e in entries]
        add_doubt(view, entries, [e["judged"] for e in entries], own_m, errors, limits or Limits())
    _fill_gaps(entries, round_the_circle=sector is None)
    for rank, entry in enumerate(entries, 1):
        entry["rank"] = rank
        true_deg = entry["bearing_true_deg"]
        entry["bearing_magnetic_deg"] = (
            None
            if declination is None
            else float(magnetic_bearing_deg(true_deg, declination.declination_deg))
        )
    rows = [{name: v for name, v in e.items() if name not in _FOR_THE_WORK} for e in entries]
    shapes = [e["geometry"] for e in entries]
    frame = frame_of_rows("bearing_list", rows, shapes, view.grid.crs, but=BUT_STATION)
    frame.index = pd.Index([e["place"] for e in entries], dtype=np.int64)
    return Listing(frame, [e["judged"] for e in entries])


def _stood_on(view: SightLines, shape: shapely.Geometry) -> bool:
    """Whether a feature is a point, or points, at the station itself."""
    if shapely.get_dimensions(shape) != 0:
        return False
    east, north = shapely.get_coordinates(shape).T
    return bool((view.grid_distance_m(east, north) <= _STOOD_ON_M).all())


def _fill_gaps(entries: list[dict[str, Any]], *, round_the_circle: bool) -> None:
    """Clockwise angle from each seen feature to the next seen one."""
    seen = [e for e in entries if e["state"] in SEEN_STATES]
    for entry in entries:
        entry["gap_to_next_deg"] = None
    for here, after in zip(seen, seen[1:] + seen[:1], strict=True):
        if len(seen) > 1 and (round_the_circle or here is not seen[-1]):
            here["gap_to_next_deg"] = (after["bearing_true_deg"] - here["bearing_true_deg"]) % 360.0


def _entry(
    view: SightLines, feature: Any, judged: Judged, lines: CrestLines | None, words: HeightWords
) -> dict[str, Any]:
    """Everything about one feature."""
    state = judged.state
    at = _listed(state, judged)
    here_e, here_n = judged.easting_m[at : at + 1], judged.northing_m[at : at + 1]
    entry: dict[str, Any] = {
        "name": feature.name,
        "kind": feature.kind,
        "evidence_class": feature.evidence_class,
        "source": feature.source,
        "landform": getattr(feature, "landform", None),
        "description": getattr(feature, "description", None),
        "state": state,
        "bearing_true_deg": float(judged.bearing_deg[at]),
        "bearing_grid_deg": float(grid_bearing_deg(view.easting_m, view.northing_m, here_e, here_n)[0]),
        "distance_m": float(judged.distance_m[at]),
    }
    entry.update(_heights(view, judged.ground_m[at], judged.slope[at], judged.distance_m[at]))
    entry.update(_seen_part(judged))
    entry["relative_height"] = _height_word(words, view, feature, judged, at)
    if state == "hidden":
        entry["crest_grid_m"] = float(judged.crest_distance_m[at])
        entry["hidden_by_m"] = float(-judged.clearance_m[at])
    height_m = entry["height_m"]
    entry["geometry"] = shapely.Point(here_e[0], here_n[0], np.nan if height_m is None else height_m)
    return entry


def _listed(state: str, judged: Judged) -> int:
    """Index of the sample that stands for the feature in the list."""
    if state == "hidden":
        return int(np.argmax(np.where(judged.hidden, judged.clearance_m, -np.inf)))
    seen = judged.seen
    group = np.flatnonzero(seen) if seen.any() else np.arange(seen.size)
    bearing = judged.bearing_deg[group]
    left, _ = scattered_extent_deg(bearing)
    order = np.lexsort((judged.distance_m[group], (bearing - left) % 360.0))
    return int(group[order[(group.size - 1) // 2]])


def _heights(view: SightLines, ground_m: float, slope: float, distance_m: float) -> dict[str, float | None]:
    if not np.isfinite(ground_m):
        return dict.fromkeys(("height_m", "height_difference_m", "vertical_angle_deg", "slope_distance_m"))
    difference_m = float(ground_m) - view.eye.level_m
    return {
        "height_m": float(ground_m),
        "height_difference_m": difference_m,
        "vertical_angle_deg": float(np.degrees(np.arctan(slope))) if np.isfinite(slope) else None,
        "slope_distance_m": float(np.hypot(distance_m, difference_m)),
    }


def _seen_part(judged: Judged) -> dict[str, float | None]:
    """Share, edges, nearest and highest of what is seen."""
    seen = judged.seen
    part: dict[str, float | None] = {
        "visible_share": judged.visible_share,
        "left_edge_true_deg": None,
        "right_edge_true_deg": None,
        "nearest_seen_m": None,
        "highest_seen_m": None,
        "highest_seen_angle_deg": None,
    }
    if seen.any():
        left, right = scattered_extent_deg(judged.bearing_deg[seen])
        if right != left and (left - right) % 360.0 < _ALL_ROUND_GAP_DEG:
            left, right = 0.0, 360.0  # it surrounds the station: it has no edges
        part["left_edge_true_deg"], part["right_edge_true_deg"] = left, right
        part["nearest_seen_m"] = float(judged.distance_m[seen].min())
        highest = _highest(judged)
        part["highest_seen_m"] = float(judged.ground_m[highest])
        part["highest_seen_angle_deg"] = float(np.degrees(np.arctan(judged.slope[highest])))
    return part


def _highest(judged: Judged) -> int:
    """Index of the highest sample that is seen."""
    return int(np.argmax(np.where(judged.seen, judged.ground_m, -np.inf)))


def _height_word(
    words: HeightWords, view: SightLines, feature: Any, judged: Judged, listed: int
) -> str | None:
    """Word for the top of its highest part that is seen; where nothing is, of the listed point."""
    at = _highest(judged) if judged.seen.any() else listed
    tall_m = feature.target_height_m
    tall_m = view.viewing.target_height_m if np.isnan(tall_m) else tall_m
    above_m = float(judged.ground_m[at] + tall_m - view.eye.level_m)
    return words.word(float(np.degrees(np.arctan(judged.slope[at]))), above_m)


def _fill_hidden(
    entries: list[dict[str, Any]], view: SightLines, lines: CrestLines | None, heights_m: Floats
) -> None:
    """What hides each hidden feature, and how far away: looked up for all of them at once.

    heights_m : of all features above the ground
    """
    hidden = [entry for entry in entries if entry["state"] == "hidden"]
    if not hidden:
        return
    points = [entry["geometry"] for entry in hidden]
    here_e, here_n = shapely.get_x(points), shapely.get_y(points)
    rows, columns = view.grid.to_array(here_e, here_n)
    crest_m = np.array([entry["crest_grid_m"] for entry in hidden])
    own_m = heights_m[[entry["place"] for entry in hidden]]
    kinds, crest_m = what_hides(view.surface, view.eye, rows, columns, own_m, crest_m)
    share = crest_m / view.grid_distance_m(here_e, here_n)
    crest_e = view.easting_m + share * (here_e - view.easting_m)
    crest_n = view.northing_m + share * (here_n - view.northing_m)
    within_m = 3 * float(np.hypot(view.grid.spacing_x_m, view.grid.spacing_y_m))
    _, distances_m = view.measure(crest_e, crest_n)
    crests = np.zeros(len(hidden), int) if lines is None else lines.nearest(crest_e, crest_n, within_m)
    for entry, distance_m, crest, kind in zip(hidden, distances_m, crests, kinds, strict=True):
        entry["hidden_by_distance_m"] = float(distance_m)
        entry["hidden_by"] = kind
        entry["hidden_by_crest"] = int(crest) or None
