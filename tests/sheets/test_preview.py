"""The pictures: written whole, they show what the file says, and nothing on them runs into anything else."""

from __future__ import annotations

import itertools
import warnings
from pathlib import Path

import geopandas
import matplotlib
import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.colors import to_hex, to_rgb
from PIL import Image

import terrains
from hillsight.errors import HillsightError, OutputError
from hillsight.ground.terrain import open_terrain
from hillsight.layers.contents import Content, read_contents
from hillsight.scripts import bearings, dead_ground, outlook, viewshed
from hillsight.sheets.paper import relief, signs
from hillsight.sheets.paper.labels import Box, Placer, drawable, rows_above, spread
from hillsight.sheets.paper.maps import north_words
from hillsight.sheets.paper.relief import mixed
from hillsight.sheets.station.bearing_strip import draw_bearings
from hillsight.sheets.station.ground_sheet import draw_ground
from hillsight.sheets.station.preview import preview_all
from hillsight.sheets.station.raster_sheet import draw_rasters

#: ISO/IEC 15948, clause 5.2.
PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"

EAST, NORTH, REACH = 300_805.0, 699_195.0, 720.0  # the middle of the terrain
HOSTILE = (
    "Harrow\nPike\t$x^2$ \\frac",
    "🏔️🏔️ Bèinn Ämne 山",
    "A very long name that goes on and on without ever coming to any end at all",
    "$unclosed",
    "",
    "'); DROP TABLE stations; --",
    "\u202eright to left\u202c",
)
STATION = "Knott $of$ 🏔️ the\nlong-named $ridge and then some more words of it"


def _features(count: int = 60) -> geopandas.GeoDataFrame:
    random = np.random.default_rng(11)
    bearing, distance = random.uniform(0, 2 * np.pi, count), random.uniform(30, 0.97 * REACH, count)
    x, y = EAST + distance * np.sin(bearing), NORTH + distance * np.cos(bearing)
    shapes: list[shapely.Geometry] = [shapely.Point(a, b) for a, b in zip(x, y, strict=True)]
    shapes[5] = shapely.LineString([(x[5], y[5]), (EAST + 300, NORTH + 40), (EAST + 350, NORTH + 300)])
    shapes[6] = shapely.Point(EAST - 200, NORTH - 250).buffer(60)
    shapes[7] = shapely.LineString([(EAST - 500, NORTH + 100), (EAST + 400, NORTH + 350)])
    kinds = itertools.cycle(["summit", "tarn", "sheepfold", "knoll", "oddity", "stream", "tarn", "path"])
    names = [HOSTILE[i] if i < len(HOSTILE) else f"Made Top {i}" for i in range(count)]
    return geopandas.GeoDataFrame(
        {"name": names, "kind": list(itertools.islice(kinds, count))}, geometry=shapes, crs="EPSG:27700"
    )


def _run(command: object, *arguments: str) -> None:
    result = CliRunner().invoke(command, [*arguments, "--quiet"])  # type: ignore[arg-type]
    assert result.exit_code == 0, result.output


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with terrain, features and what each script writes of them."""
    folder = tmp_path_factory.mktemp("made")
    height = terrains.fractal(162, 162, seed=4, relief_m=220.0, roughness=2.4)
    terrains.write_geotiff(folder / "terrain.tif", terrains.with_hole(height, 30, 90, 18, 22), unit="m")
    _features().to_file(folder / "features.gpkg", layer="things", driver="GPKG")
    common = ("--terrain", str(folder / "terrain.tif"), "--reach", str(REACH))
    at = ("--at", f"{EAST},{NORTH},{STATION}")
    listing = ("--features", str(folder / "features.gpkg"))
    date = ("--date", "2026-06-01")
    _run(outlook.command, *common, *at, *listing, *date, "--out", str(folder / "all.gpkg"))
    other = ("--out-crs", "EPSG:32630", "--out", str(folder / "utm.gpkg"))
    _run(outlook.command, *common, *at, *listing, *date, *other)
    _run(viewshed.command, *common, *at, "--out", str(folder / "viewshed.gpkg"))
    _run(dead_ground.command, *common, *at, "--out", str(folder / "dead.gpkg"))
    sector = ("--from-bearing", "300", "--to-bearing", "50")
    _run(bearings.command, *common, *at, *listing, *sector, "--out", str(folder / "sector.gpkg"))
    return folder


@pytest.fixture(scope="module")
def surface(made: Path):
    """The terrain as the pictures take it."""
    terrain = open_terrain(str(made / "terrain.tif")).on_metric_grid(-3.6, 56.2)
    return terrain.window(EAST, NORTH, REACH)


def _station(package: Path):
    return pyogrio.read_dataframe(package, layer="stations").iloc[0]


def read_content(package: Path, station: str, crs: object = None) -> Content:
    """What the file holds for one station, in a CRS."""
    content = {one.label: one for one in read_contents(package)}[station]
    return content if crs is None else content.in_crs(crs, (-2.0, 56.0))  # type: ignore[arg-type]


def _label(package: Path) -> str:
    return str(_station(package)["station"])


@pytest.fixture(scope="module")
def pages(made: Path, surface):
    package = made / "all.gpkg"
    content = read_content(package, _label(package), surface.grid.crs)
    features = _features()
    features["evidence_class"] = ["ground_shape", "water", "man_made", "ground_shape", "unclassed"] * 12
    return {
        "ground": draw_ground(content, surface, features=features),
        "bearings": draw_bearings(content),
        "rasters": draw_rasters(content, surface),
    }


def _share(package: Path, column: str) -> float:
    row = _station(package)
    return float(row[column] / row["reach_ha"])


def _near(pixels: np.ndarray, colour: str) -> np.ndarray:
    wanted = np.rint(np.array(to_rgb(colour)) * 255)
    return np.abs(pixels.astype(int) - wanted).max(axis=-1) <= 1


def test_files_are_written_in_the_sizes_promised(made: Path, surface, tmp_path: Path) -> None:
    package = made / "all.gpkg"
    content = read_content(package, _label(package), surface.grid.crs)
    # A4 is 210 x 297 mm (ISO 216); at 150 dots an inch 1240.2 x 1753.9 pixels.
    sizes = {
        draw_ground(content, surface, features=_features()).save(tmp_path / "g.png"): (1240, 1754),
        draw_bearings(content).save(tmp_path / "b.png"): (1754, 1240),
        draw_rasters(content, surface).save(tmp_path / "r.png"): (1754, 1240),
    }
    for path, size in sizes.items():
        with Image.open(path) as picture:
            assert picture.format == "PNG" and picture.size == size
            colours = {colour for _, colour in picture.convert("RGB").getcolors(1 << 24)}
            assert len(colours) > 50
            assert "Software" not in picture.info
    assert sorted(p.name for p in tmp_path.iterdir()) == ["b.png", "g.png", "r.png"]


def test_states_fill_their_share_of_the_raster_picture(pages, made: Path) -> None:
    pixels = pages["rasters"].pixels()[: 1240 - 362, 100:840]
    disc = np.pi / 4 * (740 / 1.04) ** 2  # the reach fills the map but for its margin
    dead, hatch = signs.DEAD_GROUND, signs.DEAD_GROUND.texture
    wash = mixed(dead.fill, dead.strength)
    washes = [to_hex(wash), to_hex(mixed(hatch.colour, hatch.strength, to_hex(wash))), dead.edge.colour]
    hidden = np.any([_near(pixels, colour) for colour in washes], axis=0).sum()
    visible = _near(pixels, to_hex(mixed(signs.SEEN.fill, signs.SEEN.strength))).sum()
    # Grid lines, circle and the station's mark cover a little of each.
    assert hidden / disc == pytest.approx(_share(made / "all.gpkg", "hidden_ha"), abs=0.04)
    assert visible / disc == pytest.approx(_share(made / "all.gpkg", "visible_ha"), abs=0.03)
    assert hidden > 20_000 and visible > 20_000


@pytest.mark.parametrize("name", ["all.gpkg", "utm.gpkg", "dead.gpkg"])
def test_map_pixels_agree_with_the_totals(made: Path, surface, name: str) -> None:
    content = read_content(made / name, _label(made / name), surface.grid.crs)
    limits = Box(EAST - 800, NORTH - 800, EAST + 800, NORTH + 800)
    ground = relief.ground(content, surface, limits, 800, 800)
    disc = np.pi * REACH**2 / 4.0  # in pixels of 2 m
    for code, column in ((1, "hidden_ha"), (3, "visible_ha"), (4, "unknown_ha")):
        share = (ground.state == code).sum() / disc
        assert share == pytest.approx(_share(made / name, column), abs=0.002), column
        assert share > 0.01
    assert (ground.state == relief.NOT_TOLD).sum() == 0
    if name != "dead.gpkg":
        assert np.isfinite(ground.depth_m[ground.state == 1]).mean() > 0.999


def test_dead_ground_is_blue_and_seen_ground_is_not_on_the_finished_map(made: Path, surface) -> None:
    content = read_content(made / "all.gpkg", _label(made / "all.gpkg"), surface.grid.crs)
    pixels = draw_ground(content, surface).pixels()[1754 - 1646 : 1754 - 546, 100:1200].astype(int)
    red, blue = pixels[..., 0], pixels[..., 2]
    disc = np.pi / 4 * (1100 / 1.04) ** 2
    # Contours and crest lines are drawn over both.
    assert (blue > red + 6).sum() / disc == pytest.approx(_share(made / "all.gpkg", "hidden_ha"), abs=0.09)
    assert (red > blue + 25).sum() / disc == pytest.approx(_share(made / "all.gpkg", "visible_ha"), abs=0.09)


@pytest.mark.parametrize("kind", ["ground", "bearings", "rasters"])
def test_no_text_overlaps_another_or_leaves_the_page(pages, kind: str) -> None:
    page = pages[kind]
    sheet = Box(0, 0, page.width, page.height)
    assert len(page.texts) > 20
    for text, box in page.texts:
        assert box.within(sheet), text
        assert "\n" not in text
    if kind == "ground":
        assert sum("$ridge" in text for text, _ in page.texts) == 2  # the title and the station's mark
    for (a, box_a), (b, box_b) in itertools.combinations(page.texts, 2):
        # Boxes are a whole line high; lines of one paragraph may touch.
        assert not box_a.overlaps(box_b, -1.5), (a, b)


def test_boxes_are_where_the_ink_is() -> None:
    from hillsight.sheets.paper.page import Page

    page = Page(600, 200)
    box = page.text(100, 100, "Ågypt|jÉ", 12)
    dark = np.argwhere(page.pixels().sum(axis=-1) < 400)
    top, left = dark.min(axis=0)
    bottom, right = dark.max(axis=0)
    assert box.left - 2 <= left and right <= box.right + 2
    assert 200 - box.top - 2 <= top and bottom <= 200 - box.bottom + 2
    assert right - left > 0.9 * box.width - 4


def test_names_of_seen_features_stand_on_the_strip(pages, made: Path) -> None:
    rows = pyogrio.read_dataframe(made / "all.gpkg", layer="bearing_list")
    told = rows["state"].isin(["visible", "partly", "uncertain"])
    seen = rows[told & rows["name"].str.startswith("Made Top", na=False)]
    texts = [text for text, _ in pages["bearings"].texts]
    assert len(seen) > 3
    found = [
        any(text.startswith(f"{row.bearing_true_deg % 360:03.0f} {row.name}") for text in texts)
        for row in seen.itertuples()
    ]
    assert np.mean(found) > 0.6, "those for which there is room"


def test_a_hidden_feature_says_by_how_much(pages, made: Path) -> None:
    rows = pyogrio.read_dataframe(made / "all.gpkg", layer="bearing_list")
    hidden = rows[rows["state"] == "hidden"].set_index("name")["hidden_by_m"]
    found = [text for text, _ in pages["bearings"].texts if "Made Top" in text and "(hidden by" in text]
    assert found
    for text in found:
        name, _, rest = text.partition(" (hidden by ")
        assert float(rest.removesuffix(" m)")) == pytest.approx(hidden[name[4:]], rel=0.06, abs=0.1)


def test_skyline_of_a_wall_is_drawn_at_its_angle(tmp_path: Path) -> None:
    # By hand: a wall 30 m tall across the map 200 m north of an eye 1.6 m above a plane.
    walled = terrains.with_wall(terrains.plane(81, 81), row=20, wall_m=30.0)
    terrains.write_geotiff(tmp_path / "wall.tif", walled, unit="m")
    where = ("--terrain", str(tmp_path / "wall.tif"), "--at", "300400,699600,Here", "--reach", "380")
    _run(outlook.command, *where, "--out", str(tmp_path / "wall.gpkg"))
    page = draw_bearings(read_content(tmp_path / "wall.gpkg", "Here"))
    # The scales as a reader takes them: from the printed figures of the upper strip.
    across: dict[str, float] = {}
    for text, box in page.texts[2:]:  # the row of true bearings comes first
        across.setdefault(text, (box.left + box.right) / 2)
    angles = [(text, box) for text, box in page.texts[2:] if text.endswith("°")]
    heights = {
        float(text.strip("°+").replace("−", "-")): (box.bottom + box.top) / 2
        for text, box in angles[: len(angles) // 2]
    }
    low, high = min(heights), max(heights)
    per_degree = (heights[high] - heights[low]) / (high - low)
    convergence = float(_station(tmp_path / "wall.gpkg")["convergence_deg"])
    lightness = page.pixels().astype(int).sum(axis=-1)
    for bearing in (12.0, 25.0, 42.0):
        column = across["010"] + (bearing - 10.0) / 160.0 * (across["170"] - across["010"])
        distance = 200.0 / np.cos(np.radians(bearing - convergence))
        expected = heights[low] + per_degree * (np.degrees(np.arctan2(28.4, distance)) - low)
        row = round(page.height - expected)
        dark = np.flatnonzero(lightness[row - 14 : row + 15, round(column)] < 300)
        assert dark.size and abs(dark.mean() - 14) <= 2.5, bearing


def test_a_sector_takes_the_height_of_its_own_ground(made: Path, surface) -> None:
    content = read_content(made / "sector.gpkg", _label(made / "sector.gpkg"), surface.grid.crs)
    texts = [text for text, _ in draw_bearings(content).texts]
    (told,) = [text for text in texts if "of the bearings" in text]
    times = told.split("scale is ")[1].split("that of")[0].removesuffix(" times ")
    assert 1.0 <= float(times or 1.0) <= 2.0


@pytest.mark.slow
def test_same_bytes_again_whatever_the_users_settings(made: Path, surface, tmp_path: Path) -> None:
    package = made / "all.gpkg"
    label = _label(package)
    before = dict(matplotlib.rcParams)

    def draw(folder: str) -> list[bytes]:
        drawn = preview_all(read_contents(package), surface, tmp_path / folder, features=_features())
        return [p.read_bytes() for p in drawn]

    first = draw("one")
    assert dict(matplotlib.rcParams) == before
    odd = {
        "font.size": 30,
        "font.family": "serif",
        "lines.linewidth": 9,
        "axes.facecolor": "black",
        "savefig.bbox": "tight",
        "savefig.dpi": 33,
        "lines.markersize": 40,
        "image.origin": "lower",
        "axes.xmargin": 0.3,
        "lines.dash_joinstyle": "miter",
    }
    with matplotlib.rc_context(odd):
        assert draw("two") == first
    assert len(first) == 3 and label


@pytest.mark.slow
def test_hostile_names_give_safe_files_and_no_warning(made: Path, surface, tmp_path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # a glyph that the font lacks would warn
        written = preview_all(read_contents(made / "all.gpkg"), surface, tmp_path, features=_features())
    for path in written:
        assert path.parent == tmp_path and path.name.isascii() and path.is_file()
        assert set(path.stem) <= set("abcdefghijklmnopqrstuvwxyz0123456789_")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "kinds"),
    [("viewshed.gpkg", ["ground", "rasters"]), ("dead.gpkg", ["ground"]), ("sector.gpkg", ["bearings"])],
)
def test_files_with_some_layers_give_the_pictures_they_can(
    made: Path, surface, tmp_path: Path, name: str, kinds: list[str]
) -> None:
    written = preview_all(read_contents(made / name), surface, tmp_path)
    assert [path.stem.rpartition("_")[2] for path in written] == kinds


@pytest.mark.slow
def test_every_picture_can_be_drawn_of_every_file(made: Path, surface, tmp_path: Path) -> None:
    for name in ("viewshed.gpkg", "dead.gpkg", "sector.gpkg"):
        content = read_content(made / name, _label(made / name), surface.grid.crs)
        draw_ground(content, surface).save(tmp_path / "g.png")
        draw_bearings(content).save(tmp_path / "b.png")
        draw_rasters(content, surface).save(tmp_path / "r.png")
        for picture in ("g.png", "b.png", "r.png"):
            assert (tmp_path / picture).read_bytes().startswith(PNG_SIGNATURE), (name, picture)
            (tmp_path / picture).unlink()


def test_empty_layers_and_flat_ground(tmp_path: Path) -> None:
    terrains.write_geotiff(tmp_path / "flat.tif", terrains.plane(60, 60), unit="m")
    where = ("--terrain", str(tmp_path / "flat.tif"), "--at", "300295,699705", "--reach", "200")
    _run(outlook.command, *where, "--out", str(tmp_path / "flat.gpkg"))
    terrain = open_terrain(str(tmp_path / "flat.tif")).on_metric_grid(-3.6, 56.2)
    none = geopandas.GeoDataFrame({"name": [], "kind": []}, geometry=[], crs="EPSG:27700")
    contents = read_contents(tmp_path / "flat.gpkg")
    written = preview_all(contents, terrain.whole(), tmp_path / "out", features=none)
    assert len(written) == 3
    content = read_content(tmp_path / "flat.gpkg", _label(tmp_path / "flat.gpkg"), terrain.crs)
    assert all(content.frames[layer].empty for layer in ("dead_ground", "unknown_ground", "crest_lines"))
    texts = [text for text, _ in draw_ground(content, terrain.whole()).texts]
    assert not any("dead ground under" in text or "contour" in text for text in texts)


def test_rasters_are_found_by_what_the_file_says_of_them_not_by_the_order_of_labels(
    made: Path, tmp_path: Path
) -> None:
    # Labels that fold to one table name: the second raster is named after a checksum of its label.
    common = ("--terrain", str(made / "terrain.tif"), "--reach", "200")
    places = [("--at", f"{EAST + 50 * n},{NORTH},{label}") for n, label in enumerate(("Tòp", "top", "TOP!"))]
    _run(viewshed.command, *common, *itertools.chain(*places), "--out", str(tmp_path / "three.gpkg"))
    content = {one.label: one for one in read_contents(tmp_path / "three.gpkg")}
    assert sorted(content) == ["TOP!", "Tòp", "top"]
    for one in content.values():
        raster = one.rasters["viewshed"]
        rows, columns = raster.array.shape
        west, _, east, _ = raster.edges
        beyond = np.flatnonzero((raster.array != 0).any(axis=0))
        middle = west + (beyond.mean() + 0.5) * (east - west) / columns
        assert middle == pytest.approx(one.station["easting_m"], abs=10.0) and rows == columns
    turned = tmp_path / "turned.gpkg"
    turned.write_bytes((tmp_path / "three.gpkg").read_bytes())
    stations = pyogrio.read_dataframe(turned, layer="stations")
    pyogrio.write_dataframe(stations.iloc[::-1], turned, layer="stations")
    assert [one.label for one in read_contents(turned)] == stations["station"].tolist()[::-1]
    for one in read_contents(turned):
        assert np.array_equal(one.rasters["viewshed"].array, content[one.label].rasters["viewshed"].array)


def test_terrain_that_lies_elsewhere_still_draws(made: Path, tmp_path: Path) -> None:
    terrains.write_geotiff(tmp_path / "far.tif", terrains.plane(20, 20), west=500_000.0, unit="m")
    far = open_terrain(str(tmp_path / "far.tif")).on_metric_grid(-3.6, 56.2).whole()
    content = read_content(made / "all.gpkg", _label(made / "all.gpkg"), far.grid.crs)
    draw_ground(content, far).save(tmp_path / "g.png")
    assert (tmp_path / "g.png").read_bytes().startswith(PNG_SIGNATURE)


def test_trouble_is_said_and_nothing_is_left(made: Path, surface, tmp_path: Path) -> None:
    package = made / "all.gpkg"
    with pytest.raises(HillsightError, match="no such file"):
        list(read_contents(made / "missing.gpkg"))
    (tmp_path / "text.gpkg").write_text("no package")
    with pytest.raises(HillsightError, match="no GeoPackage with stations"):
        list(read_contents(tmp_path / "text.gpkg"))
    with pytest.raises(OutputError, match="folder does not exist"):
        draw_bearings(read_content(package, _label(package))).save(tmp_path / "none" / "b.png")
    with pytest.raises(OutputError, match="folder cannot be made"):
        preview_all(read_contents(package), surface, tmp_path / "text.gpkg")
    assert [p.name for p in tmp_path.iterdir()] == ["text.gpkg"]


@pytest.mark.parametrize(
    ("crs", "place"), [("EPSG:27700", (216_671, 771_281)), ("EPSG:32755", (650_000, 6e6))]
)
def test_true_north_is_said_on_the_side_where_it_lies(crs: str, place: tuple[float, float]) -> None:
    # Outside the project: PROJ carries a point due north of the place onto the grid.
    to_map = pyproj.Transformer.from_crs(pyproj.CRS(crs).geodetic_crs, crs, always_xy=True)
    longitude, latitude = to_map.transform(*place, direction="INVERSE")
    east, north = to_map.transform(longitude, latitude + 1e-4)
    to_the_right_deg = np.degrees(np.arctan2(east - place[0], north - place[1]))
    factors = pyproj.Proj(crs).get_factors(longitude, latitude)
    words = north_words({"convergence_deg": factors.meridian_convergence, "declination_deg": None})
    side = "right (east)" if to_the_right_deg > 0 else "left (west)"
    assert f"True north lies {abs(to_the_right_deg):.1f}° to the {side} of grid north" in words


def test_magnetic_north_in_words() -> None:
    # By hand: grid north 2.5 west of true, magnetic north 1.2 west of true: 1.3 right of grid north.
    row = {"convergence_deg": -2.5, "declination_deg": -1.2, "declination_uncertainty_deg": 0.4}
    words = north_words({**row, "declination_date": "2026-06-01"})
    assert "magnetic north lies 1.3° to the right (east) of grid north" in words


@given(st.lists(st.tuples(st.floats(0, 900), st.floats(5, 240)), max_size=40), st.integers(1, 12))
def test_rows_of_labels_keep_apart_and_off_the_leaders(marks: list[tuple[float, float]], rows: int) -> None:
    bounds = Box(-10, 50, 1100, 50 + rows * 20)
    xs = spread([x for x, _ in marks], 9.0)
    boxes = rows_above(xs, [w for _, w in marks], 16.0, bounds)
    placed = [(x, box) for x, box in zip(xs, boxes, strict=True) if box is not None]
    for x, box in placed:
        assert box.within(bounds)
        for _, other in placed:
            if other is not box:
                assert not box.overlaps(other)
                assert not (other.left < x < other.right and other.bottom < box.bottom)
        assert box.left <= x
    if marks and marks[0][1] < 200 and len(marks) == 1 and 0 <= xs[0] <= 900:
        assert placed


@given(st.lists(st.floats(0, 1000), max_size=60), st.floats(1, 30))
def test_spread_keeps_order_distance_and_middle(places: list[float], least: float) -> None:
    moved = spread(places, least)
    order = sorted(range(len(places)), key=lambda i: (places[i], i))
    for a, b in itertools.pairwise(order):
        assert moved[b] - moved[a] >= least - 1e-6
    assert sum(moved) == pytest.approx(sum(places), abs=1e-6)
    if all(places[b] - places[a] > least + 1e-6 for a, b in itertools.pairwise(order)):
        assert moved == pytest.approx(places)


def test_no_leader_runs_through_a_label() -> None:
    # Two marks in one place: the second label would stand above the first, its leader through it.
    boxes = rows_above([100.0, 100.0], [50.0, 50.0], 16.0, Box(0, 0, 500, 100))
    assert [box is None for box in boxes] == [False, True]
    boxes = rows_above(spread([100.0, 100.0], 9.0), [50.0, 50.0], 16.0, Box(0, 0, 500, 100))
    assert None not in boxes


def test_placer_says_when_there_is_no_room() -> None:
    placer = Placer(Box(0, 0, 60, 60))
    found = [placer.beside(30, 30, 24, 10, 6) for _ in range(40)]
    boxes = [box for box in found if box is not None]
    assert len(boxes) >= 4 and found[-1] is None
    assert all(not a.overlaps(b) for a, b in itertools.combinations(boxes, 2))


def test_drawable_names() -> None:
    known = frozenset(map(ord, "abc -□…"))
    assert drawable("a\nb\t c", 20, known) == "a b c"
    assert drawable("a🏔️🏔️山b", 20, known) == "a□b"
    assert drawable("abcabcabc", 5, known) == "abca…"
    assert drawable(None, 5) == drawable(float("nan"), 5) == drawable(" \n", 5) == ""
