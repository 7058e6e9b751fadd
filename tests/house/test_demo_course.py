"""The demo's course and its six posts: unseen stretches against brute force, a line every ten metres."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio

import hillsight
import oracle

pytestmark = pytest.mark.slow

EYE_M, RUNNER_M, EVERY_M = 1.6, 1.0, 10.0
#: How far off half a metre is made out: where it fills two minutes of arc (docs/verdict.md).
REACH_M = 0.5 / np.tan(np.radians(2 / 60))


def test_unseen_stretches_of_the_demo_are_unseen(upland: Path, tmp_path: Path) -> None:
    """Over bare ground, walked by ``tests/oracle.py``: at each piece's middle exactly what the plan says.

    Between the middles, every 10 m, a stretch may end some metres beside where the ground does: so much of
    the course's length, and no more, may be told wrongly.
    """
    text = (upland / "posts" / "round_of_the_tarn.toml").read_text(encoding="utf-8")
    text = text.replace('cover = ["../cover.gpkg"]\n', "").replace('"../', f'"{upland}/')
    plan = tmp_path / "bare.toml"
    plan.write_text(text, encoding="utf-8")
    found = hillsight.posts(plan)
    outcome = found.outcome
    assert len(outcome.posts) == 6
    with rasterio.open(upland / "terrain.tif") as file:
        height_m, place = file.read(1), file.transform
    stretches, course = outcome.stretches, outcome.course
    first = stretches.first
    along_m = np.arange(0.0, course.length_m, EVERY_M)
    middles = stretches.easting_m[first], stretches.northing_m[first]
    by_middle = _seen(height_m, place, outcome.posts, middles)
    differ = by_middle != outcome.seen
    # Posts at which the clearance is a hair, or the distance that at which a person is made out: none here.
    assert differ.sum() == 0
    by_step = _seen(height_m, place, outcome.posts, course.at(along_m)).any(axis=0)
    unseen = np.zeros(len(along_m), bool)
    for row in found.frames["unseen_stretches"].itertuples():
        unseen |= (along_m >= row.from_m) & (along_m < row.to_m)
    assert 0.05 < unseen.mean() < 0.2
    wrong = unseen == by_step
    assert wrong.mean() < 0.03
    # What is told unseen for 100 m or more has no more than its ends in sight.
    for row in found.frames["unseen_stretches"].itertuples():
        if row.length_m >= 100:
            inside = (along_m >= row.from_m + 10) & (along_m < row.to_m - 10)
            assert by_step[inside].mean() <= 0.1
    print(
        f"unseen by the plan {unseen.mean():.4f}, by brute force {(~by_step).mean():.4f}, {wrong.mean():.4f}"
    )


def _seen(height_m, place, posts, at_m) -> np.ndarray:
    """(posts, places) by the oracle, no farther off than half a metre is made out."""
    spacing = place.a

    def at(easting_m: float, northing_m: float) -> tuple[float, float]:
        return (place.f - northing_m) / spacing - 0.5, (easting_m - place.c) / spacing - 0.5

    drop = (1 - 0.13) / (2 * 6_376_000.0)  # WGS 84, mean radius at 51 degrees; 0.05 m at 860 m
    bare = height_m.astype(float)
    found = np.zeros((len(posts), len(at_m[0])), bool)
    for k in range(len(posts)):
        eye = at(posts.easting_m[k], posts.northing_m[k])
        lowered = oracle.lowered_posts(height_m, spacing, spacing, *eye, drop)
        level_m = oracle.bilinear(bare, *eye) + EYE_M
        for n, (east, north) in enumerate(zip(*at_m, strict=True)):
            away_m = np.hypot(east - posts.easting_m[k], north - posts.northing_m[k])
            if away_m > REACH_M:
                continue
            row, column = at(east, north)
            walked = oracle.way(lowered, *eye, level_m, row, column)
            target_m = oracle.bilinear(bare, row, column) + RUNNER_M - drop * away_m**2
            found[k, n] = oracle.clearance_over(walked, target_m) >= 0
    return found
