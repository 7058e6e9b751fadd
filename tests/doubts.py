"""Error models without errors of place, and the chance of single targets, as several tests want them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from hillsight.ground.accuracy import ErrorModel
from hillsight.sight.doubt import Doubtful, on_terrain, targets_of


def exactly_placed(errors: ErrorModel) -> ErrorModel:
    """The same terrain, with station, eye, ray and feature without error."""
    return replace(errors, station_position_m=0.0, eye_height_m=0.0, refraction=0.0, feature_position_m=0.0)


def probability_at(surface, eye, rows, columns, target_heights_m, errors):
    """Chance that single map features at fractional rows and columns are seen, (n,); NaN off the terrain."""
    targets = targets_of(rows, columns, target_heights_m)
    inside = on_terrain(surface.grid, targets)
    chance = np.full(len(targets), np.nan)
    chance[inside] = Doubtful.of(surface, eye, errors, feature=True).chances(targets[inside]).chance
    return chance
