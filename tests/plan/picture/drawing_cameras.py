"""Cameras drawn by standard deviations of their numbers, each an error of its own or with a covariance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from hillsight.arrays import Floats
from hillsight.plan.picture.camera import Camera
from hillsight.plan.picture.picking import Drawn, drawn_cameras

#: Of curvature and refraction, (1 - k) / 2R for k = 0 and R = 6,371 km.
DROP_PER_M = 1.0 / (2.0 * 6_371_000.0)


def by_names(
    camera: Camera, names: list[str], covariance: Floats, count: int = 400, drop_per_m: float = 0.0
) -> list[Drawn]:
    """names : fields of Camera or Lens, or ``east_m``, ``north_m``, ``up_m``, ``refraction``"""

    def moved(step: Floats, number: int) -> Drawn:
        off = dict(zip(names, (float(v) for v in step), strict=True))
        lens = {n: getattr(camera.lens, n) + v for n, v in off.items() if hasattr(camera.lens, n)}
        turned = {n: getattr(camera, n) + v for n, v in off.items() if hasattr(camera, n)}
        return Drawn(
            replace(camera, lens=replace(camera.lens, **lens), **turned),
            off.get("east_m", 0.0),
            off.get("north_m", 0.0),
            off.get("up_m", 0.0),
            drop_per_m - DROP_PER_M * off.get("refraction", 0.0),
            number,
        )

    return drawn_cameras(covariance, moved, count)


def by_spreads(
    camera: Camera, spreads: dict[str, float], count: int = 400, drop_per_m: float = 0.0
) -> list[Drawn]:
    """Errors that are independent, one standard deviation each."""
    return by_names(camera, list(spreads), np.diag(np.square(list(spreads.values()))), count, drop_per_m)
