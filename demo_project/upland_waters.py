"""Streams and the tarn, as a map draws them."""

from __future__ import annotations

import numpy as np
from shapely import LineString, Point, Polygon
from shapely.ops import nearest_points
from upland_ground import SIDE_M
from upland_sheet import Rows, Sheet, called_after, stem_of

# Invented words; no real place is meant.
RIVER_NAMES = ("Umber Water", "Lavock Water", "Hasken Water", "Ulloch Water", "Brinda Water")
STREAM_ENDS = ("Beck", "Gill", "Sike", "Cleugh")


def to_shore(line: LineString, tarn: Polygon) -> LineString:
    """Carry a stream that begins or ends a few metres short of the tarn to its shore."""
    points = list(line.coords)
    for end in (0, -1):
        if tarn.exterior.distance(Point(points[end])) < 15:
            shore = nearest_points(tarn.exterior, Point(points[end]))[0].coords[0]
            points.insert(0, shore) if end == 0 else points.append(shore)
    return LineString(points)


def water_rows(sheet: Sheet, tops: Rows) -> tuple[Rows, Rows]:
    """Streams (parts on the sheet, source first) and the tarn."""
    box = Polygon([(5, 5), (SIDE_M - 5, 5), (SIDE_M - 5, SIDE_M - 5), (5, SIDE_M - 5)])
    rows: Rows = []
    for stream in sheet.upland.streams:
        inside = LineString(stream.xy_m).intersection(box).difference(sheet.tarn.buffer(12))
        for part in getattr(inside, "geoms", [inside]):
            if part.geom_type != "LineString" or part.length < 150:
                continue
            heights = sheet.height(np.array(part.coords))
            if heights[0] < heights[-1]:
                part = part.reverse()
            part = to_shore(part, sheet.tarn)
            kind = "river" if stream.catchment_m2 > 8e6 else "stream"
            rows.append(
                {
                    "name": None,
                    "kind": kind,
                    "catchment_ha": round(stream.catchment_m2 / 1e4, 1),
                    "geometry": part,
                }
            )
    rows.sort(key=lambda r: -r["geometry"].length * (2 if r["kind"] == "river" else 1))
    fed = [r for r in rows if r["geometry"].distance(sheet.tarn) < 30]
    stem = stem_of(
        min((t for t in tops if t["name"]), key=lambda t: t["geometry"].distance(sheet.tarn))["name"]
    )
    used = {f"{stem} Beck"}
    if fed:
        max(fed, key=lambda r: r["geometry"].length)["name"] = f"{stem} Beck"
    rivers = iter(RIVER_NAMES)
    for row in [r for r in rows if r["name"] is None and r["geometry"].length > 900]:
        if row["kind"] == "river":
            row["name"] = next(rivers, None)
        if row["name"] is None:
            row["name"] = called_after(row["geometry"].centroid, tops, STREAM_ENDS, used)
    tarn: Rows = [
        {
            "name": f"{stem} Tarn",
            "kind": "tarn",
            "height_m": sheet.upland.tarn_level_m,
            "geometry": sheet.tarn,
        }
    ]
    return rows, tarn
