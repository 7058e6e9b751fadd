"""What hides hidden things: the ground, or the cover that stands on it, and which.

The ground hides whatever it would hide with nothing on it. Of the rest, the cover hides that stands where the
sight line is blocked: a screen it crosses there, else the tallest part of what stands on the posts about.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.ground.grid import corner_posts
from hillsight.sight.points import see_points
from hillsight.sight.posts import see_posts
from hillsight.sight.under_cover import eye_is_inside
from hillsight.words.cover import GROUND, SURFACE_KIND

if TYPE_CHECKING:
    from hillsight.arrays import Bytes, Flags, Floats, Objects
    from hillsight.ground.cover import Cover
    from hillsight.ground.grid import Grid, Surface
    from hillsight.reading.view import View
    from hillsight.sight.viewing import Eye

#: A screen that blocks stands so near the place worked out, m: distances of posts are told in float32.
_SCREEN_WITHIN_M = 0.05
#: Codes of what hides a post, besides those of kinds of cover, which follow.
NOTHING, BY_GROUND = 0, 1


def kinds_at(surface: Surface, rows: Floats, columns: Floats) -> Bytes:
    """Kind of the cover at places on the lattice, (n,) index into ``Cover.kinds``; 0 where none stands."""
    cover = surface.cover
    kind = np.zeros(rows.size, np.uint8)
    if cover is None or not rows.size:
        return kind
    corner_rows, corner_columns, weights = corner_posts(rows, columns, cover.shape)
    share_m = weights * cover.tallest_m[corner_rows, corner_columns]
    best = np.argmax(share_m, axis=0)
    every = np.arange(rows.size)
    stands = share_m[best, every] > 0
    kind[stands] = cover.kind[corner_rows[best, every], corner_columns[best, every]][stands]
    if len(cover.screens):
        place, screen = _screens_at(cover, surface.grid, rows, columns)
        kind[place] = cover.screens.kind[screen]
    return kind


def _screens_at(cover: Cover, grid: Grid, rows: Floats, columns: Floats) -> tuple[Objects, Objects]:
    """Places (by number) on which a screen stands, and that screen."""
    screens, spacing_m = cover.screens, (grid.spacing_x_m, grid.spacing_y_m)
    ends = np.stack(
        [
            np.column_stack([screens.column, screens.row]) * spacing_m,
            np.column_stack([screens.to_column, screens.to_row]) * spacing_m,
        ],
        axis=1,
    )
    tree = shapely.STRtree(shapely.linestrings(ends))
    points = shapely.points(np.column_stack([columns, rows]) * spacing_m)
    place, screen = tree.query_nearest(points, max_distance=_SCREEN_WITHIN_M, all_matches=False)
    return place, screen


def what_hides(
    surface: Surface, eye: Eye, rows: Floats, columns: Floats, heights_m: Floats, crest_distance_m: Floats
) -> tuple[list[str | None], Floats]:
    """What hides each of some hidden targets, and how far off on the grid that is.

    Parameters
    ----------
    rows, columns : (n,) of the targets on the surface's lattice
    heights_m : (n,) of the targets above the ground
    crest_distance_m : (n,) where the lines to them are blocked, as ``PointSight`` has it

    Returns
    -------
    the ground, or a kind of cover, None where no cover is known; distances (n,), metres: where the ground
    hides it, of the ground which does
    """
    if surface.cover is None:
        return [None] * rows.size, crest_distance_m
    bare = see_points(replace(surface, cover=None), eye, rows, columns, heights_m)
    names = _names(surface.cover)
    by_cover = ~(bare.clearance_m < 0)
    code = np.full(rows.size, BY_GROUND)
    at = _on_the_way(surface.grid, eye, rows[by_cover], columns[by_cover], crest_distance_m[by_cover])
    code[by_cover] = BY_GROUND + kinds_at(surface, *at)
    return [names[one] for one in code], np.where(by_cover, crest_distance_m, bare.crest_distance_m)


def what_hides_posts(view: View) -> tuple[Bytes, Floats] | None:
    """What hides each post within the reach, and how far off on the grid, (rows, columns) each.

    The first is NOTHING, BY_GROUND, or that + a kind's number. None where nothing is known of cover.
    """
    surface, eye = view.surface, view.eye
    if surface.cover is None:
        return None
    hidden: Flags = (view.posts.clearance_m < 0) & view.within_reach
    code = np.where(hidden, np.uint8(BY_GROUND), np.uint8(NOTHING))
    bare = see_posts(replace(surface, cover=None), eye, view.viewing.reach_m, view.viewing.target_height_m)
    distance_m = bare.crest_distance_m.astype(np.float64)
    by_cover = hidden & ~(bare.clearance_m < 0)
    distance_m[by_cover] = view.posts.crest_distance_m[by_cover]
    rows, columns = np.nonzero(by_cover)
    at = _on_the_way(surface.grid, eye, rows.astype(float), columns.astype(float), distance_m[by_cover])
    code[by_cover] = BY_GROUND + kinds_at(surface, *at)
    return code, distance_m


def names_of_codes(view: View) -> tuple[str | None, ...]:
    """What the codes of :func:`what_hides_posts` stand for."""
    return (None,) if view.surface.cover is None else _names(view.surface.cover)


def _names(cover: Cover) -> tuple[str | None, ...]:
    return (None, GROUND, *cover.kinds[1:])


def _on_the_way(
    grid: Grid, eye: Eye, rows: Floats, columns: Floats, distance_m: Floats
) -> tuple[Floats, Floats]:
    """Row and column of places so far along the ways from the eye to others."""
    down, right = rows - eye.row, columns - eye.column
    length_m = np.hypot(down * grid.spacing_y_m, right * grid.spacing_x_m)
    share = np.divide(distance_m, length_m, out=np.zeros(rows.size), where=length_m > 0)
    return (
        np.clip(eye.row + share * down, 0, grid.rows - 1),
        np.clip(eye.column + share * right, 0, grid.columns - 1),
    )


def inside_notes(label: str, surface: Surface, eye: Eye) -> list[str]:
    """A warning where the eye is below the top of the cover that it stands in."""
    if not eye_is_inside(surface, eye):
        return []
    row, column = np.array([eye.row]), np.array([eye.column])
    kind = surface.cover.kinds[int(kinds_at(surface, row, column)[0])] if surface.cover is not None else ""
    among = f"in the {kind}" if kind and kind != SURFACE_KIND else "in what stands on the ground there"
    return [
        f"{label}: the eye is {among}, below its top: what it would see is uncertain. "
        "Move the station to open ground, or check the cover there."
    ]
