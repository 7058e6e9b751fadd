"""What a surveyor would draw on the invented upland: tops, saddles, water, crags, walls, paths, buildings.

Everything is placed by rule from the ground itself.
"""

from __future__ import annotations

from upland_shapes import crag_rows, tops_and_saddles
from upland_sheet import Rows, Sheet, joined
from upland_waters import water_rows
from upland_works import men_made

# How high things stand above the ground, metres: invented round figures.
TARGET_HEIGHT_M = {
    "boundary wall": 1.3,
    "intake wall": 1.3,
    "boundary fence": 1.1,
    "fence": 1.1,
    "cairn": 1.5,
    "farm": 6.0,
    "sheepfold": 1.2,
    "boundary stone": 1.0,
}


def draw(sheet: Sheet) -> dict[str, Rows]:
    """All layers of the map, by layer name."""
    tops, saddles = tops_and_saddles(sheet)
    streams, tarns = water_rows(sheet, tops)
    layers = {
        "tops": tops,
        "saddles": saddles,
        "streams": streams,
        "tarns": tarns,
        "crags": crag_rows(sheet, tops),
    }
    layers |= men_made(sheet, tops, saddles, streams)
    for layer in ("crags", "paths", "walls", "fences"):
        layers[layer] = joined(layers[layer])
    for rows in layers.values():
        for row in rows:
            row["target_height_m"] = TARGET_HEIGHT_M.get(row["kind"], float("nan"))
    return layers
