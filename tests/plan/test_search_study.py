"""The study of searches: its camera is that of the project, and it runs, small."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

import search_study
import search_views
from hillsight.plan.picture.camera import Camera, Lens
from shared_data import shared_file
from terrains import fractal


@pytest.mark.parametrize("seed", range(3))
def test_its_camera_is_ours(seed: int) -> None:
    """Two cameras of two authors, no error drawn: a traced point is where the project's camera has it."""
    height_m = np.asarray(fractal(200, 200, seed=4, relief_m=800.0), np.float32)
    random = np.random.default_rng(seed)
    view = search_views.take(
        height_m, 50.0, 100.3, 99.6, (0.0, 0.0), random, width_share=0.0, error_deg=0.0, hidden=0.0
    )
    lens = Lens(2_000, 1_500, 1_000.0, 1_000.0, 750.0)
    camera = Camera(lens, view.heading_deg, view.tilt_deg, view.roll_deg)
    across, above = view.pieces[0]
    bearing_deg, angle_deg = camera.directions(1_000.0 + 1_000.0 * across, 750.0 - 1_000.0 * above)
    edge, _ = search_views.sky_edge(height_m, 50.0, 100.3, 99.6, view.eye_m, np.radians(bearing_deg))
    # A ray of the study lies within a rounding of the bearing; a cliff of the skyline between two does not.
    assert np.median(np.abs(np.degrees(edge) - angle_deg)) < 1e-3


def test_it_runs_small(tmp_path: Path) -> None:
    """Terrain: OS Terrain 50 (OGL v3: Contains OS data (c) Crown copyright and database right)."""
    shared = shared_file("osterrain50_highlands.tif").parent
    out = tmp_path / "rows.csv"
    search_study.main(shared, 7, 1, 1, out, True, 800.0)
    with out.open(encoding="utf-8") as file:
        (row,) = csv.DictReader(file)
    assert float(row["share_100"]) <= float(row["share_500"]) <= 1.0 + 1e-6
    assert float(row["off_m"]) < 1_200.0
    assert search_study.report([out])[0].startswith("1 views")
