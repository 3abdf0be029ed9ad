"""Cross products of many vectors, without the overhead of the general one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def cross(a: Floats, b: Floats) -> Floats:
    """Cross products (..., 3) of vectors whose last axis holds x, y, z; shapes are broadcast."""
    shape = np.broadcast_shapes(a.shape, b.shape)
    product = np.empty(shape, dtype=np.float64)
    ax, ay, az = a[..., 0], a[..., 1], a[..., 2]
    bx, by, bz = b[..., 0], b[..., 1], b[..., 2]
    product[..., 0] = ay * bz - az * by
    product[..., 1] = az * bx - ax * bz
    product[..., 2] = ax * by - ay * bx
    return product
