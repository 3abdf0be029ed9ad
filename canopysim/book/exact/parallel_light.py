"""Parallel light from a rectangle into a box: the share of every face is the area of a polygon."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from canopysim.book.exact.factors import clip
from canopysim.book.exact.frames import Triple

Array = NDArray[np.float64]
FACES = (("left", 0, 0.0), ("right", 0, 1.0), ("front", 1, 0.0), ("back", 1, 1.0),
         ("floor", 2, 0.0), ("ceiling", 2, 1.0))  # fmt: skip


def landing(corner: Array, first: Array, second: Array, direction: Array, size: Triple
            ) -> dict[str, float]:  # fmt: skip
    """Share of the rays that each face of a box gets.

    A ray from the point (u, v) of the rectangle meets the plane of a face after a distance that is
    a linear function of u and v; a face gets the points for which its distance is the least of
    those ahead: the unit square, cut by straight lines.

    Parameters
    ----------
    corner, first, second : (3,) arrays
        Of the rectangle inside the box, and its edges, m.
    direction : (3,) array
        Of all rays.
    size : tuple of float
        Of the box, m.
    """
    ahead = []
    for name, axis, end in FACES:
        speed = direction[axis]
        if speed == 0 or (speed > 0) != (end > 0):
            continue
        # distance = a + b u + c v
        line = np.array([end * size[axis] - corner[axis], -first[axis], -second[axis]]) / speed
        ahead.append((name, line))
    found = {name: 0.0 for name, _, _ in FACES}
    for name, line in ahead:
        region = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], float)
        for other, bound in ahead:
            if other != name and len(region) > 2:
                a, b, c = bound - line
                region = clip(region, np.array([b, c, 0.0]), -a)
        if len(region) > 2:
            x, y = region[:, 0], region[:, 1]
            found[name] = abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2
    return found
