"""How rough the ground is between posts: by hand on made ground, and against finer posts of real ground."""

from __future__ import annotations

import numpy as np
import pytest

from hillsight.ground.accuracy import BETWEEN_POSTS, ErrorModel
from hillsight.ground.error_fields import ErrorFields
from hillsight.ground.grid import between_posts
from hillsight.ground.roughness import ROUGHNESS, rough_scale_m, rough_variance_m2
from thinned_ground import pair_of
from views import surface_of


def test_level_and_sloping_ground_is_smooth():
    row, column = np.indices((9, 12), np.float32)
    for height_m in (np.full((9, 12), 30.0, np.float32), (3.0 * row - 7.0 * column).astype(np.float32)):
        np.testing.assert_allclose(rough_scale_m(height_m), 0.0, atol=1e-4)


def test_a_bowl_is_as_rough_everywhere():
    """By hand: z = x^2 lies 1 m below the middle of its neighbours a post away, in rows and in columns."""
    row, column = np.indices((9, 12), np.float32)
    np.testing.assert_allclose(rough_scale_m(row**2 + column**2)[1:-1, 1:-1], 1.0, atol=1e-5)


def test_a_void_takes_nothing_but_itself():
    row, column = np.indices((11, 11), np.float32)
    height_m = row**2 + column**2
    height_m[5, 5] = np.nan
    scale_m = rough_scale_m(height_m)
    assert np.isfinite(scale_m).all()
    assert scale_m[2, 2] == pytest.approx(1.0, abs=1e-5)
    assert not rough_scale_m(np.full((5, 5), np.nan, np.float32)).any()


@pytest.mark.parametrize("shape", [(1, 1), (1, 5), (2, 2), (3, 1)])
def test_ground_too_small_to_tell(shape):
    assert not rough_scale_m(np.zeros(shape, np.float32)).any()


def test_points_are_exact_and_halfway_is_roughest():
    scale_m = np.full((4, 4), 2.0, np.float32)
    at = np.array([1.0, 1.0, 1.5, 1.25]), np.array([1.0, 1.5, 2.0, 1.0])
    found = rough_variance_m2(scale_m, ROUGHNESS["means"], *at)
    half = (2.0 * ROUGHNESS["means"].between) ** 2
    assert found[1] == found[2] == pytest.approx(half)
    assert found[0] == pytest.approx(half * ROUGHNESS["means"].at_posts)
    assert found[0] < found[3] < half
    assert not rough_variance_m2(scale_m, ROUGHNESS["straight"], *at).any()
    assert rough_variance_m2(scale_m, ROUGHNESS["means"], np.array([-3.0]), np.array([1.0]))[0] == 0.0


def test_every_word_has_its_figures():
    assert set(ROUGHNESS) == set(BETWEEN_POSTS)
    shares = [ROUGHNESS[word].between for word in ("straight", "points", "unknown", "means")]
    assert shares == sorted(shares)


@pytest.mark.parametrize(("way", "word"), [("posts", "points"), ("means", "means")])
@pytest.mark.parametrize(("terrain", "times"), [("highlands", 2), ("highlands", 4), ("tujunga", 3)])
def test_finer_ground_lies_about_so_far_off(terrain, times, way, word):
    """Outside: OS Terrain 50 east of E 270 000 (OGL v3, Crown copyright) and SRTM (public domain, NASA/USGS).

    Fine posts along the coarse grid lines, against the straight line between the coarse ones.
    """
    off_m2, stated_m2 = [], []
    for seed in range(6):
        pair = pair_of(terrain, times, way, "east", np.random.default_rng((seed, 77)))
        coarse, fine = pair.coarse.height_m, pair.fine.height_m
        scale_m = rough_scale_m(coarse)
        rows = np.arange(2, coarse.shape[0] - 2)
        columns = np.arange(2 * times, (coarse.shape[1] - 2) * times)
        row, column = (v.ravel() for v in np.meshgrid(rows, columns / times, indexing="ij"))
        straight_m = between_posts(coarse, row.astype(float), column)
        true_m = between_posts(fine, row * times + pair.offset, column * times + pair.offset)
        some = np.random.default_rng(seed).permutation(row.size)[:1_500]
        off_m2.append((true_m - straight_m)[some] ** 2)
        stated_m2.append(rough_variance_m2(scale_m, ROUGHNESS[word], row[some].astype(float), column[some]))
    ratio = np.sqrt(np.concatenate(off_m2).mean() / np.concatenate(stated_m2).mean())
    # What hides is the highest ground on the way, so that the shares are the larger; means of an even number
    # of posts stand between fine posts, whose own mean errs less.
    assert 0.35 < ratio < 1.2


def test_drawn_ground_is_as_rough_on_the_way():
    """Draws, straight between posts, vary along a grid line as much as is stated of places along it."""
    row, column = np.indices((60, 60), np.float32)
    surface = surface_of(row**2 + column**2, 10.0)
    errors = ErrorModel(0.0, 50.0, between_posts="means")
    scale_m = rough_scale_m(surface.height_m)
    fields = ErrorFields(surface.grid, errors, scale_m)
    at = np.full(200, 30.0), np.linspace(10.0, 50.0, 200)
    drawn = np.array([between_posts(fields.drawn(k).astype(np.float32), *at) for k in range(300)])
    stated_m2 = rough_variance_m2(scale_m, ROUGHNESS["means"], *at).mean()
    assert drawn.var(axis=0).mean() == pytest.approx(stated_m2, rel=0.05)
    assert not np.array_equal(fields.drawn(1), fields.drawn(2))
    np.testing.assert_array_equal(fields.drawn(1), fields.drawn(1))


def test_a_void_amid_high_ground_is_not_rough():
    """Where nothing is known nothing stands out (the definition), whatever sums were run on over it."""
    random = np.random.default_rng(1)
    height_m = (3_000.0 * random.random((200, 200))).astype(np.float32)
    height_m[random.random(height_m.shape) < 0.2] = np.nan
    height_m[50:150, 50:150] = np.nan
    scale_m = rough_scale_m(height_m)
    assert np.isfinite(scale_m).all()
    assert (scale_m[52:148, 52:148] == 0.0).all()
    assert np.median(scale_m[:45]) > 100.0
