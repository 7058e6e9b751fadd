"""How often does a search find the place of a photograph, and how sure was it?

    search_study.py SHARED FIRST_SEED AREAS VIEWS ROWS.csv [tune] [side=METRES]
    search_study.py report ROWS.csv ...

Truth is OS Terrain 50 of the Highlands, 50 m; the model that is searched has every second post, 100 m. Areas
of 20 x 20 km, or with sides as told, with places 70 m apart lie east of E 270 000, or west of it with
``tune``. Each has its sky's edges worked out once, and views from places at random. One row a view, written
as it comes.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np
import rasterio
from pyproj import CRS

from hillsight.ground.accuracy import ErrorModel
from hillsight.ground.grid import Grid, Surface
from hillsight.ground.roughness import rough_scale_m
from hillsight.plan.look.skies import alike_over_m
from hillsight.plan.picture.skyline_match import PictureErrors, PictureSkyline
from hillsight.plan.search.close_look import Eyes
from hillsight.plan.search.searching import Places, first_looks, weigh_places
from hillsight.sight.far_sky import FarGround
from search_views import take

SIDE_M, APART_M, MIDDLE_E_M = 20_000.0, 70.0, 270_000.0
DROP_PER_M = 0.87 / (2 * 6_371_000.0)
WIDTH_SHARE = 0.05


def main(
    shared: Path, seed: int, areas: int, views: int, out: Path, tune: bool, side_m: float = SIDE_M
) -> None:
    """Do some areas."""
    with rasterio.open(shared / "osterrain50_highlands.tif") as file:
        fine = file.read(1).astype(np.float32)
        fine[fine == file.nodata] = np.nan
        fine *= file.scales[0]
        west_m, north_m = file.transform * (0.5, 0.5)
    truth = Grid(CRS.from_epsg(27700), west_m, north_m, 50.0, 50.0, *fine.shape)
    thin = np.ascontiguousarray(fine[::2, ::2])
    grid = Grid(truth.crs, west_m, north_m, 100.0, 100.0, *thin.shape)
    far = FarGround.of(Surface(grid, thin))
    eyes = Eyes(far, rough_scale_m(thin), ErrorModel.guessed_from_spacing(100.0), 1.6, DROP_PER_M)
    errors = PictureErrors(ground_over_m=alike_over_m(100.0, eyes.errors))
    for area in range(seed, seed + areas):
        random = np.random.default_rng(area)
        places = _area(far.surface, random, tune, side_m)
        pictures, seen = [], []
        while len(pictures) < views:
            k = int(random.integers(places.easting_m.size))
            spot = tuple(
                float(v[k] + random.uniform(-0.5, 0.5) * APART_M)
                for v in (places.easting_m, places.northing_m)
            )
            row, column = (float(v) for v in truth.to_array(*spot))
            if np.isnan(fine[int(row) : int(row) + 2, int(column) : int(column) + 2]).any():
                continue
            view = take(fine, 50.0, row, column, spot, random, width_share=WIDTH_SHARE)
            seen.append(view)
            pictures.append(PictureSkyline.of_pieces(view.pieces, WIDTH_SHARE, errors))
        looks = first_looks(pictures, eyes, places)
        for number, (view, picture, look) in enumerate(zip(seen, pictures, looks, strict=True)):
            found = weigh_places(picture, eyes, places, look)
            _write(out, _row(area, number, view, found, look))


def _area(surface: Surface, random: np.random.Generator, tune: bool, side_m: float) -> Places:
    """An area with little sea and 400 m of relief or more."""
    grid = surface.grid
    along = np.arange(0.0, side_m, APART_M)
    while True:
        west = (
            random.uniform(180_000.0, MIDDLE_E_M - side_m) if tune else random.uniform(MIDDLE_E_M, 375_000.0)
        )
        south = random.uniform(grid.south_m + 40_000.0, grid.north_m - 40_000.0 - side_m)
        east, north = (v.ravel() for v in np.meshgrid(west + along, south + along))
        height = surface.heights_at_m(east, north)
        known = np.isfinite(height)
        if known.mean() > 0.95 and np.ptp(height[known]) > 400.0:
            return Places(east[known], north[known], APART_M)


def _row(area: int, number: int, view, found, look) -> dict[str, object]:  # type: ignore[no-untyped-def]
    places, best = found.places, int(found.looked[0])
    off_m = np.hypot(places.easting_m - view.east_m, places.northing_m - view.north_m)
    true = int(np.argmin(off_m))
    score = look.score[:, 0]
    near = np.flatnonzero(off_m[found.looked] < 60.0)
    heading = (found.close.heading_grid_deg[0] - view.heading_deg + 180.0) % 360.0 - 180.0
    return {
        "area": area,
        "view": number,
        "places": places.easting_m.size,
        "relief_deg": round(view.relief_deg, 3),
        "away_m": round(view.away_m),
        "hidden": round(view.hidden, 3),
        "off_m": round(float(off_m[best]), 1),
        "share_100": round(found.share_about(best, 100.0), 4),
        "share_500": round(found.share_about(best, 500.0), 4),
        "truth_share_100": round(float(found.share[off_m <= 100.0].sum()), 5),
        "truth_share_500": round(float(found.share[off_m <= 500.0].sum()), 5),
        "heading_off_deg": round(float(heading), 2),
        "misfit_deg": round(float(found.close.misfit_deg[0]), 3),
        "best_log": round(float(found.close.log_likelihood[0]), 2),
        "true_log": round(float(found.close.log_likelihood[near].max()), 2) if near.size else "",
        "true_rank_first": int((score > score[off_m < 60.0].max()).sum()) if (off_m < 60.0).any() else "",
        "true_score": round(float(score[true]), 2),
        "looked": found.looked.size,
        "left_share": round(1.0 - float(found.share[found.looked].sum()), 4),
    }


def report(tables: list[Path]) -> list[str]:
    """How often the best place was right, beside what was stated, over all rows of some tables."""
    rows: list[dict[str, str]] = []
    for table in tables:
        with table.open(encoding="utf-8") as file:
            rows += list(csv.DictReader(file))
    off_m = np.array([float(row["off_m"]) for row in rows])
    lines = [f"{len(rows)} views, median {np.median(off_m):.0f} m off"]
    for within_m in (100, 500):
        right = off_m <= within_m
        stated = np.array([float(row[f"share_{within_m}"]) for row in rows])
        lines.append(f"within {within_m} m: {right.mean():.0%} right, {stated.mean():.0%} stated")
        for low, high in ((0.0, 0.3), (0.3, 0.7), (0.7, 0.95), (0.95, 1.01)):
            some = (stated >= low) & (stated < high)
            if some.any():
                lines.append(
                    f"  stated {low:.2f} to {min(high, 1.0):.2f}: {some.sum()} views, "
                    f"{stated[some].mean():.0%} stated, {right[some].mean():.0%} right"
                )
    relief_deg = np.array([float(row["relief_deg"]) for row in rows])
    for least, most in ((0.0, 0.5), (0.5, 1.0), (1.0, 2.0), (2.0, np.inf)):
        some = (relief_deg >= least) & (relief_deg < most)
        if some.any():
            near, about = (off_m[some] <= 100.0).mean(), (off_m[some] <= 500.0).mean()
            lines.append(
                f"relief {least:g} to {most:g} degrees: {some.sum()} views, {near:.0%} within 100 m, "
                f"{about:.0%} within 500 m"
            )
    return lines


def _write(out: Path, row: dict[str, object]) -> None:
    is_new = not out.exists()
    with out.open("a", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(row))
        if is_new:
            writer.writeheader()
        writer.writerow(row)


if __name__ == "__main__" and sys.argv[1] == "report":
    print("\n".join(report([Path(name) for name in sys.argv[2:]])))
elif __name__ == "__main__":
    main(
        Path(sys.argv[1]),
        int(sys.argv[2]),
        int(sys.argv[3]),
        int(sys.argv[4]),
        Path(sys.argv[5]),
        "tune" in sys.argv[6:],
        *(float(word[5:]) for word in sys.argv[6:] if word.startswith("side=")),
    )
