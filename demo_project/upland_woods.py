"""What stands on the invented upland and hides: woods, plantations, walls and farm buildings."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import ndimage, spatial
from shapely import Point, affinity, box, unary_union
from upland_sheet import Rows, Sheet, outlines

# Heights above the ground, metres: invented round figures.
LEAFY_M, CONIFER_M, YOUNG_M, WALL_M, FARM_M = 12.0, 18.0, 4.0, 1.3, 6.0
CLEAR_M = 250.0  # about each station, so that its views are what they were
MOST_LEAFY, MOST_BLOCKS = 14, 6


def cover_of(sheet: Sheet, layers: dict[str, Rows], stations: Rows) -> dict[str, Rows]:
    """Layers of cover, by name, each with kind and cover_height_m."""
    clear = unary_union([row["geometry"].buffer(CLEAR_M) for row in stations])
    farms = [row["geometry"] for row in layers["buildings"] if row["kind"] == "farm"]
    kept = unary_union([clear, sheet.tarn.buffer(30.0), *(farm.buffer(120.0) for farm in farms)])
    blocks = plantations(sheet, kept)
    leafy = streamside_woods(sheet, unary_union([kept, *(row["geometry"].buffer(40.0) for row in blocks)]))
    walls = [
        {"name": row["name"], "kind": row["kind"], "cover_height_m": WALL_M, "geometry": row["geometry"]}
        for row in layers["walls"]
    ]
    houses = [
        {"name": row["name"], "kind": "farm", "cover_height_m": FARM_M, "geometry": shape}
        for row in layers["buildings"]
        if row["kind"] == "farm"
        for shape in farm_buildings(row["geometry"])
    ]
    return {"woods": [*leafy, *blocks], "walls": walls, "buildings": houses}


def patches(mask: Any, least_ha: float, most: int, smooth_m: float, kept: Any) -> list[Any]:
    """Outlines of the largest patches of a mask, rounded, without what is kept clear."""
    found = []
    for outline in outlines(mask):
        shape = outline.buffer(smooth_m).buffer(-2 * smooth_m).buffer(smooth_m).simplify(4.0).difference(kept)
        found += [part for part in getattr(shape, "geoms", [shape]) if part.area >= 10_000 * least_ha]
    return sorted(found, key=lambda part: -part.area)[:most]


def whim(sheet: Sheet, seed: int, posts: float) -> Any:
    """A smooth field of standard deviation 1, by chance."""
    field = ndimage.gaussian_filter(np.random.default_rng(seed).standard_normal(sheet.z.shape), posts)
    return field / field.std()


def streamside_woods(sheet: Sheet, kept: Any) -> Rows:
    """Leafy woods along the lower streams."""
    gap, _ = spatial.cKDTree(sheet.water).query(
        np.column_stack([sheet.x.ravel(), sheet.y.ravel()]), distance_upper_bound=200
    )
    near = gap.reshape(sheet.z.shape) < 70 + 25 * whim(sheet, 11, 8)
    low = sheet.z < np.percentile(sheet.z, 45)
    mask = near & low & (whim(sheet, 12, 14) > 0.35)
    return [
        {"name": None, "kind": "broadleaved wood", "cover_height_m": LEAFY_M, "geometry": shape}
        for shape in patches(mask, 0.8, MOST_LEAFY, 8.0, kept)
    ]


def plantations(sheet: Sheet, kept: Any) -> Rows:
    """Conifers in blocks with straight edges on the lower slopes; the smallest are young."""
    slope = ndimage.gaussian_filter(sheet.slope, 3)
    fit = (sheet.z < np.percentile(sheet.z, 55)) & (slope > 0.06) & (slope < 0.45)
    mask = fit & (whim(sheet, 13, 22) > 1.05)
    found = []
    for shape in patches(mask, 6.0, MOST_BLOCKS, 20.0, kept):
        block = shape.simplify(60.0)
        if block.is_valid and block.area >= 50_000:
            found.append(block.difference(kept))
    rows = []
    for number, shape in enumerate(found):
        young = number >= max(1, len(found) - 2)
        kind, tall_m = ("young plantation", YOUNG_M) if young else ("conifer plantation", CONIFER_M)
        rows.append({"name": None, "kind": kind, "cover_height_m": tall_m, "geometry": shape})
    return rows


def farm_buildings(at: Point) -> list[Any]:
    """House and barn of a farm, about its place."""
    turn = (at.x + at.y) % 90
    house = box(at.x - 8, at.y - 5, at.x + 8, at.y + 5)
    barn = box(at.x + 14, at.y - 12, at.x + 24, at.y + 10)
    return [affinity.rotate(shape, turn, origin=at) for shape in (house, barn)]
