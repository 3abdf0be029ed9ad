"""What a straight line between two boundaries may be off."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def bend(x: Array, f: Array, below: int, at: float) -> float:
    """How far a level that is read off a straight line is from that of a parabola.

    Parameters
    ----------
    x : numpy.ndarray (n,)
        Where values are known, in order.
    f : numpy.ndarray (n,)
        The values; on the straight line the level was read between `below` - 1 and `below`.
    below : int
        Index of the boundary under the level.
    at : float
        The level, in units of x.

    Returns
    -------
    float
        In units of x: the next term of Newton's interpolation, with the neighbour above or below,
        whichever makes more of it, over the slope. NaN where there is no neighbour.
    """
    above = below - 1
    if x[below] == x[above] or f[below] == f[above]:
        return float("nan")
    slope = (f[below] - f[above]) / (x[below] - x[above])
    found = []
    for other in (above - 1, below + 1):
        if 0 <= other < len(x) and np.isfinite(f[other]) and x[other] not in (x[above], x[below]):
            second = ((f[other] - f[below]) / (x[other] - x[below]) - slope) / (x[other] - x[above])
            found.append(abs(float(second * (at - x[above]) * (at - x[below]) / slope)))
    return max(found, default=float("nan"))
