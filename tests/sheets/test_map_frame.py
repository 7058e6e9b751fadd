"""Maps to exact scale: contours of the bilinear ground, and distances on the paper.

Ellipsoid distances are PROJ's geodesics (pyproj.Geod, after Karney 2013), not the package's own scale factor.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
from pyproj import CRS, Geod, Transformer

from hillsight.ground.grid import Grid, Surface
from hillsight.ground.terrain import open_terrain
from hillsight.ground.terrain_options import TerrainOptions
from hillsight.sheets.map.content import MapContent, MapPlace
from hillsight.sheets.map.contour_lines import (
    Contour,
    chosen_interval_m,
    contour_lines,
    fewer_corners,
    window_of,
)
from hillsight.sheets.map.drawing import draw_map, drawn_map, unknown_letters
from hillsight.sheets.map.frame import grid_scale_factor_at, lay_frame
from hillsight.sheets.paper.labels import Box
from hillsight.sheets.paper.page import Page
from hillsight.sheets.paper.saving import save_page
from pdf_paths import pages
from shared_data import shared_file

UTM = CRS.from_epsg(32632)


def hills(rows: int = 61, columns: int = 61, west: float = 800_000.0, north: float = 5_200_000.0) -> Surface:
    """Rolling ground of 50 m posts, far from the zone's middle, where its scale is over 1."""
    y, x = np.mgrid[:rows, :columns]
    height = 300 + 80 * np.sin(x / 7.0) * np.cos(y / 9.0) + 2.0 * x
    return Surface(Grid(UTM, west, north, 50.0, 50.0, rows, columns), height.astype(np.float32))


def ellipsoid_m(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Length of the geodesic between two places of the grid."""
    there = Transformer.from_crs(UTM, 4326, always_xy=True)
    (x0, y0), (x1, y1) = there.transform(*a), there.transform(*b)
    return Geod(ellps="WGS84").inv(x0, y0, x1, y1)[2]


def test_the_grid_scale_factor_is_that_of_the_ellipsoid() -> None:
    x, y = 801_500.0, 5_198_500.0
    factor = grid_scale_factor_at(UTM, x, y)
    assert factor == pytest.approx(1_000 / ellipsoid_m((x, y - 500), (x, y + 500)), abs=2e-7)
    # Snyder, Map Projections: A Working Manual (1987), p. 57-58, from memory: 0.9996 on the central meridian.
    assert grid_scale_factor_at(UTM, 500_000.0, y) == pytest.approx(0.9996, abs=1e-7)


def test_a_grid_square_prints_at_the_scale_of_the_ground(tmp_path: Path) -> None:
    surface = hills()
    page = Page.of_mm(210, 297)
    factor = grid_scale_factor_at(UTM, 801_500.0, 5_198_500.0)
    frame = lay_frame(page, Box(20, 60, 120, 180), 801_500.0, 5_198_500.0, 25_000, factor)
    draw_map(frame, MapContent(surface), show=("grid",))
    (paths,) = pages(save_page(page, tmp_path / "map.pdf"))
    upright = sorted({round(float(p[0, 0]), 6) for p in paths if len(p) == 2 and p[0, 0] == p[1, 0]})
    apart_mm = np.diff(upright)
    true_mm = ellipsoid_m((801_000.0, 5_198_500.0), (802_000.0, 5_198_500.0)) / 25
    assert apart_mm == pytest.approx(true_mm, rel=2e-5)
    assert abs(apart_mm[0] - 40.0) > 0.02  # the grid's own kilometre is not that of the ground here


def test_contours_have_higher_ground_on_their_left_and_the_bilinear_height() -> None:
    surface = hills()
    lines = contour_lines(surface, 10.0)
    assert len(lines) > 20
    for line in lines:
        middles = (line.points_m[:-1] + line.points_m[1:]) / 2
        step = np.diff(line.points_m, axis=0)
        long = np.hypot(*step.T) > 5.0
        middles, step = middles[long], step[long]
        left = middles + 4.0 * np.column_stack([-step[:, 1], step[:, 0]]) / np.hypot(*step.T)[:, None]
        with np.errstate(invalid="ignore"):
            higher = surface.heights_at_m(*left.T) > line.height_m
        assert higher.mean() > 0.98
        # On grid lines and in the middles of cells, the contour's corners lie on the bilinear ground.
        assert surface.heights_at_m(*line.points_m.T) == pytest.approx(line.height_m, abs=0.3)
        columns = (line.points_m[:, 0] - surface.grid.west_m) / 50.0
        rows = (surface.grid.north_m - line.points_m[:, 1]) / 50.0
        on_line = (abs(columns - columns.round()) < 1e-9) | (abs(rows - rows.round()) < 1e-9)
        assert on_line.any()
        assert surface.heights_at_m(*line.points_m[on_line].T) == pytest.approx(line.height_m, abs=2e-3)


@pytest.mark.parametrize("name", ["osterrain50_highlands.tif", "osterrain50_NN17.asc"])
def test_no_contours_of_real_ground_cross(name: str) -> None:
    # Ordnance Survey Terrain 50, contains OS data, Crown copyright and database right.
    source = open_terrain(str(shared_file(name)), TerrainOptions(crs="EPSG:27700"))
    terrain = source.on_metric_grid(*source.middle())
    west, south, east, north = terrain.bounds_m
    surface = terrain.window((west + east) / 2, (south + north) / 2, 4_000.0)
    whole = contour_lines(surface, 10.0)
    assert len(whole) > 30
    # 5 micrometres of paper at 1:25,000; and so much that the steepness of the ground decides.
    for off_m in (0.125, 5.5):
        lines = fewer_corners(surface, whole, 10.0, off_m)
        assert len(lines) == len(whole)
        assert sum(len(line.points_m) for line in lines) < sum(len(line.points_m) for line in whole)
        for line, before in zip(lines, whole, strict=True):
            assert line.height_m == before.height_m
            assert set(map(tuple, line.points_m)) <= set(map(tuple, before.points_m))
            assert (
                shapely.hausdorff_distance(*map(shapely.LineString, (line.points_m, before.points_m)))
                <= off_m
            )
        assert not crossings(lines)
    assert not crossings(whole)


def crossings(lines: list[Contour]) -> list[tuple[float, float]]:
    """Heights of the contours that cross or share a stretch, or cross themselves."""
    shapes = [shapely.LineString(line.points_m) for line in lines]
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    pairs = [(a, b) for a, b in zip(first, second, strict=True) if a < b]
    found = [(a, b) for a, b in pairs if shapes[a].crosses(shapes[b]) or shapes[a].overlaps(shapes[b])]
    found += [(i, i) for i, shape in enumerate(shapes) if not shape.is_simple]
    return [(lines[a].height_m, lines[b].height_m) for a, b in found]


def test_voids_interrupt_contours() -> None:
    surface = hills()
    surface.height_m[20:30, 20:30] = np.nan
    for line in contour_lines(surface, 10.0):
        inside = (abs(line.points_m - (801_225.0, 5_198_775.0)) < 250).all(axis=1)
        assert not inside.any()


def test_the_interval_keeps_contours_on_steep_ground_apart() -> None:
    surface = hills()
    at = {scale: chosen_interval_m(surface, scale) for scale in (10_000.0, 25_000.0, 50_000.0)}
    south, east = np.gradient(surface.height_m.astype(float), 50.0, 50.0)
    steep = np.quantile(np.hypot(south, east), 0.90)
    for scale, interval_m in at.items():
        assert interval_m is not None
        assert interval_m / steep / scale * 1000 >= 0.45
    assert at[10_000.0] < at[50_000.0]
    # Published maps of low ground: 5 m at 1:25,000, 10 m at 1:50,000 (robertsoutdoornavigation.co.uk).
    gentle = Surface(surface.grid, surface.height_m * 0.2)
    assert chosen_interval_m(gentle, 25_000.0) == 5.0
    assert chosen_interval_m(gentle, 50_000.0) == 10.0
    level = Surface(surface.grid, np.full_like(surface.height_m, 5.0))
    assert chosen_interval_m(level, 25_000.0) is None


def test_each_layer_is_a_group_of_its_name_and_text_stays_text(tmp_path: Path) -> None:
    from xml.etree import ElementTree

    page = Page.of_mm(210, 297)
    frame = lay_frame(page, Box(20, 60, 190, 280), 801_500.0, 5_198_500.0, 25_000)
    place = MapPlace(801_500.0, 5_198_500.0, "Stone Man", looks_grid_deg=90.0)
    entries = draw_map(frame, MapContent(hills(), places=(place,)))
    assert {"station", "where the picture looks"} <= {entry.text for entry in entries}
    root = ElementTree.fromstring(save_page(page, tmp_path / "map.svg").read_text(encoding="utf-8"))
    space = "{http://www.w3.org/2000/svg}"
    groups = {group.get("id") for group in root.iter(f"{space}g")}
    assert {"hillshade", "contours", "index_contours", "grid", "places", "names"} <= groups
    assert "Stone Man" in [text.text for text in root.iter(f"{space}text")]


def test_off_the_ground_a_map_has_neither_contours_nor_shade() -> None:
    page = Page.of_mm(210, 297)
    frame = lay_frame(page, Box(20, 60, 190, 280), 100_000.0, 5_198_500.0, 25_000)
    assert drawn_map(frame, MapContent(hills())).interval_m is None


def test_letters_that_the_font_lacks_are_told() -> None:
    content = MapContent(hills(), places=(MapPlace(0, 0, "Ben 山"), MapPlace(0, 0, "Ciste Dhubh")))
    assert unknown_letters(content) == {"Ben 山": "山"}


def test_the_window_has_a_post_beyond_the_map() -> None:
    window = window_of(hills(), Box(800_980.0, 5_198_020.0, 801_020.0, 5_198_080.0))
    assert window is not None
    assert (window.grid.west_m, window.grid.east_m) == (800_900.0, 801_100.0)


def test_deeper_dead_ground_has_more_washes_where_it_is_deeper() -> None:
    """A pit of dead ground, a cone 30 m deep in its middle and 300 m across: depths and areas by hand."""
    from hillsight.layers.contents import Raster
    from hillsight.sheets.map.washes import draw_depths

    surface = hills()
    middle = np.array([801_500.0, 5_198_500.0])
    away_m = np.hypot(*(np.mgrid[:601, :601] * 5.0 - 1_500.0))
    depth_m = np.where(away_m < 300.0, 30.0 - away_m / 10.0, np.nan)
    edges = (middle[0] - 1_502.5, middle[1] - 1_502.5, middle[0] + 1_502.5, middle[1] + 1_502.5)
    frame = lay_frame(Page.of_mm(210, 297), Box(20, 60, 190, 230), *middle, 10_000)
    chart = frame.layer("dead_ground")
    pit = shapely.Point(*middle).buffer(300.0, 64)
    entries = draw_depths(chart, [pit], Raster(depth_m, edges, UTM), surface)
    # Less than half of it is deeper than 20 m, so that the limits are the finest: 2, 5 and 20 m.
    assert [entry.text for entry in entries] == [
        "dead ground, under 2 m deep",
        "dead ground, 2 to 5 m",
        "dead ground, 5 to 20 m",
        "dead ground, 20 m and more",
    ]
    washes = [washes for washes in chart.axes.collections if washes.get_alpha() is not None]
    for wash, least_m in zip(washes, (2.0, 5.0, 20.0), strict=True):
        found_m2 = sum(shapely.Polygon(path.vertices).area for path in wash.get_paths())
        # The ground's posts are 50 m apart, so that the cone is a pyramid of many sides.
        assert found_m2 == pytest.approx(np.pi * (300.0 - 10.0 * least_m) ** 2, rel=0.06)


def test_classes_of_depth_are_told_apart_and_contours_read_on_them() -> None:
    """Lightness after CIE 15 (L* of a luminance) and contrast after WCAG 2.2, on paper that is not shaded."""
    from matplotlib.colors import to_rgb

    from hillsight.sheets.map import washes
    from hillsight.sheets.paper import palette, signs

    def luminance(rgb: np.ndarray) -> float:
        linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
        return float(linear @ (0.2126, 0.7152, 0.0722))

    left = 1.0 - washes.SHARE * signs.DEAD_GROUND.strength
    shares = [left * (1.0 - washes.DEEPER) ** number for number in range(4)]
    fill = np.array(to_rgb(signs.DEAD_GROUND.fill))
    found = [luminance(share + (1.0 - share) * fill) for share in shares]
    lightness = 116.0 * np.cbrt(found) - 16.0
    assert (-np.diff(lightness) > 4.5).all()
    contour = luminance(np.array(to_rgb(palette.CONTOUR)))
    assert min(found) + 0.05 >= 3.0 * (contour + 0.05)
