"""An invented course over the upland: up to the tarn, over two tops, and back by a way of its own.

It is laid by rule: the Tarn Path from the farm to the tarn, open ground to the nearest top of the ridge, the
ridge path to the highest top near it, a path down, then open ground to the Tarn Path and over its last part
once more.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from pyproj import CRS, Transformer
from scipy import ndimage
from shapely import LineString, Point, line_merge
from shapely.ops import substring
from upland_sheet import CRS_WKT, Rows, Sheet
from upland_ways import Walker

NAME = "Round of the Tarn"
BESIDE_M = 60.0  # a top so near a path lies on it
RIDGE_M, DOWN_M, LAST_M = 2_600.0, 1_250.0, 700.0  # longest way along the ridge, way down, shared last part


def course_of(sheet: Sheet, layers: dict[str, Rows]) -> LineString:
    """The course in running order, metres from the sheet's south-west corner.

    Raises ValueError if there is no Tarn Path or no path over a top.
    """
    tarn_path = parts_of(layers["paths"], "Tarn Path")
    ridges = parts_of(layers["paths"], "Long Ridge Path")
    if not tarn_path or not ridges:
        raise ValueError("no path to the tarn, or none along the ridge: no course can be laid")
    up = turned(tarn_path[0], sheet.tarn, at_end=True)
    tops = [
        (row["geometry"], row["height_m"], ridge)
        for row in layers["tops"]
        for ridge in ridges
        if ridge.distance(row["geometry"]) < BESIDE_M
    ]
    first, _, ridge = min(tops, key=lambda top: top[0].distance(sheet.tarn))
    begin = ridge.project(first)
    near = [top for top in tops if top[2] is ridge and 0 < abs(ridge.project(top[0]) - begin) <= RIDGE_M]
    second = max(near, key=lambda top: top[1])[0] if near else first
    along = substring(ridge, begin, ridge.project(second))
    downs = [path for path in parts_of(layers["paths"], None) if path.distance(second) < BESIDE_M]
    legs = [list(up.coords), list(along.coords) if along.length else [tuple(first.coords[0])]]
    if downs:
        legs.append(list(substring(turned(downs[0], second, at_end=False), 0, DOWN_M).coords))
    last = substring(up, min(LAST_M, up.length / 2), 0)
    legs.append(list(last.coords))
    walker = open_ground(sheet)
    run = legs[0]
    for leg in legs[1:]:
        if Point(run[-1]).distance(Point(leg[0])) > BESIDE_M:
            run = [*run, *walker.lines(np.array(run[-1]), [np.array(leg[0])])[0].coords]
        run = [*run, *leg]
    return LineString(run)


def parts_of(paths: Rows, name: str | None) -> list[LineString]:
    """Single lines of the paths of a name; of nameless ones the paths alone, no tracks."""
    rows = [row for row in paths if row["name"] == name and row["kind"] == "path"]
    found: list[LineString] = []
    for row in rows:
        line = line_merge(row["geometry"])
        found += list(getattr(line, "geoms", [line]))
    return found


def turned(line: LineString, place: Any, *, at_end: bool) -> LineString:
    """The line in the direction in which a place lies at its end, or at its beginning."""
    begins = Point(line.coords[0]).distance(place) < Point(line.coords[-1]).distance(place)
    return line.reverse() if begins == at_end else line


def open_ground(sheet: Sheet) -> Walker:
    """Least-effort lines that keep off crags and water."""
    wet = ndimage.binary_dilation(sheet.upland.tarn, iterations=3)
    cost = 1 + 18 * np.clip(sheet.slope - 0.3, 0, None) + 200 * wet
    cost += 30 * (ndimage.maximum_filter(sheet.slope, 5) > 0.65)
    return Walker(sheet, cost, climb=0.14)


def gpx_of(course: LineString, west_m: float, south_m: float) -> str:
    """The course as a GPX file with one track."""
    to_degrees = Transformer.from_crs(CRS.from_wkt(CRS_WKT), CRS.from_epsg(4326), always_xy=True)
    x, y = np.asarray(course.coords).T
    longitude, latitude = to_degrees.transform(np.round(x + west_m, 2), np.round(y + south_m, 2))
    points = [
        f'      <trkpt lat="{lat:.7f}" lon="{lon:.7f}"/>'
        for lon, lat in zip(longitude, latitude, strict=True)
    ]
    head = '<gpx version="1.1" creator="demo_project/generate.py" xmlns="http://www.topografix.com/GPX/1/1">'
    return "\n".join(
        (
            '<?xml version="1.0" encoding="UTF-8"?>',
            head,
            "  <trk>",
            f"    <name>{NAME}</name>",
            "    <trkseg>",
            *points,
            "    </trkseg>",
            "  </trk>",
            "</gpx>",
            "",
        )
    )
