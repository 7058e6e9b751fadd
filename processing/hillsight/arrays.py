"""Names for the arrays that the package hands about, by what an element is, and what stands for no value.

Shapes, units and frames stand in the docstring of whatever takes or gives one.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Floats32 = NDArray[np.float32]
Integers = NDArray[np.int64]
Integers32 = NDArray[np.int32]
Bytes = NDArray[np.uint8]
Flags = NDArray[np.bool_]
Objects = NDArray[np.object_]
AnyArray = NDArray[Any]


def known_or(values: Floats, instead: float) -> Floats:
    """The values, and another where there is none (NaN); infinite ones stay."""
    return np.where(np.isnan(values), instead, values)
