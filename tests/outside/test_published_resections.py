"""Resections printed in textbooks, and a level camera in closed form (sources: data/README.md).

The textbooks' photographs look straight down, in millimetres, x right and y up; hillsight's frame has y down.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from hillsight.plan.picture.camera import Lens
from hillsight.plan.picture.resection import resect
from hillsight.plan.picture.resection_model import FOCAL, KnownMarks, Model, Standing

with (Path(__file__).parent / "data" / "resection_cases.csv").open(newline="") as stream:
    ROWS = list(csv.DictReader(stream))

#: A frame of 230 x 230 mm with its middle on the axis.
SIDE_MM = 230


def marks_of(case: str, x: np.ndarray, y: np.ndarray, click: float) -> KnownMarks:
    rows = [row for row in ROWS if row["case"] == case]
    east, north, up = (
        np.array([float(row[name]) for row in rows]) for name in ("easting_m", "northing_m", "height_m")
    )
    count = len(rows)
    none = np.zeros((count, 3, 3)), np.zeros((count + 1, count + 1))
    names = tuple(row["point"] for row in rows)
    return KnownMarks(names, x, y, np.full(count, click), east, north, up, *none)


def from_above(case: str, focal_mm: float, height_m: float) -> Model:
    """The model of a photograph on a plane without curvature, its place unknown, its focal length known."""
    rows = [row for row in ROWS if row["case"] == case]
    x, y = (np.array([float(row[name]) for row in rows]) for name in ("photo_x", "photo_y"))
    marks = marks_of(case, x + SIDE_MM / 2, SIDE_MM / 2 - y, 0.01)
    standing = Standing(
        float(marks.easting_m.mean()),
        float(marks.northing_m.mean()),
        height_m,
        1e12,
        1.0,
        position_m=np.inf,
        eye_m=np.inf,
    )
    model = Model.of(marks, standing, Lens(SIDE_MM, SIDE_MM, focal_mm), None, radial_sigma=0.0)
    model.sigma[FOCAL] = 0.0
    return model


@pytest.mark.parametrize("start_m", [5_000.0, 9_000.0])
def test_the_wuhan_resection_gives_the_printed_place(start_m: float) -> None:
    model = from_above("Wuhan", 153.24, start_m)
    found = resect(model)
    assert found is not None
    assert found.eye == pytest.approx((39_795.45, 27_476.46, 7_572.69), abs=0.01)
    # As omega = 0.12112, phi = 0.22843 degrees (worked out from the printed points, see data/README.md):
    # the axis leans by acos(cos(omega) cos(phi)).
    assert found.camera.tilt_deg == pytest.approx(-90.0 + 0.25855, abs=2e-4)
    # 7.3 micrometres, the standard error of unit weight, worked out apart.
    off = model.residuals(found.state)
    assert np.sqrt((off**2).sum() / 2) == pytest.approx(0.0073, abs=0.0002)


def test_the_dewitt_resection_leaves_the_residuals_it_should() -> None:
    """Worked out apart (data/README.md): 1027.870, 1044.114, 611.197; residuals up to 0.003 mm."""
    model = from_above("Dewitt", 152.916, 800.0)
    found = resect(model)
    assert found is not None
    assert found.eye == pytest.approx((1027.870, 1044.114, 611.197), abs=0.002)
    assert np.abs(model.residuals(found.state)).max() < 0.0032


@pytest.mark.parametrize("focal_share", [None, 0.05])
def test_a_level_camera_comes_out_of_its_pixels(focal_share: float | None) -> None:
    rows = [row for row in ROWS if row["case"] == "level"]
    x, y = (np.array([float(row[name]) for row in rows]) for name in ("photo_x", "photo_y"))
    marks = marks_of("level", x, y, 0.5)
    standing = Standing(300_000.0, 500_000.0, 400.0, 1e12, 1.0)
    lens = Lens(1600, 1200, 1600.0 if focal_share is None else 1040.0)
    found = resect(Model.of(marks, standing, lens, focal_share))
    assert found is not None
    camera = found.camera
    # A focal length believed to be 4 % longer draws a little, as it should; the printed pixels have 1e-4.
    within = 1e-4 if focal_share is None else 0.02
    turned = (camera.heading_grid_deg, camera.tilt_deg, camera.roll_deg)
    assert turned == pytest.approx((120.0, -5.0, 2.0), abs=within)
    assert camera.lens.focal_px == pytest.approx(1000.0, rel=max(1e-5, 0.1 * within))
