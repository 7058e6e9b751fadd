"""Reads the landforms of a terrain at several scales into one table a kind."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import geopandas
import numpy as np
import shapely

from hillsight.kernels.threads import workers
from hillsight.landform.area_rows import break_rows, hollow_rows, level_rows, steep_rows
from hillsight.landform.crossing import kept_apart
from hillsight.landform.describing import described
from hillsight.landform.line_frames import Read, line_rows
from hillsight.landform.lines import ridge_network, valley_network
from hillsight.landform.options import LandformOptions
from hillsight.landform.point_rows import point_rows
from hillsight.landform.repeats import without_repeats
from hillsight.landform.scale import Worked, settle_scales
from hillsight.landform.tops import raw_peaks, rises, rises_within, tops
from hillsight.schema.frames import frame_of_rows
from hillsight.schema.landforms import LANDFORM_LAYERS

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from hillsight.arrays import Integers
    from hillsight.ground.geodesy import Geodesy
    from hillsight.ground.grid import Surface
    from hillsight.landform.tops import Rises

    Rows = list[dict[str, Any]]


#: How many times its scale away a landform is looked for in a view: there it is some 3 degrees wide. By
#: trial, no source.
SEEN_WITHIN_SCALES = 20.0

_MARGIN_SCALES = 4.0

#: Layers that hold the whole of each scale, so that their lines stay connected.
_EVERY_SCALE = ("ridges", "valley_lines")


def survey(
    surface: Surface,
    scales_m: Sequence[float] | None,
    options: LandformOptions,
    geodesy: Geodesy,
    progress: Callable[[float], None] | None = None,
    *,
    seen_from: tuple[float, float] | None = None,
    spread_m: float = 0.0,
) -> dict[str, geopandas.GeoDataFrame]:
    """All landforms of a terrain, by layer.

    Parameters
    ----------
    surface : the terrain; voids are NaN
    scales_m : sizes of landforms sought, metres; None for the usual ones that the terrain can give
    geodesy : of the surface's grid, for true bearings
    progress : called with the share done
    seen_from : easting and northing of a station: landforms but for tops and saddles are then read, at each
        scale, only as far off as they are worth looking for (``SEEN_WITHIN_SCALES``)
    spread_m : how far from it other stations stand that look too

    Returns
    -------
    frames with the columns of the layers of the same names, without rows where nothing was found. The same
    terrain gives the same frames, identifiers and all.

    Raises
    ------
    CallError : a scale that the terrain cannot give
    """
    scales, _ = settle_scales(surface, scales_m)
    rows: dict[str, Rows] = {layer.name: [] for layer in LANDFORM_LAYERS}
    known = np.isfinite(surface.height_m)
    if known.any() and float(np.ptp(surface.height_m[known])) > 0.0:
        _read_all(surface, scales, options, geodesy, rows, progress, seen_from, spread_m)
    if seen_from is not None:
        _forget_unread(rows)
    frames = {name: _frame(name, found, surface) for name, found in rows.items()}
    return described(frames)


def _read_all(
    surface: Surface,
    scales: Sequence[float],
    options: LandformOptions,
    geodesy: Geodesy,
    rows: dict[str, Rows],
    progress: Callable[[float], None] | None,
    seen_from: tuple[float, float] | None,
    spread_m: float,
) -> None:
    def done(share: float) -> None:
        if progress is not None:
            progress(share)

    with workers(len(scales) + 1) as pool:
        peaks = pool.submit(raw_peaks, surface)
        worked = list(pool.map(partial(Worked.of, surface), scales))
        risen = list(pool.map(rises, worked))
    done(0.1)
    found, which = tops(list(zip(worked, risen, strict=True)), surface, peaks.result())
    taken: set[str] = set()
    rows["tops"], rows["saddles"], saddle_names = point_rows(found, worked[-1], taken)
    top_names = [row["landform"] for row in rows["tops"]]
    heights_m = {row["landform"]: row["height_m"] for row in rows["tops"]}
    done(0.2)
    for k, (ground, rise, numbers) in enumerate(zip(worked, risen, which, strict=True)):
        # A saddle belongs to the lower of its two tops, and the list begins with the highest.
        over = np.where(rise.parents >= 0, np.maximum(numbers, numbers[rise.parents]), -1)
        if seen_from is not None:
            ground, rise, numbers, over = _near(ground, rise, numbers, over, seen_from, spread_m)
        counted = numbers >= 0
        crossed = np.flatnonzero(counted & (rise.saddles >= 0))
        with workers(2) as pool:  # their kernels run without the interpreter lock
            flowing = pool.submit(valley_network, ground)
            rising = pool.submit(ridge_network, ground, rise.summits[counted], rise.saddles[crossed])
            valleys, ridges = flowing.result(), rising.result()
        ridges = kept_apart(ridges, valleys, rise.saddles[crossed], ground.grid.columns)
        read = Read(
            ground,
            ridges,
            valleys,
            rise.summits[counted],
            rise.saddles[crossed],
            [top_names[n] for n in numbers[counted]],
            [saddle_names.get(int(n)) for n in over[crossed]],
            heights_m,
        )
        found_here = {
            **line_rows(read, geodesy, taken),
            "breaks_of_slope": break_rows(ground, options.least_change_deg, taken),
            "level_ground": level_rows(ground, options.level_below_deg, rows["tops"], taken),
            "hollows": hollow_rows(ground, valleys.drainage.filled_m, taken),
        }
        if ground.scale_m == min(scales):
            found_here["steep_ground"] = steep_rows(ground, options.steep_bands_deg, geodesy, taken)
        for name, made in found_here.items():
            if seen_from is not None:
                made = [row for row in made if _worth_seeing(row, seen_from, spread_m)]
            rows[name] += made if name in _EVERY_SCALE else without_repeats(made, rows[name])
        _set_between(rows["saddles"], rows["ridges"], heights_m)
        ground.forget_slope()  # as large as the terrain, three times over
        done(0.2 + 0.8 * (k + 1) / len(worked))


def _set_between(saddles: Rows, ridges: Rows, height_m: dict[str, float]) -> None:
    """Have each saddle lie between the tops at the ends of its ridge, at the largest scale that has one.

    Until a ridge is found they are the top that rises from it and the higher one that that belongs to.
    """
    ends: dict[str, tuple[str, str]] = {}
    for row in ridges:
        if row["saddle"] and row["lower_top"]:
            ends.setdefault(row["saddle"], (row["lower_top"], row["higher_top"]))
    for row in saddles:
        if row["landform"] in ends:
            row["lower_top"], row["higher_top"] = ends[row["landform"]]
            row["climb_m"] = height_m[row["lower_top"]] - row["height_m"]


def _near(
    ground: Worked,
    rise: Rises,
    numbers: Integers,
    over: Integers,
    seen_from: tuple[float, float],
    spread_m: float,
) -> tuple[Worked, Rises, Integers, Integers]:
    """The ground at one scale about a station, with a margin so that what is kept is whole."""
    reach_m = (SEEN_WITHIN_SCALES + _MARGIN_SCALES) * ground.scale_m + spread_m
    part, top, left = ground.around(*seen_from, reach_m)
    within, kept = rises_within(rise, ground.grid.columns, part.grid, top, left)
    return part, within, numbers[kept], over[kept]


def _forget_unread(rows: dict[str, Rows]) -> None:
    """Take out what points to lines too far off to be read."""
    there = {row["landform"] for found in rows.values() for row in found}
    for found in rows.values():
        for row in found:
            for column in ("into", "valley", "ridge"):
                if row.get(column) is not None and row[column] not in there:
                    row[column] = None


def worth_seeing(
    frames: Mapping[str, geopandas.GeoDataFrame], seen_from: tuple[float, float], reach_m: float
) -> dict[str, geopandas.GeoDataFrame]:
    """Landforms within a reach of a station, and no farther off than is worth looking for them."""
    place = shapely.Point(seen_from)
    kept = {}
    for layer, frame in frames.items():
        most_m = np.full(len(frame), reach_m)
        if layer not in ("tops", "saddles"):
            most_m = np.minimum(most_m, SEEN_WITHIN_SCALES * frame["scale_m"].to_numpy(float))
        kept[layer] = frame[shapely.distance(np.asarray(frame.geometry), place) <= most_m]
    return kept


def _worth_seeing(row: dict[str, Any], seen_from: tuple[float, float], spread_m: float) -> bool:
    away_m = shapely.distance(row["geometry"], shapely.Point(seen_from))
    return bool(away_m <= SEEN_WITHIN_SCALES * row["scale_m"] + spread_m)


def _frame(name: str, found: Rows, surface: Surface) -> geopandas.GeoDataFrame:
    rows = [{column: value for column, value in row.items() if column != "geometry"} for row in found]
    return frame_of_rows(name, rows, [row["geometry"] for row in found], surface.grid.crs)
