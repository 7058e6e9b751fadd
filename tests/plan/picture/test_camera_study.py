"""The study of cameras, run small: views of real ground with errors that are not normal."""

from __future__ import annotations

import numpy as np
import pytest

import camera_study
from shared_data import shared_file


@pytest.mark.slow
@pytest.mark.parametrize(
    ("case", "most"),
    [
        # Rms of heading 0.05, tilt and roll 0.1 degrees, focal length 0.5 %; half as much again of so few.
        ("exact", (0.08, 0.15, 0.15, 0.0075)),
        ("erring", (0.5, 0.4, 0.6, 0.02)),
    ],
)
def test_cameras_on_real_ground(case: str, most: tuple[float, ...]) -> None:
    shared = shared_file("osterrain50_nn.tif").parent
    rows = list(camera_study.rows_of(shared, case, 7, 4, 11))
    assert len(rows) == 28
    found = [row for row in rows if row.get("found") and row["fits"]]
    assert len(found) >= 26
    names = ("heading_deg", "tilt_deg", "roll_deg", "focal_px")
    off = np.array([[row[f"off_{name}"] for name in names] for row in found])
    sigma = np.array([[row[f"sigma_{name}"] for name in names] for row in found])
    scale = np.array([[1.0, 1.0, 1.0, row["true_focal_px"]] for row in found])
    rms = np.sqrt(np.mean((off / scale) ** 2, axis=0))
    assert np.all(rms < most), rms
    # 68 % are meant; 28 draws of one share scatter by 9 %, and draws of one view are alike.
    within = (np.abs(off) < sigma).mean()
    assert 0.5 < within < 0.88, within
