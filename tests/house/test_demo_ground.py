"""The invented upland must be ground that a hill-goer would believe, and the same every time.

Outside standards used here, all from memory, none read for this file:
Hack 1957 (USGS Prof. Paper 294-B) and later surveys: main stream length grows as
catchment^h, h about 0.5-0.65 (0.05 below is allowed for the steps of a lattice and one sheet's few rivers);
Flint 1974, Tucker & Whipple 2002: channel slope falls as catchment^-theta, theta mostly 0.4-0.7;
Whipple 2004 (Annu. Rev. Earth Planet. Sci. 32) has a class of low values, below 0.4, for short steep
streams and for streams not yet worn to their new outlets, which is what this upland has (about 0.25);
Strahler 1952 (hypsometry): mature land has a hypsometric integral of about 0.35-0.6, worn land with
monadnocks less; the lower bound here is 0.3.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pyproj
import pytest
import rasterio
from scipy import ndimage

from hillsight.ground.cover_table import CoverTable
from hillsight.ground.evidence import EvidenceTable

from scripts.commands import run  # isort: skip

#: The demo is made and its commands run: minutes.
pytestmark = pytest.mark.slow

GENERATOR = Path(__file__).resolve().parents[2] / "demo_project" / "generate.py"
POINT_LAYERS = ("tops", "saddles", "buildings")
LINE_LAYERS = ("streams", "crags", "walls", "fences", "paths")


class Demo:
    """The three files, opened."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with rasterio.open(folder / "terrain.tif") as terrain:
            self.z = terrain.read(1).astype(float)
            self.crs = terrain.crs
            self.bounds = terrain.bounds
            self.profile = dict(terrain.profile)
        names = [name for name, _ in pyogrio.list_layers(folder / "features.gpkg")]
        self.layers = {name: geopandas.read_file(folder / "features.gpkg", layer=name) for name in names}
        self.stations = geopandas.read_file(folder / "stations.gpkg")

    def height(self, xy: np.ndarray) -> np.ndarray:
        at = [(self.bounds.top - 5 - xy[:, 1]) / 10, (xy[:, 0] - self.bounds.left - 5) / 10]
        return np.asarray(ndimage.map_coordinates(self.z, at, order=1, mode="nearest"))

    def tarn_posts(self) -> np.ndarray:
        level = self.layers["tarns"]["height_m"].iloc[0]
        pools, _ = ndimage.label(np.abs(self.z - level) < 0.001)
        sizes = np.bincount(pools.ravel())
        sizes[0] = 0
        return pools == int(sizes.argmax())


def run_generator(folder: Path) -> None:
    """Run the generator as a person would, in a process of its own."""
    subprocess.run([sys.executable, str(GENERATOR), str(folder)], check=True, timeout=300)


@pytest.fixture(scope="session")
def demo(upland: Path) -> Demo:
    return Demo(upland)


def drainage(z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Steepest-descent receiver and catchment in posts, written apart from the generator, in numpy."""
    rows, columns = z.shape
    index = np.arange(z.size).reshape(z.shape)
    steepest, receiver = np.zeros(z.shape), index.copy()
    for dr in (-1, 0, 1):
        for dc in (-1, 0, 1):
            if dr or dc:
                a = (slice(max(0, -dr), rows - max(0, dr)), slice(max(0, -dc), columns - max(0, dc)))
                b = (slice(max(0, dr), rows - max(0, -dr)), slice(max(0, dc), columns - max(0, -dc)))
                slope = (z[a] - z[b]) / np.hypot(dr, dc)
                better = slope > steepest[a]
                steepest[a] = np.where(better, slope, steepest[a])
                receiver[a] = np.where(better, index[b], receiver[a])
    receiver = receiver.ravel()
    catchment = np.ones(z.size)
    for i in np.argsort(-z.ravel(), kind="stable").tolist():
        if receiver[i] != i:
            catchment[receiver[i]] += catchment[i]
    return receiver, catchment.reshape(z.shape)


def test_terrain_is_as_described(demo: Demo) -> None:
    assert demo.z.shape == (1000, 1000)
    assert demo.profile["dtype"] == "float32"
    assert demo.bounds.right - demo.bounds.left == demo.bounds.top - demo.bounds.bottom == 10_000
    assert np.isfinite(demo.z).all()
    assert 130 < demo.z.min() < 200
    assert 640 < demo.z.max() < 740


def test_grid_is_one_and_lies_in_the_open_sea(demo: Demo) -> None:
    terrain = pyproj.CRS.from_user_input(demo.crs)
    for frame in [*demo.layers.values(), demo.stations]:
        assert pyproj.CRS(frame.crs).equals(terrain, ignore_axis_order=True)
    to_degrees = pyproj.Transformer.from_crs(terrain, "EPSG:4326", always_xy=True)
    longitude, latitude = to_degrees.transform(demo.bounds.left, demo.bounds.bottom)
    assert (round(longitude), round(latitude)) == (-37, 51)  # mid-Atlantic
    back = pyproj.Transformer.from_crs("EPSG:4326", terrain, always_xy=True).transform(longitude, latitude)
    assert np.allclose(back, (demo.bounds.left, demo.bounds.bottom), atol=1e-4)


def test_no_pits(demo: Demo) -> None:
    """Every post off the tarn and off the rim has a lower neighbour."""
    ring = np.ones((3, 3), bool)
    ring[1, 1] = False
    pit = demo.z <= ndimage.minimum_filter(demo.z, footprint=ring, mode="nearest")
    pit[[0, -1]] = False
    pit[:, [0, -1]] = False
    assert np.count_nonzero(pit & ~demo.tarn_posts()) == 0


def test_tarn_is_flat_and_has_one_outflow(demo: Demo) -> None:
    tarn = demo.tarn_posts()
    assert 250 < np.count_nonzero(tarn) < 1500  # 2.5 to 15 ha
    level = demo.z[tarn][0]
    shore = ndimage.binary_dilation(tarn, np.ones((3, 3))) & ~tarn
    _, outflows = ndimage.label(shore & (demo.z < level), np.ones((3, 3)))
    assert outflows == 1
    shape = demo.layers["tarns"].geometry.iloc[0]
    assert abs(shape.area - 100 * np.count_nonzero(tarn)) < 0.15 * shape.area
    touching = demo.layers["streams"].distance(shape) < 30
    assert touching.any()


def test_streams_run_downhill_all_the_way(demo: Demo) -> None:
    worst = 0.0
    for line in demo.layers["streams"].geometry:
        heights = demo.height(np.array(line.coords))
        worst = max(worst, float(np.max(heights - np.minimum.accumulate(heights))))
    assert worst <= 0.02  # heights are whole centimetres


def test_streams_lie_in_valleys(demo: Demo) -> None:
    """The ground 60 m to both hands stands higher than the stream, nearly everywhere."""
    higher, total = 0, 0
    for line in demo.layers["streams"].geometry:
        xy = np.array(line.coords)
        along = np.gradient(xy, axis=0)
        side = 60 * np.column_stack([-along[:, 1], along[:, 0]]) / np.hypot(*along.T)[:, None]
        here = demo.height(xy)
        higher += int(np.sum((demo.height(xy + side) > here) & (demo.height(xy - side) > here)))
        total += len(xy)
    assert higher / total > 0.95


def test_named_tops_are_the_highest_ground_about_them(demo: Demo) -> None:
    tops = demo.layers["tops"]
    tops = tops[tops["name"].notna()]
    assert len(tops) >= 10
    rows, columns = np.indices(demo.z.shape)
    for point, stated in zip(tops.geometry, tops["height_m"], strict=True):
        row, column = (demo.bounds.top - 5 - point.y) / 10, (point.x - demo.bounds.left - 5) / 10
        near = np.hypot(rows - row, columns - column) <= 15  # 150 m
        at = np.argmax(np.where(near, demo.z, -np.inf))
        r, c = np.unravel_index(at, demo.z.shape)
        assert np.hypot(r - row, c - column) <= 3  # within 30 m
        assert abs(demo.z[r, c] - stated) < 0.5


def test_hypsometry(demo: Demo) -> None:
    integral = (demo.z.mean() - demo.z.min()) / (demo.z.max() - demo.z.min())
    assert 0.3 < integral < 0.6
    slope = np.degrees(np.arctan(np.hypot(*np.gradient(demo.z, 10))))
    assert 7 < np.median(slope) < 15  # hill country; common practice, no source
    assert np.mean(slope < 5) > 0.1  # some gentle ground
    assert 0.0005 < np.mean(slope > 35) < 0.05  # some crags, not many


def test_hack_and_slope_area(demo: Demo) -> None:
    receiver, catchment = drainage(demo.z)
    order = np.argsort(-demo.z.ravel(), kind="stable")
    length = np.zeros(demo.z.size)
    for i in order.tolist():
        r = receiver[i]
        if r != i:
            step = 10.0 if abs(r - i) in (1, 1000) else 14.142
            length[r] = max(length[r], length[i] + step)
    area = catchment.ravel() * 100
    wet = (area > 2e5) & (area < 2e7)
    # one sample a stream, at its mouth: where it meets a larger one, or leaves the sheet
    largest = np.zeros(demo.z.size)
    np.maximum.at(largest, receiver[wet], area[wet])
    mouth = wet & ((receiver == np.arange(demo.z.size)) | (area < largest[receiver]))
    mouth &= area > 1e6  # below this most of the length is hillside, which the law is not about
    assert np.count_nonzero(mouth) > 30
    hack = np.polyfit(np.log(area[mouth]), np.log(length[mouth]), 1)[0]
    assert 0.45 < hack < 0.65
    # slope over 20 posts downstream, against catchment, in bins of equal width of the logarithm
    onward = np.arange(demo.z.size)
    for _ in range(20):
        onward = receiver[onward]
    fall = demo.z.ravel() - demo.z.ravel()[onward]
    run = (
        np.abs(onward // 1000 - np.arange(demo.z.size) // 1000),
        np.abs(onward % 1000 - np.arange(demo.z.size) % 1000),
    )
    reach = 10 * np.hypot(*run)
    good = wet & (reach > 100) & (fall > 0)
    bins = np.linspace(np.log(2e5), np.log(2e7), 11)
    which = np.digitize(np.log(area[good]), bins)
    slope = np.log(fall[good] / reach[good])
    at = [
        (np.log(area[good])[which == k].mean(), slope[which == k].mean())
        for k in range(1, 11)
        if np.sum(which == k) > 30
    ]
    concavity = -np.polyfit(*np.array(at).T, 1)[0]
    # low, as in short streams with an unworn step below the old plain; it must still be hollow in profile
    assert 0.2 < concavity < 0.7


def test_no_lattice_directions(demo: Demo) -> None:
    """Slopes face the eight lattice directions no more often than the directions between them."""
    south, east = np.gradient(ndimage.gaussian_filter(demo.z, 1.0), 10)
    steep = np.hypot(south, east) > 0.05
    aspect = np.degrees(np.arctan2(-east, south))[steep] % 45
    counts = np.histogram(aspect, bins=9, range=(0, 45))[0] / aspect.size * 9
    lattice, between = (counts[0] + counts[-1]) / 2, counts[3:6].mean()
    assert abs(lattice - between) < 0.12
    assert counts.max() < 1.15
    # valley bottoms, which a lattice scheme would draw along its own lines
    bearings = []
    for line in demo.layers["streams"].geometry:
        xy = np.array(line.coords)[::12]
        if len(xy) > 2:
            d = np.diff(xy, axis=0)
            bearings.append(np.degrees(np.arctan2(d[:, 0], d[:, 1])) % 45)
    share = np.histogram(np.concatenate(bearings), bins=9, range=(0, 45))[0]
    assert (share[0] + share[-1]) / 2 < 1.8 * share[3:6].mean()


def test_ground_is_smooth_at_the_finest_scale(demo: Demo) -> None:
    """Worn land has no speckle: posts stand within decimetres of the mean of their neighbours."""
    cross = np.array([[0, 1, 0], [1, 0, 1], [0, 1, 0]]) / 4
    rough = demo.z - ndimage.convolve(demo.z, cross, mode="nearest")
    assert np.percentile(np.abs(rough[1:-1, 1:-1]), 95) < 0.5


def test_stations_look_alike_and_differ_in_what_they_see(demo: Demo) -> None:
    stations = demo.stations
    assert stations["name"].tolist() == ["A ridge end", "A shelf", "A saddle"]
    xy = np.column_stack([stations.geometry.x, stations.geometry.y])
    heights = demo.height(xy)
    assert np.ptp(heights) <= 10
    assert np.allclose(heights, stations["height_m"], atol=0.02)
    apart = [np.hypot(*(xy[a] - xy[b])) for a, b in ((0, 1), (0, 2), (1, 2))]
    assert min(apart) > 450 and max(apart) < 3500
    south, east = np.gradient(ndimage.gaussian_filter(demo.z, 2), 10)
    slope = np.degrees(np.arctan(np.hypot(south, east)))
    rows, columns = (
        ((demo.bounds.top - xy[:, 1]) / 10).astype(int),
        ((xy[:, 0] - demo.bounds.left) / 10).astype(int),
    )
    assert slope[rows, columns].max() < 10
    tops = demo.layers["tops"]
    tops = tops[tops["name"].notna()]
    seen = []
    for eye in xy:
        view = []
        for top in tops.geometry:
            length = np.hypot(top.x - eye[0], top.y - eye[1])
            share = np.linspace(0, 1, int(length / 5) + 2)[1:-1]
            # the earth's curve less light's, radius 6,371 km and ray coefficient 0.13: from memory
            drop = (0.87 / 2 / 6_371_000) * (share * length) ** 2
            ground = demo.height(eye + share[:, None] * (np.array([top.x, top.y]) - eye)) - drop
            start = demo.height(eye[None])[0] + 1.6
            end = demo.height(np.array([[top.x, top.y]]))[0] - (0.87 / 2 / 6_371_000) * length**2
            clear = np.all(ground < start + (end - start) * share + 0.02)
            view.append(bool(clear and length <= 6000))
        seen.append(tuple(view))
    assert len(set(seen)) == 3
    assert all(2 <= sum(view) <= 6 for view in seen)
    assert np.all(seen, axis=0).any()  # one top shows from all three


def test_features_are_sound(demo: Demo) -> None:
    for layer in (*POINT_LAYERS, *LINE_LAYERS, "tarns"):
        frame = demo.layers[layer]
        assert len(frame) >= 1, layer
        assert frame.geometry.is_valid.all(), layer
        assert not frame.geometry.is_empty.any(), layer
        assert frame["kind"].str.fullmatch("[a-z ]+").all(), layer
        west, south, east, north = frame.total_bounds
        assert west >= demo.bounds.left and south >= demo.bounds.bottom, layer
        assert east <= demo.bounds.right and north <= demo.bounds.top, layer
    assert (demo.layers["crags"].length > 50).all()


def test_names_are_unique_where_they_should_be(demo: Demo) -> None:
    for layer in ("tops", "saddles", "streams", "tarns", "crags", "buildings"):
        names = demo.layers[layer]["name"].dropna()
        assert names.is_unique, layer
    assert demo.stations["name"].is_unique


def test_paths_and_tracks_can_be_walked(demo: Demo) -> None:
    """At most a twentieth of any path is steeper along its line than 1 in 2.5; none crosses the tarn."""
    tarn = demo.layers["tarns"].geometry.iloc[0]
    for line in demo.layers["paths"].geometry:
        at = np.arange(0, line.length, 20)
        heights = demo.height(np.array([line.interpolate(d).coords[0] for d in at]))
        assert np.mean(np.abs(np.diff(heights)) / 20 > 0.4) < 0.05
        assert not line.intersects(tarn)


def test_every_kind_has_an_evidence_class(demo: Demo) -> None:
    table = EvidenceTable.load()
    kinds = {kind for frame in demo.layers.values() for kind in frame["kind"]}
    assert len(kinds) > 10
    assert [kind for kind in sorted(kinds) if table.class_of(kind) == "unclassed"] == []


def test_each_named_line_is_one_feature(demo: Demo) -> None:
    for layer in ("paths", "walls", "fences", "crags"):
        frame = demo.layers[layer]
        assert frame["name"].dropna().is_unique, layer
        # no two nameless lines of a kind carry on from one another, and none returns to its start
        for kind, lines in frame[frame["name"].isna()].groupby("kind"):
            parts = lines.geometry.explode()
            assert len(parts) == len(lines), (layer, kind)
            ends = [end for line in parts for end in (line.coords[0], line.coords[-1])]
            assert all(ends.count(end) != 2 for end in ends), (layer, kind)
    assert {"Long Ridge Path", "Tarn Path"} <= set(demo.layers["paths"]["name"].dropna())
    assert "Long Boundary Wall" in set(demo.layers["walls"]["name"])


def test_heights_above_ground_stand_where_they_mean_something(demo: Demo) -> None:
    """The figures are the ones that the demo's README promises."""
    promised = {
        "boundary wall": 1.3, "intake wall": 1.3, "boundary fence": 1.1, "cairn": 1.5, "farm": 6.0,
        "sheepfold": 1.2, "boundary stone": 1.0,
    }  # fmt: skip
    met = set()
    for layer, frame in demo.layers.items():
        assert frame["target_height_m"].dtype == np.float64, layer
        for kind, height in zip(frame["kind"], frame["target_height_m"], strict=True):
            met.add(kind)
            assert height == promised[kind] if kind in promised else np.isnan(height), (layer, kind)
    assert set(promised) <= met


def test_cover_stands_clear_of_stations_and_water_and_has_heights(demo: Demo) -> None:
    """Its kinds are known to the table of heights, and woods overlap neither each other nor the tarn."""
    path = demo.folder / "cover.gpkg"
    layers = {name: geopandas.read_file(path, layer=name) for name, _ in pyogrio.list_layers(path)}
    assert set(layers) == {"woods", "walls", "buildings"}
    table = CoverTable.load()
    for frame in layers.values():
        assert frame.geometry.is_valid.all()
        assert frame["cover_height_m"].between(1, 20).all()
        assert all(table.of(kind) is not None for kind in frame["kind"])
    woods = layers["woods"]
    assert {"broadleaved wood", "conifer plantation"} <= set(woods["kind"])
    assert woods.union_all().area == pytest.approx(woods.area.sum(), rel=1e-6)
    assert woods.distance(demo.stations.union_all()).min() >= 249
    assert not woods.intersects(demo.layers["tarns"].union_all()).any()
    assert len(layers["walls"]) == len(demo.layers["walls"])


def test_runs_again_to_the_same_bytes_and_loads_by_path(demo: Demo, tmp_path: Path) -> None:
    spec = importlib.util.spec_from_file_location("some_name", GENERATOR)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert "OGR_CURRENT_DATE" not in os.environ
    module.generate(tmp_path / "again")
    for name in ("terrain.tif", "features.gpkg", "stations.gpkg", "cover.gpkg", "course.gpx"):
        first, second = ((f / name).read_bytes() for f in (demo.folder, tmp_path / "again"))
        assert hashlib.sha256(first).hexdigest() == hashlib.sha256(second).hexdigest(), name
    assert sorted(p.name for p in (tmp_path / "again").iterdir()) == [
        "course.gpx",
        "cover.gpkg",
        "features.gpkg",
        "stations.gpkg",
        "terrain.tif",
    ]


def test_readme_tells_what_the_outlook_of_its_exercise_says(demo: Demo, tmp_path: Path) -> None:
    """The table of the exercise, row by row, against a run of the script that it quotes."""
    out = tmp_path / "outlook.gpkg"
    call = [
        sys.executable,
        "-m",
        "hillsight.scripts.outlook",
        "--quiet",
        "--reach",
        "6000",
        "--out",
        str(out),
    ]
    for option, name in (
        ("terrain", "terrain.tif"),
        ("stations", "stations.gpkg"),
        ("features", "features.gpkg"),
    ):
        call += [f"--{option}", str(demo.folder / name)]
    subprocess.run(call, check=True, timeout=300)
    lines = (GENERATOR.parent / "README.md").read_text(encoding="utf-8").splitlines()
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if line.startswith("| ")]
    table = {row[0]: row[1:] for row in cells if len(row) == 4}
    stations = geopandas.read_file(out, layer="stations").set_index("station")
    bearings = geopandas.read_file(out, layer="bearing_list")
    skyline = geopandas.read_file(out, layer="skyline_bearings")
    tops = bearings[bearings["kind"].isin(["summit", "knoll"])]
    for k, name in enumerate(table[""]):
        assert table["height"][k] == f"{stations['ground_height_m'][name]:.0f} m"
        assert table["ground in sight within 6 km"][k] == f"{stations['visible_ha'][name]:.0f} ha"
        seen = tops[(tops["station"] == name) & (tops["visible_share"] > 0)]["name"]
        assert set(table["named tops in sight within 6 km"][k].split(", ")) == set(seen.dropna())
        rays = skyline[skyline["station"] == name]
        for word, bearing in (("north-east", 45), ("south-west", 225), ("west", 270)):
            near = (rays["bearing_true_deg"] - bearing + 7.5) % 360 < 15
            stated = float(table[f"nearest brow to the {word}"][k].removesuffix(" m"))
            assert abs(rays["brow_distance_m"][near].median() - stated) <= 1, (name, word)


@pytest.mark.parametrize(
    ("name", "verdict", "code"),
    [
        ("ridge_end", "Decided: taken from A ridge end", 0),
        ("undecided", "Undecided: ", 3),
        ("none_fits", "None fits: ", 0),
    ],
)
def test_the_sightings_come_out_as_they_say(demo: Demo, name: str, verdict: str, code: int) -> None:
    # Written from the ridge end, from what all three see, and from a place 0.2 km beside the ridge end.
    named = ("--terrain", demo.folder / "terrain.tif", "--stations", demo.folder / "stations.gpkg")
    ended = run(
        *("relocate", *named, "--features", demo.folder / "features.gpkg", "--landforms", "--reach", "6000"),
        *("--sighting", GENERATOR.parent / "sightings" / f"{name}.toml"),
    )
    assert ended.code == code, ended.err
    assert ended.out.startswith(verdict), ended.out


@pytest.mark.parametrize("name", ["spur_and_stream", "near_or_far_brow", "saddle_on_skyline"])
def test_each_exercise_has_one_defensible_answer(demo: Demo, name: str) -> None:
    named = ("--terrain", demo.folder / "terrain.tif", "--features", demo.folder / "features.gpkg")
    ended = run("exercise", "check", GENERATOR.parent / "exercises" / f"{name}.toml", *named)
    assert ended.code == 0, ended.out
    assert f"`{name}.toml`" in (GENERATOR.parent / "README.md").read_text(encoding="utf-8")
