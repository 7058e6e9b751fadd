"""Which cover hides dead ground, and which of it the ground itself hides."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.reading.ground.behind_crests import posts_of
from hillsight.reading.ground.regions import UNCERTAIN
from hillsight.reading.what_hides import NOTHING, names_of_codes, what_hides, what_hides_posts
from hillsight.words.cover import GROUND, hider_words
from hillsight.words.quantities import hectares

if TYPE_CHECKING:
    import geopandas

    from hillsight.arrays import Bytes, Floats
    from hillsight.reading.view import View

#: Less ground than this is not worth a word, ha.
_LEAST_HA = 0.05
_LAYERS = ("dead_ground", "dead_ground_by_crest")


def add_hidden_by(view: View, frames: dict[str, geopandas.GeoDataFrame]) -> list[str]:
    """Tell in the layers of dead ground what hides each piece; and how much each kind of cover hides.

    Nothing is told where nothing is known of cover.

    Parameters
    ----------
    frames : with ``dead_ground`` and ``dead_ground_by_crest``; their columns hidden_by and
        hidden_by_distance_m are filled here

    Returns
    -------
    sentences without the station's name, none where cover hides nothing
    """
    found = what_hides_posts(view)
    if found is None:
        return []
    codes, away_m = found
    for layer in _LAYERS:
        frame = frames[layer]
        kinds, distances_m = _hiders(view, frame, codes, away_m)
        frames[layer] = frame.assign(hidden_by=kinds, hidden_by_distance_m=distances_m)
    return [*_shares(view, codes), *_uncertain(view)]


def _hiders(
    view: View, frame: geopandas.GeoDataFrame, codes: Bytes, away_m: Floats
) -> tuple[list[str | None], list[float | None]]:
    """What hides most posts of each piece of ground, and how far off that stands, in the middle of them."""
    polygons = frame.geometry.to_numpy()
    names = names_of_codes(view)
    owner = posts_of(view, polygons)
    at = np.flatnonzero((owner.ravel() >= 0) & (codes.ravel() != NOTHING))
    of, code = owner.ravel()[at], codes.ravel()[at].astype(np.int64)
    hits = np.zeros((len(polygons), len(names)), np.int64)
    np.add.at(hits, (of, code), 1)
    main = np.argmax(hits, axis=1) if len(polygons) else np.empty(0, np.int64)
    kinds: list[str | None] = [names[code] for code in main]
    distances_m: list[float | None] = [None] * len(polygons)
    chosen = at[code == main[of]]
    crest_m = away_m.ravel()
    order = np.lexsort((crest_m[chosen], owner.ravel()[chosen]))
    chosen = chosen[order]
    piece, first, count = np.unique(owner.ravel()[chosen], return_index=True, return_counts=True)
    middle = chosen[first + (count - 1) // 2]
    for k, distance_m in zip(piece, _on_the_ground(view, middle, crest_m[middle]), strict=True):
        distances_m[int(k)] = float(distance_m)
    without = np.flatnonzero(hits.sum(axis=1) == 0)
    if without.size:
        inside = shapely.get_coordinates(shapely.point_on_surface(polygons[without]))
        target_m = view.viewing.target_height_m
        seen = view.at(inside[:, 0], inside[:, 1], target_m)
        rows, columns = view.grid.to_array(inside[:, 0], inside[:, 1])
        heights_m = np.full(rows.size, target_m)
        crests_m = seen.crest_distance_m
        told, _ = what_hides(view.surface, view.eye, rows, columns, heights_m, crests_m)
        for k, kind in zip(without, told, strict=True):
            kinds[int(k)] = kind
    return kinds, distances_m


def _on_the_ground(view: View, posts: Floats, crest_m: Floats) -> Floats:
    """Ground distance of the places so far along the ways to some posts."""
    rows, columns = np.divmod(posts, view.grid.columns)
    easting_m, northing_m = view.grid.to_map(rows.astype(float), columns.astype(float))
    with np.errstate(invalid="ignore", divide="ignore"):
        share = crest_m.astype(np.float64) / view.grid_distance_m(easting_m, northing_m)
    share = np.nan_to_num(share)
    _, distance_m = view.measure(
        view.easting_m + share * (easting_m - view.easting_m),
        view.northing_m + share * (northing_m - view.northing_m),
    )
    return distance_m


def _shares(view: View, codes: Bytes) -> list[str]:
    """How much of the hidden ground each kind of cover hides."""
    post_ha = view.grid.spacing_x_m * view.grid.spacing_y_m / 10_000
    count = np.bincount(codes.ravel(), minlength=len(names_of_codes(view)))
    by_cover = [
        (count[code] * post_ha, kind)
        for code, kind in enumerate(names_of_codes(view))
        if kind not in (None, GROUND) and count[code] * post_ha >= _LEAST_HA
    ]
    if not by_cover:
        return []
    listed = ", ".join(
        f"{hectares(area_ha)} by {hider_words(kind)}" for area_ha, kind in sorted(by_cover)[::-1]
    )
    return [f"of the ground that is out of view, {listed}; the rest by the ground itself"]


def _uncertain(view: View) -> list[str]:
    post_ha = view.grid.spacing_x_m * view.grid.spacing_y_m / 10_000
    area_ha = float(((view.classes == UNCERTAIN) & view.within_reach).sum()) * post_ha
    if not area_ha:
        return []
    return [f"{hectares(area_ha)} of the ground are uncertain: seen through leafy woods, or inside cover"]
