"""Crowns of leaves: how much leaf area a ray meets on its way through a body."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# Whether points in units of the half extents, (3, n), lie within a shape.
Within = Callable[[Array], NDArray[np.bool_]]

SHAPES: dict[str, Within] = {
    "ellipsoid": lambda p: (p**2).sum(0) <= 1,
    "box": lambda p: np.abs(p).max(0) <= 1,
    # Long heaps with an elliptic section.
    "row along x": lambda p: (p[1] ** 2 + p[2] ** 2 <= 1) & (np.abs(p[0]) <= 1),
    "row along y": lambda p: (p[0] ** 2 + p[2] ** 2 <= 1) & (np.abs(p[1]) <= 1),
}


def heading(tilt_deg: float, turn_deg: float) -> Array:
    """Where a light points that is tilted about its length and then turned about the vertical.

    Tilting swings it from straight down towards its own +y.
    """
    tilt, turn = np.radians([tilt_deg, turn_deg])
    return np.array([-np.sin(turn) * np.sin(tilt), np.cos(turn) * np.sin(tilt), -np.cos(tilt)])


def leaf_area_met(
    shape: str, middle: Sequence[float], half: Sequence[float], density: float,
    by_height: Sequence[float], start: Sequence[float], way: Array, *, n: int = 400_000,
) -> float:  # fmt: skip
    """Leaf area density along a ray, integrated by steps of a hundredth of a millimetre or less.

    Parameters
    ----------
    shape : str
        Key of `SHAPES`.
    middle, half : (3,) float
        Middle and half extents, m.
    density : float
        Mean over the body, m2/m3.
    by_height : (2,) float
        Density at its bottom and top, up to a factor, straight in between. All shapes here have
        equal halves above and below, so that their mean density is that at half height.
    start, way : (3,) float
        Of the ray; `way` is a unit vector.
    n : int
        Steps over 1.6 m.
    """
    step = 1.6 / n
    t = (np.arange(n) + 0.5) * step
    points = np.asarray(start)[:, None] + way[:, None] * t - np.asarray(middle)[:, None]
    points = points / np.asarray(half)[:, None]
    low, high = by_height
    fall = (low + (high - low) * (points[2] + 1) / 2) / ((low + high) / 2)
    return float(density * step * fall[SHAPES[shape](points)].sum())
