"""What stands before the skyline of drawn photographs: trees, people, fences. Flat, upright, facing the
eye."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from drawn_ground import Noise

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]

Kind = Literal["conifer", "broadleaf", "person", "post"]


@dataclass(frozen=True)
class Thing:
    """One of them.

    bearing : radians; far_m : from the eye; tall_m : its height; seed : of its own shape
    """

    kind: Kind
    bearing: float
    far_m: float
    tall_m: float
    seed: int = 0


def shape(thing: Thing, noise: Noise, across_m: Floats, up_m: Floats) -> tuple[Flags, NDArray[np.float32]]:
    """Whether points of its plane belong to a thing, and their colours before light; across from its middle,
    up from its foot, metres. Returns (n,) and (n, 3)."""
    draw = {"conifer": _conifer, "broadleaf": _broadleaf, "person": _person, "post": _post}[thing.kind]
    return draw(thing, noise, across_m + 0.0, up_m / thing.tall_m)


def _toned(base: tuple[float, float, float], strength: NDArray[np.float32]) -> NDArray[np.float32]:
    return (np.array(base, np.float32) * strength[:, None]).astype(np.float32)


def _conifer(thing: Thing, noise: Noise, across: Floats, share: Floats) -> tuple[Flags, NDArray[np.float32]]:
    side = np.where(across < 0, 1.0, 2.0)
    whorl = (share * 16 + 0.35 * noise.at(side * 40, share * 40 + thing.seed, 3.0)) % 1.0
    ragged = noise.at(across * 3.0 + thing.seed, share * thing.tall_m * 3.0, 1.0)
    half = 0.19 * thing.tall_m * np.clip(1.02 - share, 0, 1) ** 0.9 * (1.0 - 0.45 * whorl + 0.28 * ragged)
    crown = (share > 0.08) & (share < 1) & (np.abs(across) < half)
    trunk = (share >= -0.05) & (share < 0.9) & (np.abs(across) < 0.016 * thing.tall_m * (1.1 - share))
    light = 0.75 + 0.5 * ragged + 0.5 * across / (0.2 * thing.tall_m) - 0.35 * whorl
    return crown | trunk, _toned((0.035, 0.052, 0.026), np.clip(light, 0.35, 2.0).astype(np.float32))


def _broadleaf(
    thing: Thing, noise: Noise, across: Floats, share: Floats
) -> tuple[Flags, NDArray[np.float32]]:
    x, y = across / (0.36 * thing.tall_m), (share - 0.62) / 0.40
    lump = noise.heap(across + 31.7 * thing.seed, share * thing.tall_m, 0.32 * thing.tall_m, 5, 0.62)
    leaf = noise.at(across * 4 + thing.seed, share * thing.tall_m * 4, 1.0)
    inside = x * x + y * y + 0.42 * lump < 0.92
    gaps = (leaf > 0.45 + 0.5 * (0.95 - np.hypot(x, y))) & (np.hypot(x, y) > 0.45)
    trunk = (
        (share > -0.05)
        & (share < 0.62)
        & (np.abs(across - 0.03 * lump) < 0.028 * thing.tall_m * (1.2 - share))
    )
    light = 0.85 + 0.55 * lump * np.sign(-0.4 + 0 * x) + 0.45 * y + 0.3 * leaf
    return (inside & ~gaps) | trunk, _toned(
        (0.062, 0.078, 0.026), np.clip(light, 0.3, 2.2).astype(np.float32)
    )


def _person(thing: Thing, noise: Noise, across: Floats, share: Floats) -> tuple[Flags, NDArray[np.float32]]:
    wide = across / thing.tall_m
    head = (wide / 0.052) ** 2 + ((share - 0.925) / 0.075) ** 2 < 1
    body = (
        (np.abs(wide) < 0.125 - 0.16 * np.maximum(share - 0.78, 0) ** 0.8) & (share > 0.46) & (share < 0.85)
    )
    pack = (wide > 0.0) & (wide < 0.185) & (share > 0.55) & (share < 0.83)
    legs = (np.abs(np.abs(wide) - 0.055) < 0.042) & (share > -0.02) & (share <= 0.47)
    coats = (
        (0.45, 0.05, 0.04),
        (0.05, 0.12, 0.40),
        (0.50, 0.30, 0.03),
        (0.04, 0.25, 0.16),
        (0.06, 0.06, 0.07),
    )
    colour = np.tile(np.array(coats[thing.seed % len(coats)], np.float32), (across.size, 1))
    colour[share <= 0.47] = (0.045, 0.045, 0.055)
    colour[pack & ~body] = (0.10, 0.11, 0.06)
    colour[head] = (0.16, 0.10, 0.07)
    fold = 1 + 0.35 * noise.at(across * 9, share * 14, 1.0, thing.seed)
    return head | body | pack | legs, (colour * fold[:, None]).astype(np.float32)


def _post(thing: Thing, noise: Noise, across: Floats, share: Floats) -> tuple[Flags, NDArray[np.float32]]:
    lean = 0.05 * float(np.sin(thing.seed * 12.9))
    grain = noise.at(across * 60, share * 5, 1.0, thing.seed)
    inside = (np.abs(across - lean * share) < 0.05) & (share > -0.1) & (share < 1)
    return inside, _toned((0.15, 0.13, 0.11), (1 + 0.4 * grain).astype(np.float32))
