"""What the printed sheets of an exercise show, laid out from what was judged."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from hillsight.ground.geodesy import grid_bearing_deg
from hillsight.jobs.exercise.landmarks import lying_words, seen_words
from hillsight.jobs.exercise.shown import grounds_of, page_reason, question_view, view_of
from hillsight.jobs.exercise.views import ground_view
from hillsight.jobs.exercise.words import cautions, looking_words, mistakes, norths_of, ruled_out, where_words
from hillsight.plan.exercise.marking import DECIDES
from hillsight.reading.ground import cover
from hillsight.reading.ground.crest_lines import crest_lines
from hillsight.sheets.exercise.extracts import cells, scale_for, shown_reach_m
from hillsight.sheets.exercise.question_sheet import EXTRACT_ROOM
from hillsight.sheets.exercise.sheet_data import SheetData, SheetPlace, Sight
from hillsight.sheets.map.frame import grid_scale_factor_at
from hillsight.words.angles import bearing_words

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas

    from hillsight.arrays import Floats
    from hillsight.jobs.exercise.laid_out import Shown
    from hillsight.jobs.exercise.views import PlaceView

#: Degrees between the points of a sector's rim.
_RIM_STEP_DEG = 3.0


def sheet_data(shown: Shown, scale: float | None, made_of: str, provenance: str) -> SheetData:
    """Everything on the sheets of an exercise.

    Parameters
    ----------
    scale : denominator of the extracts' scale; chosen by how far off the landmarks are if None
    made_of : where it comes from, in words that give nothing away; provenance : the same as JSON
    """
    judged = shown.judged
    exercise, inputs = judged.exercise, judged.scene.inputs
    order = exercise.by_letter()
    east_m, north_m = (
        float(np.mean([getattr(view.lines, name) for view in shown.views]))
        for name in ("easting_m", "northing_m")
    )
    factor = grid_scale_factor_at(inputs.terrain.crs, east_m, north_m)
    looks_deg = _looks_grid_deg(shown.views[order[0]])
    if scale is None:
        scale = scale_for(len(order), EXTRACT_ROOM, looks_deg, shown.ahead_m, factor)
    cell = cells(len(order), EXTRACT_ROOM).extracts[0]
    reach_m = shown_reach_m(cell, looks_deg, scale, factor)
    away_m = max(
        float(np.hypot(v.lines.easting_m - east_m, v.lines.northing_m - north_m)) for v in shown.views
    )
    return SheetData(
        title=exercise.title,
        question=exercise.question,
        picture=question_view(shown),
        places=tuple(_place(shown, number, reach_m) for number in order),
        surface=inputs.terrain.window(east_m, north_m, away_m + reach_m),
        features=inputs.features,
        width_deg=exercise.picture.width_deg,
        scale=scale,
        grid_scale_factor=factor,
        reasons=tuple(page_reason(shown, number, one) for number, one in enumerate(shown.reasons, 1)),
        mistakes=mistakes(shown),
        cautions=cautions(judged),
        north=norths_of(judged),
        made_of=made_of,
        provenance=provenance,
    )


def _looks_grid_deg(view: PlaceView) -> float:
    return (view.view.left_grid_deg + view.view.span_deg / 2.0) % 360.0


def _place(shown: Shown, number: int, reach_m: float) -> SheetPlace:
    exercise, view = shown.judged.exercise, shown.views[number]
    return SheetPlace(
        letter=exercise.letters()[number],
        name=exercise.places[number].name,
        where=where_words(shown, number),
        is_true=number == exercise.truth(),
        easting_m=view.lines.easting_m,
        northing_m=view.lines.northing_m,
        looks_grid_deg=_looks_grid_deg(view),
        layers=_ground(shown, view, reach_m),
        sights=tuple(_sights(shown, number)),
        view=view_of(shown, number, looking_words(shown)),
        ruled_out=ruled_out(shown, number),
    )


def _ground(shown: Shown, view: PlaceView, reach_m: float) -> Mapping[str, geopandas.GeoDataFrame]:
    """Dead ground, unknown ground and brows within the sector that the picture shows."""
    import geopandas

    here = ground_view(view, shown.judged.scene.inputs, reach_m)
    tiling = cover.tile(here)
    ground, crests = cover.contoured(here, tiling), crest_lines(here, tiling).frame
    sector = _sector(view, reach_m)
    crs = here.grid.crs
    layers = {
        name: geopandas.GeoDataFrame(geometry=[one.intersection(sector) for one in patches.polygons], crs=crs)
        for name, patches in (
            ("dead_ground", ground.hidden),
            ("uncertain_ground", ground.uncertain),
            ("unknown_ground", ground.unknown),
        )
    }
    told = crests[crests["role"].isin(("brow", "skyline"))].copy()
    told.geometry = shapely.force_2d(told.geometry.to_numpy()).copy()
    told.geometry = told.geometry.intersection(sector)
    layers["crest_lines"] = told
    return {name: frame[~frame.geometry.is_empty].reset_index(drop=True) for name, frame in layers.items()}


def _sector(view: PlaceView, reach_m: float) -> shapely.Polygon:
    """The ground that the picture may show; metres on the grid."""
    lines, span = view.lines, min(view.view.span_deg, 359.9)
    turns = np.radians(view.view.left_grid_deg + np.linspace(0.0, span, int(span / _RIM_STEP_DEG) + 2))
    far_m = 2.0 * reach_m
    rim = np.column_stack((lines.easting_m + far_m * np.sin(turns), lines.northing_m + far_m * np.cos(turns)))
    return shapely.Polygon([(lines.easting_m, lines.northing_m), *rim])


def _sights(shown: Shown, number: int) -> list[Sight]:
    """What the place has of each deciding reason on the ground: landmarks in view, or lines of ground."""
    view = shown.views[number]
    rows = {one.place: one for one in view.landmarks}
    grounds = dict(grounds_of(shown, number))
    found: list[Sight] = []
    for count, reason in enumerate(shown.reasons, 1):
        if reason.role != DECIDES or number not in reason.facts:
            continue
        for one in shown.pointed:
            landmark = rows.get(one.place)
            if one.name in reason.things and landmark is not None:
                grid_deg = landmark.bearing_grid_deg % 360.0
                says = f"{one.name} {bearing_words(grid_deg)} grid, {seen_words(landmark)}"
                found.append(Sight(count, one.easting_m, one.northing_m, (), says))
        lines = grounds.get(count, [])
        if lines and not any(one.reason == count for one in found):
            found.append(_line_sight(view, count, lines))
    return found


def _line_sight(view: PlaceView, count: int, lines: list[Floats]) -> Sight:
    """Lines of ground, told by the middle of the longest of them."""
    longest = max(lines, key=len)
    east_m, north_m = (float(v) for v in longest[len(longest) // 2])
    grid_deg = float(grid_bearing_deg(view.lines.easting_m, view.lines.northing_m, east_m, north_m)) % 360.0
    true_deg, away_m = (
        float(values[0]) for values in view.lines.measure(np.array([east_m]), np.array([north_m]))
    )
    height_m = float(view.lines.surface.height_at_m(east_m, north_m))
    words = lying_words(true_deg, away_m, height_m - view.lines.eye.level_m)
    kept = tuple(line for line in lines if len(line) > 1)
    return Sight(count, east_m, north_m, kept, f"{bearing_words(grid_deg)} grid, {words}")
