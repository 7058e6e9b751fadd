"""Which map feature names which landform."""

from __future__ import annotations

import geopandas
import pandas as pd
import pytest
import shapely

from hillsight.landform.map_names import named
from hillsight.schema.frames import column_names
from hillsight.schema.landforms import LANDFORM_LAYERS

EAST, NORTH = 400_000.0, 300_000.0
FIGURES = {
    "scale_m": 300.0,
    "description": "",
    "height_m": 100.0,
    "prominence_m": 20.0,
    "is_least": False,
    "height_min_m": 100.0,
    "height_max_m": 200.0,
    "height_mean_m": 150.0,
    "length_m": 400.0,
    "drop_m": 30.0,
    "depth_plus_minus_m": 1.0,
    "depth_m": 9.0,
    "falls_towards": "N",
    "slope_above_deg": 5.0,
    "slope_below_deg": 20.0,
    "area_ha": 4.0,
    "higher_top": "tops0",
    "lower_top": "tops0",
    "slope_from_deg": 30.0,
    "slope_to_deg": 40.0,
    "faces_towards": "N",
}
KINDS = {"tops": "summit", "breaks_of_slope": "convex_edge", "level_ground": "shelf"}


def here(*places: tuple[float, float]) -> list[tuple[float, float]]:
    return [(EAST + x, NORTH + y) for x, y in places]


def point(x: float, y: float) -> shapely.Point:
    return shapely.Point(EAST + x, NORTH + y)


def line(*places: tuple[float, float]) -> shapely.LineString:
    return shapely.LineString(here(*places))


def area(west: float, south: float, east: float, north: float) -> shapely.Polygon:
    return shapely.box(EAST + west, NORTH + south, EAST + east, NORTH + north)


def names(
    layer: str, landforms: list[shapely.Geometry], *features: tuple[str | None, str | None, shapely.Geometry]
) -> list[str | None]:
    """Names that landforms of a layer take from features (name, kind, geometry)."""
    frames = {}
    for each in (declared.name for declared in LANDFORM_LAYERS):
        columns = column_names(each)
        shapes = landforms if each == layer else [point(90_000, 0)] if each == "tops" else []
        rows = [
            {**{c: FIGURES.get(c) for c in columns}, "landform": f"{each}{k}"} for k in range(len(shapes))
        ]
        for row in rows:
            if "kind" in row:
                row["kind"] = KINDS[each]
        table = pd.DataFrame(rows, columns=columns)
        frames[each] = geopandas.GeoDataFrame(table, geometry=shapes, crs="EPSG:27700")
    given = geopandas.GeoDataFrame(
        {
            "name": pd.Series([f[0] for f in features], dtype=object),
            "kind": pd.Series([f[1] for f in features], dtype=object),
        },
        geometry=[f[2] for f in features],
        crs="EPSG:27700",
    )
    found = named(frames, given)
    assert list(found) == [layer.name for layer in LANDFORM_LAYERS]
    return [None if pd.isna(name) else name for name in found[layer]["name"]]


@pytest.mark.parametrize(
    ("layer", "shape", "kind"),
    [
        ("tops", point(0, 0), "summit"),
        ("tops", point(0, 0), "Hills"),
        ("saddles", point(0, 0), "Col"),
        ("ridges", line((0, 0), (300, 0)), "ridge"),
        ("spurs", line((0, 0), (300, 0)), "spur"),
        ("re_entrants", line((0, 0), (300, 0)), "Re-entrant"),
        ("valley_lines", line((0, 0), (300, 0)), "stream"),
        ("breaks_of_slope", line((0, 0), (300, 0)), "scarp"),
        ("level_ground", area(0, 0, 200, 200), "plateau"),
        ("steep_ground", area(0, 0, 200, 200), "cliffs"),
        ("hollows", area(0, 0, 200, 200), "tarn"),
    ],
)
def test_kinds_that_mean_such_a_landform_name_it_and_a_farm_does_not(
    layer: str, shape: shapely.Geometry, kind: str
) -> None:
    assert names(layer, [shape], ("Rook", kind, point(10, 0))) == ["Rook"]
    for other in ("farm", "road", "wood", "church"):
        assert names(layer, [shape], ("Rook", other, point(10, 0))) == [None]


def test_kinds_name_no_landform_of_another_sort() -> None:
    assert names("tops", [point(0, 0)], ("Rook", "valley", point(0, 0))) == [None]
    assert names("valley_lines", [line((0, 0), (300, 0))], ("Rook", "summit", point(0, 0))) == [None]
    assert names("hollows", [area(0, 0, 90, 90)], ("Rook", "ridge", line((0, 0), (90, 90)))) == [None]


def test_a_name_belongs_to_what_is_within_a_quarter_of_the_scale() -> None:
    assert names("tops", [point(0, 0)], ("Near", "hill", point(74, 0))) == ["Near"]
    assert names("tops", [point(0, 0)], ("Far", "hill", point(76, 0))) == [None]


def test_of_several_the_nearest_names_it_and_each_names_but_one() -> None:
    tops = [point(0, 0), point(60, 0), point(500, 0)]
    assert names("tops", tops, ("One", "hill", point(20, 0))) == ["One", None, None]
    found = names("tops", tops, ("One", "hill", point(25, 0)), ("Two", "hill", point(5, 0)))
    assert found == ["Two", "One", None]
    assert names("tops", tops, ("Hill", "hill", area(-50, -50, 110, 50))).count("Hill") == 1


def test_features_without_a_name_or_a_kind_name_nothing() -> None:
    features = [(None, "hill", point(0, 0)), ("Rook", None, point(0, 0))]
    assert names("tops", [point(0, 0)], *features) == [None]
    assert names("tops", [point(0, 0)], *features, ("Kite", "hill", point(30, 0))) == ["Kite"]


def test_a_line_is_named_by_the_one_that_lies_along_it() -> None:
    valley = [line((0, 0), (600, 0))]
    along, across = line((100, 40), (500, 40)), line((300, -800), (300, 800))
    assert names("valley_lines", valley, ("Across", "stream", across)) == [None]
    assert names("valley_lines", valley, ("Across", "stream", across), ("Along", "stream", along)) == [
        "Along"
    ]
    # A longer stream that half of the valley lies along is its stream, though most of it lies elsewhere.
    passing = line((-4000, 30), (310, 30), (310, 4000))
    assert names("valley_lines", valley, ("Passing", "stream", passing)) == ["Passing"]
    leaving = line((-4000, 30), (200, 30), (200, 4000))
    assert names("valley_lines", valley, ("Leaving", "stream", leaving)) == [None]


def test_the_one_with_most_in_common_is_named_first() -> None:
    lines = [line((0, 0), (200, 0)), line((0, 20), (900, 20))]
    assert names("ridges", lines, ("Long Edge", "ridge", line((0, 10), (900, 10)))) == [None, "Long Edge"]


def test_nothing_is_named_where_there_is_nothing() -> None:
    assert names("tops", [], ("Rook", "hill", point(0, 0))) == []
    assert names("tops", [point(0, 0)]) == [None]
