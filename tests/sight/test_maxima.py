"""The ladder of block maxima against a plain loop over blocks."""

from __future__ import annotations

import numpy as np
import pytest

import terrains
from hillsight.sight.maxima import Maxima

SHAPES = [(1, 1), (1, 9), (9, 1), (4, 5), (5, 4), (16, 16), (17, 33), (64, 65), (130, 257), (300, 70)]


def _blocks(height_m, size):
    """Highest known post and whether any is a void, block by block; blocks share their border posts."""
    rows, columns = height_m.shape
    shape = (-(-rows // size), -(-columns // size))
    highest, void = np.full(shape, -np.inf), np.zeros(shape, bool)
    for i in range(shape[0]):
        for j in range(shape[1]):
            block = height_m[i * size : (i + 1) * size + 1, j * size : (j + 1) * size + 1]
            void[i, j] = np.isnan(block).any()
            if not np.isnan(block).all():
                highest[i, j] = np.nanmax(block)
    return highest, void


def _grounds(shape):
    known = terrains.fractal(*shape, seed=3) if min(shape) > 1 else np.zeros(shape, np.float32)
    return {
        "known": known,
        "below the datum": known - np.float32(900),
        "a void here and there": terrains.with_voids(known, seed=4, share=0.004),
        "void in the corner": np.where(np.indices(shape).sum(axis=0) == sum(shape) - 2, np.nan, known),
        "half void": np.where(np.arange(shape[1]) < shape[1] / 2, np.nan, known),
        "all void": np.full(shape, np.nan),
    }


@pytest.mark.parametrize("shape", SHAPES)
def test_each_block_holds_its_highest_post_and_knows_of_its_voids(shape):
    for name, height_m in _grounds(shape).items():
        maxima = Maxima.of(height_m.astype(np.float32))
        for size, highest_m, has_void in zip(
            (4, 16, 64, 256), maxima.highest_m, maxima.has_void, strict=True
        ):
            expected, void = _blocks(height_m, size)
            assert highest_m.tolist() == expected.tolist(), (name, size)
            assert has_void.tolist() == void.tolist(), (name, size)
        assert maxima.any_void == np.isnan(height_m).any(), name
        assert maxima.shape == shape


def test_the_level_of_sixteen_is_plain_arrays():
    maxima = Maxima.of(terrains.with_voids(terrains.fractal(50, 70, seed=1), seed=2))
    assert maxima.highest_16.shape == maxima.has_void_16.shape == (4, 5)
    assert maxima.highest_16.flags.c_contiguous
    assert maxima.has_void_16.flags.c_contiguous
    assert (maxima.highest_16.dtype, maxima.has_void_16.dtype) == (np.float32, np.bool_)


def test_any_memory_order_gives_the_same_ladder():
    height_m = terrains.with_voids(terrains.fractal(50, 70, seed=1), seed=2)
    plain = Maxima.of(height_m)
    for other in (np.asfortranarray(height_m), np.repeat(height_m, 2, axis=1)[:, ::2]):
        assert Maxima.of(other).ladder_m.tolist() == plain.ladder_m.tolist()
        assert Maxima.of(other).ladder_void.tolist() == plain.ladder_void.tolist()
