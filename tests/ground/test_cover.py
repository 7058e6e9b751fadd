"""What stands on the ground: as heights at posts, and as screens."""

from __future__ import annotations

import pickle
from dataclasses import replace

import numpy as np
import pytest
from pyproj import CRS

from hillsight.ground.cover import Cover, Screens
from hillsight.ground.grid import Grid, Surface

GRID = Grid(CRS(27700), 300_000.0, 700_000.0, 10.0, 10.0, 5, 6)


def cover_of(solid_m: float = 0.0, wood_m: float = 0.0, **more: object) -> Cover:
    solid, wood = (np.zeros((5, 6), np.float32) for _ in range(2))
    solid[2, 3], wood[2, 3], wood[1, 1] = solid_m, wood_m, wood_m
    return Cover(solid, wood, (np.maximum(solid, wood) > 0).astype(np.uint8), **more)  # type: ignore[arg-type]


def screen() -> Screens:
    one = np.array([1.5])
    return Screens(one, one, one + 1, one, one, np.ones(1, np.uint8))


def test_the_taller_of_both_blocks_and_the_ground_stays_bare() -> None:
    height_m = np.full((5, 6), 100.0, np.float32)
    surface = Surface(GRID, height_m, cover_of(4.0, 12.0, passing_m=30.0))
    assert surface.height_m is height_m
    assert surface.blocking_m[2, 3] == 112 and surface.blocking_m[1, 1] == 112
    assert surface.opaque_m[2, 3] == 104 and surface.opaque_m[1, 1] == 100
    assert surface.heights_at_m(300_030.0, 699_980.0) == 100


def test_woods_that_let_nothing_pass_are_opaque() -> None:
    surface = Surface(GRID, np.zeros((5, 6), np.float32), cover_of(0.0, 12.0))
    assert surface.opaque_m is surface.blocking_m
    assert not cover_of(14.0, 12.0, passing_m=30.0).part(2, 2, 2, 2).lets_pass


def test_without_cover_the_ground_itself_blocks() -> None:
    surface = Surface(GRID, np.zeros((5, 6), np.float32))
    assert surface.blocking_m is surface.height_m and surface.opaque_m is surface.height_m


def test_a_void_blocks_nothing_that_is_known() -> None:
    height_m = np.zeros((5, 6), np.float32)
    height_m[2, 3] = np.nan
    assert np.isnan(Surface(GRID, height_m, cover_of(4.0)).blocking_m[2, 3])


def test_a_part_keeps_its_cover_and_its_screens_in_place() -> None:
    surface = Surface(GRID, np.zeros((5, 6), np.float32), cover_of(4.0, screens=screen()))
    part = surface.part(1, 1, 3, 4)
    assert part.cover is not None
    assert (
        part.blocking_m[1, 2] == 4
        and part.cover.screens.row[0] == 0.5
        and part.cover.screens.to_row[0] == 1.5
    )
    assert pickle.loads(pickle.dumps(part)).blocking_m[1, 2] == 4


@pytest.mark.parametrize(
    "change",
    [
        {"solid_m": np.full((5, 6), -1, np.float32)},
        {"wood_m": np.full((5, 6), np.nan, np.float32)},
        {"wood_m": np.zeros((5, 5), np.float32)},
        {"kind": np.full((5, 6), 9, np.uint8)},
        {"passing_m": -1.0},
        {"kinds": ("wood",)},
    ],
)
def test_cover_that_cannot_be_is_refused(change: dict[str, object]) -> None:
    with pytest.raises(ValueError, match="cover"):
        replace(cover_of(), **change)  # type: ignore[arg-type]


def test_screens_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="screens"):
        replace(screen(), height_m=np.array([-1.0]))
    with pytest.raises(ValueError, match="screens"):
        replace(screen(), height_m=np.ones(2))


def test_cover_that_does_not_fit_its_posts_is_refused() -> None:
    with pytest.raises(ValueError, match="does not fit"):
        Surface(GRID.part(0, 0, 4, 6), np.zeros((4, 6), np.float32), cover_of())
