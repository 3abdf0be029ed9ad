"""Configuration factors in closed form: rectangles to rectangles, points to polygons.

J. R. Howell, A catalog of radiation heat transfer configuration factors (C-13, C-15); J. H.
Lambert's sum over the edges of a polygon (Photometria, 1760).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from canopysim.book.exact import rectangles

Array = NDArray[np.float64]
Rectangle = tuple[float, float, float, float]
"""x0, x1, y0, y1."""


def parallel(one: Rectangle, other: Rectangle, gap: float) -> float:
    """Share of the diffuse light of a rectangle that meets another, parallel one.

    Parameters
    ----------
    one, other : tuple
        x0, x1, y0, y1, m; their edges run along x and y.
    gap : float
        Between their planes, m.
    """
    x0, x1, y0, y1 = one
    u0, u1, v0, v1 = other
    exchange = rectangles.parallel([x0, x1], [y0, y1], [u0, u1], [v0, v1], gap)
    return float(exchange.item() / ((x1 - x0) * (y1 - y0)))


def perpendicular(one: Rectangle, other: Rectangle) -> float:
    """Share of the diffuse light of a rectangle that meets one at a right angle to it.

    Parameters
    ----------
    one, other : tuple
        Each in its own plane: from, to as distances from the line in which the two planes meet,
        then from, to along that line, m.
    """
    out0, out1, a0, a1 = one
    far0, far1, b0, b1 = other
    exchange = rectangles.perpendicular([a0, a1], [out0, out1], [b0, b1], [far0, far1])
    return float(exchange.item() / ((out1 - out0) * (a1 - a0)))


def clip(corners: Array, normal: Array, offset: float = 0.0) -> Array:
    """Keep what of a polygon (n, 3) lies where normal . r >= offset (Sutherland and Hodgman)."""
    kept: list[Array] = []
    above = corners @ normal - offset
    for i in range(len(corners)):
        j = (i + 1) % len(corners)
        if above[i] >= 0:
            kept.append(corners[i])
        if (above[i] < 0) != (above[j] < 0):
            t = above[i] / (above[i] - above[j])
            kept.append(corners[i] + t * (corners[j] - corners[i]))
    return np.array(kept).reshape(-1, 3)


def polygon(point: Sequence[float] | Array, normal: Sequence[float] | Array,
            corners: Array) -> float:  # fmt: skip
    """Share of the diffuse light of a small plane at `point` that meets a polygon.

    Half the sum over edges of the angle that each spans, times the cosine between the normal and
    that of the plane through edge and point, over pi; what lies behind the plane is cut off.
    """
    n = np.asarray(normal, float)
    seen = clip(np.asarray(corners, float) - np.asarray(point, float), n)
    if len(seen) < 3:
        return 0.0
    following = np.roll(seen, -1, axis=0)
    cross = np.cross(seen, following)
    sine = np.linalg.norm(cross, axis=1)
    angle = np.arctan2(sine, (seen * following).sum(1))
    good = sine > 0
    return abs(float((angle[good] / sine[good] * (cross[good] @ n)).sum())) / (2 * np.pi)


def solid_angle(point: Sequence[float] | Array, rectangle: Rectangle, height: float) -> float:
    """Solid angle of a level rectangle seen from a point below or above it, sr."""
    z = height - point[2]
    total = 0.0
    for i in (0, 1):
        for j in (0, 1):
            x, y = rectangle[i] - point[0], rectangle[2 + j] - point[1]
            total += (-1) ** (i + j) * np.arctan2(x * y, z * np.sqrt(x * x + y * y + z * z))
    return abs(float(total))


def level_rectangle(rectangle: Rectangle, height: float) -> Array:
    """Corners of a level rectangle, (4, 3)."""
    x0, x1, y0, y1 = rectangle
    return np.array([[x0, y0, height], [x1, y0, height], [x1, y1, height], [x0, y1, height]])


def box_faces(size: tuple[float, float, float]) -> dict[str, Array]:
    """Corners of the six faces of a box, (4, 3) each."""
    x, y, z = size
    return {
        "left": np.array([[0, 0, 0], [0, y, 0], [0, y, z], [0, 0, z]], float),
        "right": np.array([[x, 0, 0], [x, y, 0], [x, y, z], [x, 0, z]], float),
        "front": np.array([[0, 0, 0], [x, 0, 0], [x, 0, z], [0, 0, z]], float),
        "back": np.array([[0, y, 0], [x, y, 0], [x, y, z], [0, y, z]], float),
        "floor": level_rectangle((0, x, 0, y), 0.0),
        "ceiling": level_rectangle((0, x, 0, y), z),
    }
