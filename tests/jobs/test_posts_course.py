"""Courses read from files: tracks and routes, legs, direction, laps, gaps, checkpoints."""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely

from hillsight.errors import HillsightError
from hillsight.ground.terrain import Terrain, TerrainOptions, open_terrain
from hillsight.jobs.posts.course import read_course
from hillsight.plan.posts.plan import NamedDanger, PlannedCheckpoint, PlannedCourse, PostsPlan, Wanted
from jobs.worlds import heights
from terrains import write_geotiff

A, B, C, D = (300_400.0, 699_000.0), (300_900.0, 699_000.0), (300_900.0, 699_400.0), (300_400.0, 699_400.0)


@pytest.fixture(scope="module")
def terrain(tmp_path_factory: pytest.TempPathFactory) -> Terrain:
    path = tmp_path_factory.mktemp("ground") / "ground.tif"
    write_geotiff(path, heights(), spacing=10.0)
    source = open_terrain(str(path), TerrainOptions())
    return source.on_metric_grid(*source.middle())


def legs(folder: Path, **lines: list[tuple[float, float]]) -> str:
    path = folder / "legs.gpkg"
    shapes = [shapely.LineString(line) for line in lines.values()]
    geopandas.GeoDataFrame({"name": list(lines)}, geometry=shapes, crs=27700).to_file(path, layer="legs")
    return str(path)


def read(terrain: Terrain, file: str, **told: object) -> tuple[list[tuple[float, float]], list[str]]:
    """Vertices of the course in running order, rounded, and the notes."""
    plan = PostsPlan("Round", PlannedCourse(file, **told), Wanted(1))  # type: ignore[arg-type]
    course, notes = read_course(plan, terrain, [None] * len(plan.course.checkpoints))
    return [tuple(np.round(xy, 1)) for xy in zip(course.easting_m, course.northing_m, strict=True)], notes


def test_lines_are_run_in_the_files_order(terrain: Terrain, tmp_path: Path) -> None:
    file = legs(tmp_path, one=[A, B], two=[B, C])
    assert read(terrain, file) == ([A, B, C], [])
    assert read(terrain, file, reverse=True) == ([C, B, A], [])


def test_legs_are_named_and_turned(terrain: Terrain, tmp_path: Path) -> None:
    file = legs(tmp_path, one=[A, B], two=[C, B], three=[C, D, A])
    assert read(terrain, file, legs=("one", "-Two", "three", "one", "-one")) == ([A, B, C, D, A, B, A], [])


def test_a_gap_is_told_and_whether_the_leg_may_be_run_the_other_way(terrain: Terrain, tmp_path: Path) -> None:
    file = legs(tmp_path, one=[A, B], two=[C, B])
    vertices, (note,) = read(terrain, file)
    assert vertices == [A, B, C, B]
    assert "leg 'two' begins 400 m from where the one before ends" in note
    assert "is it run the other way?" in note
    vertices, (note,) = read(terrain, legs(tmp_path, one=[A, B], two=[C, D]))
    assert "begins 400 m" in note and "other way" not in note


def test_laps_must_close(terrain: Terrain, tmp_path: Path) -> None:
    file = legs(tmp_path, ring=[A, B, C, D, A])
    plan = PostsPlan("Round", PlannedCourse(file, laps=3), Wanted(1))
    course, _ = read_course(plan, terrain, [])
    assert course.length_m == pytest.approx(3 * 1800.0)
    with pytest.raises(HillsightError, match="ends 640 m from where it starts"):
        read(terrain, legs(tmp_path, open=[A, B, C]), laps=2)


def test_gpx_tracks_go_before_routes_and_are_brought_onto_the_grid(terrain: Terrain, tmp_path: Path) -> None:
    """Written by GeoPandas in WGS 84, read back within a metre or two of the datum shift."""
    wanted = geopandas.GeoSeries([shapely.LineString([A, B, C])], crs=27700).to_crs(4326)
    spots = "".join(f'<trkpt lat="{y:.8f}" lon="{x:.8f}"/>' for x, y in wanted.iloc[0].coords)
    head = '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">'
    track = f"<trk><name>Round</name><trkseg>{spots}</trkseg></trk>"
    route = "<rte>" + '<rtept lat="1" lon="1"/><rtept lat="2" lon="2"/>' + "</rte>"
    both, alone = tmp_path / "both.gpx", tmp_path / "route.gpx"
    both.write_text(f"{head}{route}{track}</gpx>")
    alone.write_text(f"{head}<rte>{spots.replace('trkpt', 'rtept')}</rte></gpx>")
    for file in (both, alone):
        vertices, _ = read(terrain, str(file))
        np.testing.assert_allclose(vertices, [A, B, C], atol=3.0)


def test_a_file_without_lines_and_one_of_points_are_refused(terrain: Terrain, tmp_path: Path) -> None:
    path = tmp_path / "points.gpkg"
    geopandas.GeoDataFrame(geometry=[shapely.Point(A)], crs=27700).to_file(path, layer="points")
    with pytest.raises(HillsightError, match="no line of two places or more"):
        read(terrain, str(path))
    with pytest.raises(HillsightError, match="no such file"):
        read(terrain, str(tmp_path / "none.gpx"))


def test_vertices_that_are_no_numbers_are_refused(terrain: Terrain, tmp_path: Path) -> None:
    """A CSV file has one layer without a name: none is told."""
    path = tmp_path / "broken.csv"
    path.write_text('WKT,name\n"LINESTRING(nan 699000, 300900 699000)",out\n', encoding="utf-8")
    with pytest.raises(HillsightError, match="coordinates are no numbers") as raised:
        read(terrain, str(path))
    assert "layer" not in str(raised.value)


def test_dangers_beyond_the_lap_are_refused(terrain: Terrain, tmp_path: Path) -> None:
    """The lap is 500 m long."""
    course = PlannedCourse(legs(tmp_path, one=[A, B]))
    plan = PostsPlan("Round", course, Wanted(1), named_dangers=(NamedDanger("gully", 600.0, 700.0),))
    with pytest.raises(HillsightError, match="danger 'gully' begins 600 m along a lap of 500 m"):
        read_course(plan, terrain, [])


def test_checkpoints_are_brought_onto_the_line_in_running_order(terrain: Terrain, tmp_path: Path) -> None:
    told = (PlannedCheckpoint("far", along_m=800.0), PlannedCheckpoint("near", 300_600.0, 699_020.0))
    plan = PostsPlan("Round", PlannedCourse(legs(tmp_path, one=[A, B, C]), checkpoints=told), Wanted(1))
    course, _ = read_course(plan, terrain, [None, (300_600.0, 699_020.0)])
    assert [(one.name, one.along_m) for one in course.checkpoints] == [("near", 200.0), ("far", 800.0)]
    with pytest.raises(HillsightError, match="stands 300 m beside the course"):
        read_course(plan, terrain, [None, (300_600.0, 699_300.0)])
    beyond = (PlannedCheckpoint("far", along_m=8_000.0),)
    plan = PostsPlan("Round", PlannedCourse(legs(tmp_path, one=[A, B, C]), checkpoints=beyond), Wanted(1))
    with pytest.raises(HillsightError, match="8,000 m along a lap of 900 m"):
        read_course(plan, terrain, [None])
