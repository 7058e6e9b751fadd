"""Orders many numbers in compiled code, in a time that does not hang on how they lie."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hillsight.kernels.compiled import compiled

if TYPE_CHECKING:
    from hillsight.arrays import Floats, Integers32

_BITS = 11


@compiled
def rising(values: Floats) -> Integers32:
    """Indices (int32) of numbers from the least up, equal ones as they come; no NaN among them.

    Sorted by eleven bits at a time, the last ones first (a radix sort). Of a float64 the bits are in the
    numbers' own order once those of negative ones are turned over, and the sign of the others (IEEE 754).
    """
    size = values.size
    keys = (values + 0.0).view(np.uint64)  # -0 as 0
    for k in range(size):
        keys[k] ^= ~np.uint64(0) if keys[k] >> np.uint64(63) else np.uint64(1) << np.uint64(63)
    order, other = np.arange(size).astype(np.int32), np.empty(size, np.int32)
    other_keys = np.empty(size, np.uint64)
    digits = (64 + _BITS - 1) // _BITS
    mask = np.uint64((1 << _BITS) - 1)
    count = np.zeros((digits, 1 << _BITS), np.int64)
    for k in range(size):
        for digit in range(digits):
            count[digit, int((keys[k] >> np.uint64(digit * _BITS)) & mask)] += 1
    for digit in range(digits):
        if size and count[digit].max() == size:
            continue
        place = 0
        for value in range(1 << _BITS):
            place, count[digit, value] = place + count[digit, value], place
        shift = np.uint64(digit * _BITS)
        for k in range(size):
            value = int((keys[k] >> shift) & mask)
            at = count[digit, value]
            count[digit, value] = at + 1
            other_keys[at] = keys[k]
            other[at] = order[k]
        keys, other_keys = other_keys, keys
        order, other = other, order
    return order
