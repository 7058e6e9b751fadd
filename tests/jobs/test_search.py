"""search: the place of a made view is found; lines; what is refused, and what is not decided."""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely
from scipy import ndimage

import hillsight
from hillsight.errors import HillsightError, MarksError
from hillsight.plan.picture.marks import MarkedPhotograph, Marks, Trace
from jobs.made_views import HEIGHT_PX, WIDTH_PX, traced_view
from terrains import fractal, write_geotiff

SPACING, POSTS = 50.0, 161
WEST, NORTH = 300_000.0, 700_000.0
#: Smooth ground, with nothing between its posts.
HEIGHT = ndimage.gaussian_filter(fractal(POSTS, POSTS, seed=21, relief_m=900.0), 1.0).astype(np.float32)
KNOWN = {"between_posts": "straight", "terrain_error": 0.3, "error_correlation": 500.0}

#: Where the view was taken, in posts and on the map: amid four cells of the lattice searched.
ROW, COLUMN, HEADING = 78.4, 84.3, 115.0
EAST, NORTHING = WEST + SPACING * (COLUMN + 0.5), NORTH - SPACING * (ROW + 0.5)


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> str:
    file = tmp_path_factory.mktemp("ground") / "ground.tif"
    write_geotiff(file, HEIGHT, spacing=SPACING)
    return str(file)


@pytest.fixture(scope="module")
def marks() -> Marks:
    """Three tenths of the width not traced."""
    return traced_view(
        HEIGHT, SPACING, ROW, COLUMN, HEADING, tilt_deg=4.0, hidden=((-20.0, -11.0), (6.0, 15.0))
    )


def about(east_m: float, north_m: float, half_m: float) -> geopandas.GeoDataFrame:
    box = shapely.box(east_m - half_m, north_m - half_m, east_m + half_m, north_m + half_m)
    return geopandas.GeoDataFrame(geometry=[box], crs=27700)


@pytest.mark.slow
def test_the_place_is_found(ground: str, marks: Marks, tmp_path: Path) -> None:
    found = hillsight.search(
        ground,
        marks=marks,
        width=62.0,  # the picture is 60 degrees wide
        area=about(EAST + 400, NORTHING - 300, 1_000),
        out=tmp_path / "found.gpkg",
        rasters=tmp_path / "rasters",
        **KNOWN,
    )
    rows = found.frames["possible_places"]
    best = rows.iloc[0]
    assert np.hypot(best["easting_m"] - EAST, best["northing_m"] - NORTHING) < 75.0
    # The width is told 2 degrees out, and a wider picture turned a little looks much the same.
    assert best["heading_grid_deg"] == pytest.approx(HEADING, abs=3.0)
    assert best["tilt_deg"] == pytest.approx(4.0, abs=2.0)
    assert best["roll_deg"] == pytest.approx(-1.0, abs=2.5)
    assert best["width_deg"] == pytest.approx(60.0, abs=4.0)
    assert best["within_500_m"] > 0.3
    assert rows["probability"].sum() <= 1.0 + 1e-6
    assert best["within_100_m"] <= best["within_500_m"] <= 1.0 + 1e-6
    raster = found.rasters["probability_of_place"].array
    assert np.nansum(raster) == pytest.approx(1.0, abs=1e-4)
    assert (tmp_path / "rasters" / "probability_of_place.tif").exists()
    assert "emergency" in found.lines[-1] and found.lines[0].startswith(("Decided", "Undecided"))


def test_a_place_along_a_path_is_found(ground: str, marks: Marks) -> None:
    path = shapely.LineString(
        [(EAST - 1_200, NORTHING - 900), (EAST, NORTHING), (EAST + 1_500, NORTHING + 200)]
    )
    lines = geopandas.GeoDataFrame(geometry=[path], crs=27700)
    found = hillsight.search(ground, marks=marks, width=60.0, lines=lines, apart=25.0, **KNOWN)
    best = found.frames["possible_places"].iloc[0]
    assert np.hypot(best["easting_m"] - EAST, best["northing_m"] - NORTHING) < 150.0
    assert not found.rasters


def test_about_a_station(ground: str, marks: Marks) -> None:
    found = hillsight.search(
        ground, marks=marks, width=60.0, at=(EAST + 300, NORTHING), within=600.0, **KNOWN
    )
    best = found.frames["possible_places"].iloc[0]
    assert np.hypot(best["easting_m"] - EAST, best["northing_m"] - NORTHING) < 150.0
    assert np.hypot(best["easting_m"] - EAST - 300, best["northing_m"] - NORTHING) <= 600.0


def test_where_nothing_fits_it_says_so(ground: str) -> None:
    """A trace of teeth that no ground has: 15 degrees up and down every 3 degrees."""
    x_px = np.linspace(50.0, WIDTH_PX - 50.0, 600)
    y_px = HEIGHT_PX / 2 + 330.0 * np.sign(np.sin(x_px / 75.0))
    teeth = Marks(MarkedPhotograph("teeth.jpg", WIDTH_PX, HEIGHT_PX, "ef" * 32), (), (Trace(x_px, y_px),))
    found = hillsight.search(ground, marks=teeth, width=60.0, area=about(EAST, NORTHING, 600))
    assert found.ranking.state == "none_fits" and found.is_undecided
    assert found.lines[0].startswith("None of the places fits")


def test_a_level_trace_decides_nothing(ground: str) -> None:
    """On level ground all places are alike: no share may gather about one of them."""
    x_px = np.linspace(50.0, WIDTH_PX - 50.0, 100)
    level = Trace(x_px, np.full(100, HEIGHT_PX / 2))
    flat = Marks(MarkedPhotograph("flat.jpg", WIDTH_PX, HEIGHT_PX, "ef" * 32), (), (level,))
    from rasterio.transform import from_origin

    from hillsight.jobs.memory import Raster

    plain = Raster(np.full((60, 60), 5.0, np.float32), from_origin(WEST, NORTH, 100.0, 100.0), "EPSG:27700")
    middle = about(WEST + 3_000, NORTH - 3_000, 1_500)
    found = hillsight.search(plain, marks=flat, width=60.0, area=middle, apart=100.0)
    assert found.ranking.state == "undecided"
    assert found.ranking.about[0] < 0.05


def test_too_short_a_trace_is_refused(ground: str, marks: Marks) -> None:
    x_px = np.linspace(1_400.0, 1_600.0, 40)
    short = Marks(marks.photograph, (), (Trace(x_px, np.full(40, 900.0)),))
    with pytest.raises(MarksError, match="spans 4 degrees"):
        hillsight.search(ground, marks=short, width=60.0)
    with pytest.raises(MarksError, match="no skyline is traced"):
        hillsight.search(ground, marks=Marks(marks.photograph), width=60.0)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"area": about(100_000.0, 100_000.0, 500.0)}, "no place to search lies on known ground"),
        ({"width": None}, "how wide the photograph is"),
        ({"apart": 0.0}, "apart is 0 m"),
        ({"decide_from": 1.0}, "nothing is decided"),
        ({"area_layer": "woods"}, "a layer is named"),
        ({"area": about(EAST, NORTHING, 500.0), "lines": about(EAST, NORTHING, 500.0)}, "searched apart"),
        ({"lines": about(EAST, NORTHING, 500.0)}, "there are no lines"),
        ({"rasters": "folder"}, "made from the GeoPackage"),
        ({"apart": 1.0}, "places would be looked from"),
    ],
)
def test_what_is_refused(ground: str, marks: Marks, asked: dict[str, object], said: str) -> None:
    with pytest.raises(HillsightError, match=said):
        hillsight.search(ground, **{"marks": marks, "width": 60.0, **asked})  # type: ignore[arg-type]
