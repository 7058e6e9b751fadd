"""How near the truth a photograph's camera comes out of its marks, and how honest its plus-minus is.

Views are of real terrain, with a projection of their own (plain rotations, written here). Ground is twice as
fine as the model that hillsight gets, and the model's posts err by fields drawn as ``trust_simulation`` draws
them. Clicks and landmarks err by Student's t with 5 degrees of freedom, the camera's place by 5 to 25 m all
alike, eye and air evenly: none of it normal, as the solving has it.

    python docs/studies/camera_study.py SHARED CASE VIEWS DRAWS SEED ROWS.csv

CASE : exact (clicks alone err), erring (all of it), place (all of it, and the place is solved for), wrong
(erring, with one mark in ten on another top).
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from pyproj import CRS
from scipy.ndimage import map_coordinates, maximum_filter

from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.grid import Grid, Surface
from hillsight.plan.picture.camera import Lens
from hillsight.plan.picture.mark_ground import MarkedThing, ground_at, known_marks, standing_at
from hillsight.plan.picture.marks import Landmark
from hillsight.plan.picture.resection import resect
from hillsight.plan.picture.resection_model import Model
from trust_simulation import Fields

EARTH_M, REFRACTION = 6_371_000.0, 0.13
WIDE, HIGH = 4000, 3000
FINE_M, POSTS = 50.0, 401
LANDMARK_M, EYE_M, EYE_SIGMA_M, AIR_SIGMA = 10.0, 1.6, 0.1, 0.05
#: Of a distance spread evenly from 5 to 25 m, east and north each.
PLACE_M = float(np.sqrt((25.0**3 - 5.0**3) / (3 * 20.0) / 2.0))
MARKS = {"exact": 6, "erring": 6, "place": 8, "wrong": 8}


@dataclass(frozen=True)
class Held:
    """Terrain held in memory, as what places marks asks of one."""

    surface: Surface
    spacing_x_m: float
    spacing_y_m: float

    def window(self, *_: float) -> Surface:
        return self.surface


class Globe:
    """The one measure of the Earth that standing takes."""

    def gaussian_radius_m(self, *_: float) -> float:
        return EARTH_M


@dataclass(frozen=True)
class View:
    """A camera somewhere, true, and the tops it shows: easting, northing, height; pixels."""

    ground: Surface
    east: float
    north: float
    heading: float
    tilt: float
    roll: float
    focal: float
    radial: float


def even(random: np.random.Generator, sigma: float) -> float:
    return float(sigma * np.sqrt(3.0) * random.uniform(-1, 1))


def heavy(random: np.random.Generator, sigma: float, *shape: int) -> np.ndarray:
    return sigma * random.standard_t(5, shape) / np.sqrt(5.0 / 3.0)


def height(surface: Surface, east: np.ndarray, north: np.ndarray) -> np.ndarray:
    grid = surface.grid
    row, column = (grid.north_m - north) / grid.spacing_y_m, (east - grid.west_m) / grid.spacing_x_m
    return map_coordinates(surface.height_m.astype(float), [row, column], order=1, mode="nearest")


def shown(view: View, eye_level: float, refraction: float, places: np.ndarray) -> np.ndarray:
    """Pixels (n, 2) of places (n, 3): heading, tilt, roll, then the lens; NaN behind and beyond."""
    east, north = places[:, 0] - view.east, places[:, 1] - view.north
    far2 = east**2 + north**2
    up = places[:, 2] - (1 - refraction) / (2 * EARTH_M) * far2 - eye_level
    h, t, r = np.radians([view.heading, view.tilt, view.roll])
    ahead, right = east * np.sin(h) + north * np.cos(h), east * np.cos(h) - north * np.sin(h)
    forward, above = ahead * np.cos(t) + up * np.sin(t), up * np.cos(t) - ahead * np.sin(t)
    across, down = right * np.cos(r) - above * np.sin(r), -above * np.cos(r) - right * np.sin(r)
    forward = np.where(forward > 1.0, forward, np.nan)
    x, y = across / forward, down / forward
    bend = 1 + view.radial * (x * x + y * y)
    # Beyond the radius at which a lens of one radial term folds the picture there is nothing.
    bend = np.where(1 + 3 * view.radial * (x * x + y * y) > 0, bend, np.nan)
    return np.column_stack([WIDE / 2 + view.focal * x * bend, HIGH / 2 + view.focal * y * bend])


def tops(ground: Surface) -> np.ndarray:
    """Places (n, 3) of posts that none within 150 m overtops, 600 m off the edge."""
    h = ground.height_m
    high = (h == maximum_filter(h, 7)) & (h > np.median(h) - 50)
    high[:12] = high[-12:] = high[:, :12] = high[:, -12:] = False
    row, column = np.nonzero(high)
    east, north = ground.grid.to_map(row.astype(float), column.astype(float))
    return np.column_stack([east, north, h[row, column]])


def in_view(ground: Surface, eye: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Whether ground hides places: slopes at 300 points of each sight line, the last 100 m left out."""
    share = np.linspace(0.0, 1.0, 302)[1:-1]
    way = places[:, None, :2] * share[:, None] + eye[:2] * (1 - share[:, None])
    far = np.hypot(*(places[:, :2] - eye[:2]).T)
    drop = (1 - REFRACTION) / (2 * EARTH_M)
    along = far[:, None] * share
    rise = (height(ground, way[..., 0].ravel(), way[..., 1].ravel())).reshape(along.shape) - drop * along**2
    slope = np.where(along < far[:, None] - 100.0, (rise - eye[2]) / along, -np.inf).max(axis=1)
    return ((places[:, 2] - drop * far**2 - eye[2]) / far > slope) & (far > 500) & (far < 9_000)


def grounds(shared: Path) -> Iterator[Surface]:
    """Windows of 20 km of the western Highlands by turns, and the ground about Jacksboro."""
    import rasterio
    from matplotlib import cbook

    with cbook.get_sample_data("jacksboro_fault_dem.npz") as sample:
        elevation = sample["elevation"].astype(np.float32)
    crs = CRS("EPSG:27700")
    yield Surface(Grid(crs, 0.0, 31_000.0, 74.4, 92.4, *elevation.shape), elevation)
    with rasterio.open(shared / "osterrain50_nn.tif") as file:
        for row, column in ((100, 100), (600, 300), (900, 900), (300, 1100), (1300, 400), (1500, 1200)):
            window = rasterio.windows.Window(column, row, POSTS, POSTS)
            heights = file.read(1, window=window).astype(np.float32)
            yield Surface(Grid(crs, 0.0, 20_000.0, FINE_M, FINE_M, POSTS, POSTS), heights)


def views(
    shared: Path, count: int, marks: int, random: np.random.Generator
) -> Iterator[tuple[View, np.ndarray]]:
    """Cameras that show enough tops, and the tops."""
    held = [(ground, tops(ground)) for ground in grounds(shared)]
    found = 0
    while found < count:
        ground, high = held[found % len(held)]
        grid = ground.grid
        east = grid.west_m + random.uniform(0.3, 0.7) * (grid.east_m - grid.west_m)
        north = grid.south_m + random.uniform(0.3, 0.7) * (grid.north_m - grid.south_m)
        level = height(ground, np.array([east]), np.array([north]))[0] + EYE_M
        seen = high[in_view(ground, np.array([east, north, level]), high)]
        heading = float(random.uniform(0, 360))
        focal = WIDE / 2 / np.tan(np.radians(random.uniform(40, 75) / 2))
        turned = random.uniform(-4, 4), random.uniform(-3, 3)
        view = View(ground, east, north, heading, *turned, focal, random.uniform(-0.03, 0.03))
        at = shown(view, level, REFRACTION, seen)
        good = (at > 60).all(axis=1) & (at[:, 0] < WIDE - 60) & (at[:, 1] < HIGH - 60)
        if good.sum() >= marks and np.ptp(at[good, 0]) > 0.4 * WIDE:
            found += 1
            yield view, seen[good]


def one(view: View, seen: np.ndarray, case: str, random: np.random.Generator, fields: Fields) -> dict:
    """One draw of all errors: what comes out, less the truth, and its plus-minus."""
    count = MARKS[case]
    errs = case != "exact"
    chosen = seen[random.choice(len(seen), count, replace=False)]
    level = height(view.ground, np.array([view.east]), np.array([view.north]))[0] + EYE_M
    air = REFRACTION
    if errs:
        level, air = level + even(random, EYE_SIGMA_M), air + even(random, AIR_SIGMA)
    click = random.uniform(1, 3)
    at = shown(view, level, air, chosen) + heavy(random, click, count, 2)
    mapped = chosen.copy()
    if case == "wrong":
        others = seen[~(seen[:, None] == chosen[None]).all(axis=2).any(axis=1)]
        for k in np.flatnonzero(random.random(count) < 0.1):
            if len(others):
                mapped[k] = others[random.integers(len(others))]
    ground, place = view.ground, np.array([view.east, view.north])
    if errs:
        mapped[:, :2] += heavy(random, LANDMARK_M, count, 2)
        # Twice as wide, and wrong by a drawn field.
        grid = ground.grid
        rough = (ground.height_m - fields.draw(random))[::2, ::2].astype(np.float32)
        wide = replace(
            grid,
            spacing_x_m=2 * grid.spacing_x_m,
            spacing_y_m=2 * grid.spacing_y_m,
            rows=rough.shape[0],
            columns=rough.shape[1],
        )
        ground = Surface(wide, rough)
        turn, far = random.uniform(0, 2 * np.pi), random.uniform(5, 25)
        if case == "place":
            far = random.uniform(20, 150)
        place = place + far * np.array([np.sin(turn), np.cos(turn)])
    errors = error_model(errs)
    terrain = Held(ground, ground.grid.spacing_x_m, ground.grid.spacing_y_m)
    things = [
        MarkedThing(
            Landmark(float(x), float(y), give_or_take_px=click),
            k,
            str(k),
            float(east),
            float(north),
            None if errs else float(up),
        )
        for k, ((x, y), (east, north, up)) in enumerate(zip(at, mapped, strict=True), 1)
    ]
    east, north = (float(v) for v in place)
    own = ground_at(terrain, east, north, errors).height_m
    solved = case == "place"
    standing = standing_at(terrain, Globe(), errors, (east, north), own, EYE_M, REFRACTION, solved=solved)
    marks = known_marks(things, terrain, errors, east, north)
    share = 0.02 if random.random() < 0.5 else None
    believed = view.focal * (1 + even(random, 0.02)) if share else float(WIDE)
    found = resect(Model.of(marks, standing, Lens(WIDE, HIGH, believed), share))
    row = {
        "case": case,
        "belief": share or 0,
        "far_m": float(np.median(np.hypot(*(chosen[:, :2] - place).T))),
    }
    if found is None:
        return {**row, "found": 0}
    camera, sigma = found.camera, found.sigma
    off = {
        "heading_deg": (camera.heading_grid_deg - view.heading + 180) % 360 - 180,
        "tilt_deg": camera.tilt_deg - view.tilt,
        "roll_deg": camera.roll_deg - view.roll,
        "focal_px": camera.lens.focal_px - view.focal,
        "easting_m": found.eye[0] - view.east,
        "northing_m": found.eye[1] - view.north,
    }
    row |= {"found": 1, "fits": int(found.fits), "used": int(found.marks.used.sum()), "misfit": found.misfit}
    row |= {f"off_{name}": value for name, value in off.items()} | {"true_focal_px": view.focal}
    return row | {f"sigma_{name}": sigma[name] for name in off}


def error_model(errs: bool) -> ErrorModel:
    """What hillsight is told of the errors."""
    if not errs:
        return replace(
            ErrorModel(0.0, 200.0, between_posts="straight"),
            station_position_m=0.0,
            feature_position_m=0.0,
            eye_height_m=0.0,
            refraction=0.0,
        )
    return replace(
        ErrorModel.of_product("contour-50m"),
        between_posts="points",
        station_position_m=PLACE_M,
        feature_position_m=LANDMARK_M,
    )


def rows_of(shared: Path, case: str, count: int, draws: int, seed: int) -> Iterator[dict]:
    random = np.random.default_rng(seed)
    fields: dict[tuple[int, int], Fields] = {}
    for view, seen in views(shared, count, MARKS[case], random):
        grid = view.ground.grid
        shape = grid.rows, grid.columns
        if shape not in fields:
            fields[shape] = Fields(*shape, grid.spacing_x_m, grid.spacing_y_m, error_model(True))
        for _ in range(draws):
            yield one(view, seen, case, random, fields[shape])


def summary(rows: list[dict]) -> list[str]:
    """Root mean squares, and the share of truths within the plus-minus."""
    found = [row for row in rows if row.get("found")]
    lines = [f"{len(rows)} draws, {len(found)} with a camera, {sum(r['fits'] for r in found)} of them fit"]
    good = [row for row in found if row["fits"]]
    for name in ("heading_deg", "tilt_deg", "roll_deg", "focal_px", "easting_m", "northing_m"):
        off = np.array([row[f"off_{name}"] for row in good])
        sigma = np.array([row[f"sigma_{name}"] for row in good])
        if name.endswith("_m") and not (sigma > 0).mean() > 0.5:
            continue
        share = (np.abs(off) < sigma).mean()
        scale = np.array([row["true_focal_px"] for row in good]) / 100 if name == "focal_px" else 1.0
        root, median = np.sqrt(np.mean((off / scale) ** 2)), np.median(np.abs(off / scale))
        unit = "%" if name == "focal_px" else ""
        lines.append(
            f"{name}: rms {root:.3f}{unit}, median {median:.3f}{unit}; "
            f"within plus-minus {100 * share:.0f} %, "
            f"within twice {100 * (np.abs(off) < 2 * sigma).mean():.0f} %"
        )
    if good and good[0]["case"] == "place":
        off = np.array([np.hypot(row["off_easting_m"], row["off_northing_m"]) for row in good])
        sigma = np.array([np.hypot(row["sigma_easting_m"], row["sigma_northing_m"]) for row in good])
        for least, most in ((0, 15), (15, 30), (30, 60), (60, np.inf)):
            some = (sigma >= least) & (sigma < most)
            if some.any():
                root = np.sqrt(np.mean(off[some] ** 2))
                lines.append(
                    f"place said to be known to {least:g}-{most:g} m: {some.sum()} draws, rms {root:.0f} m, "
                    f"median {np.median(off[some]):.0f} m"
                )
    return lines


def main() -> None:
    shared, case, count, draws, seed, path = sys.argv[1:]
    rows = list(rows_of(Path(shared), case, int(count), int(draws), int(seed)))
    names = list(dict.fromkeys(name for row in rows for name in row))
    with Path(path).open("w", newline="") as file:
        writer = csv.DictWriter(file, names)
        writer.writeheader()
        writer.writerows(rows)
    print("\n".join([f"case {case}", *summary(rows)]))


if __name__ == "__main__":
    main()
