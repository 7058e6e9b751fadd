"""Comparisons that several tests share; each names the rule it holds the package to."""

from __future__ import annotations

import numpy as np


def states(clearance_m) -> np.ndarray:
    """-1 hidden, 0 unknown, 1 visible, by the rule that a clearance of 0 is visible."""
    clearance_m = np.asarray(clearance_m, float)
    return np.where(np.isnan(clearance_m), 0, np.where(clearance_m >= 0, 1, -1))


def assert_same_states(found, expected, where: object = "") -> None:
    """No target differs in state."""
    different = states(found) != states(expected)
    assert not different.any(), (
        f"{different.sum()} of {different.size} targets differ {where}: "
        f"found {np.asarray(found)[different][:5]}, expected {np.asarray(expected)[different][:5]}"
    )


def assert_same_clearance(found, expected, distance_m, where: object = "") -> None:
    """Same states; clearances within 1 mm, a millionth of the distance, and what float32 can hold."""
    assert_same_states(found, expected, where)
    found, expected = np.asarray(found, float), np.asarray(expected, float)
    both = np.isfinite(expected) & np.isfinite(found)
    assert ((found == np.inf) == (expected == np.inf)).all(), f"boundless clearances differ {where}"
    allowed_m = 1e-3 + 1e-6 * np.broadcast_to(distance_m, found.shape) + 2e-7 * np.abs(expected)
    off = np.abs(found[both] - expected[both]) - allowed_m[both]
    assert off.size == 0 or off.max() <= 0, f"a clearance is off by {off.max():.3g} m too much {where}"
