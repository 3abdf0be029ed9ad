"""Simple closed solids of revolution: ellipsoids, cones with a round top, pots."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Faces = NDArray[np.int32]

N_SIDE = 6
"""Corners of a ring round a solid's axis."""
N_RING = 3
"""Rings between the two ends of an ellipsoid."""
# Place along the axis and radius, as shares of length and width, of a cone with a round top.
_CONE = ((0.08, 0.34), (0.3, 0.5), (0.68, 0.3))


@cache
def unit_solid(shape: str) -> tuple[Floats, Faces]:
    """Make a closed solid of length 1 along +z from the origin, and width 1.

    Parameters
    ----------
    shape : {"ellipsoid", "cone"}
        Corners lie on the surface of the true body, so the solid is a little smaller than it.

    Returns
    -------
    vertices, faces
        Wound outwards; 36 triangles.
    """
    if shape == "ellipsoid":
        angle = np.pi * np.arange(1, N_RING + 1) / (N_RING + 1)
        rings = np.stack((0.5 * (1.0 - np.cos(angle)), 0.5 * np.sin(angle)), axis=1)
    else:
        rings = np.array(_CONE)
    vertices, faces = _turned(rings, 0.0, 1.0)
    vertices.setflags(write=False)  # shared by every solid of that shape
    faces.setflags(write=False)
    return vertices, faces


def frustum(
    x: float, y: float, low: float, high: float, low_radius: float, high_radius: float, n_side: int
) -> tuple[Floats, Faces]:
    """Make an upright closed frustum.

    Parameters
    ----------
    x, y : float, m
        Of its axis.
    low, high : float, m
        Heights of its ends.
    low_radius, high_radius : float, m
        Of the circles through the corners at the ends.
    n_side : int
        Corners of a ring.

    Returns
    -------
    vertices, faces
        Wound outwards. The last ``n_side`` faces are the upper end, those before it the lower one.
    """
    rings = np.array([[low, low_radius], [high, high_radius]])
    vertices, faces = _turned(rings, low, high, n_side)
    # The faces of `_turned` are the lower end, the sides, the upper end.
    order = np.concatenate((faces[n_side:-n_side], faces[:n_side], faces[-n_side:]))
    return vertices + np.array([x, y, 0.0]), order.astype(np.int32)


def _turned(rings: Floats, first: float, last: float, n_side: int = N_SIDE) -> tuple[Floats, Faces]:
    """Rings (height, radius) about the z axis, closed by a point at each end; outwards."""
    angle = 2.0 * np.pi * np.arange(n_side) / n_side
    n_ring = len(rings)
    around = np.stack((np.cos(angle), np.sin(angle)), axis=1)
    corners = np.empty((n_ring, n_side, 3))
    corners[..., :2] = rings[:, 1, None, None] * around
    corners[..., 2] = rings[:, 0, None]
    ends = np.array([[0.0, 0.0, first], [0.0, 0.0, last]])
    vertices = np.concatenate((corners.reshape(-1, 3), ends))

    k = np.arange(n_side)
    following = (k + 1) % n_side
    foot, top = n_ring * n_side, n_ring * n_side + 1
    below = np.stack((following, k, np.full(n_side, foot)), axis=1)
    above = (n_ring - 1) * n_side + np.stack((k, following, k), axis=1)
    above[:, 2] = top
    base = (np.arange(n_ring - 1) * n_side)[:, None]
    a, b = base + k, base + following
    c, d = b + n_side, a + n_side
    sides = np.concatenate((np.stack((a, b, c), -1), np.stack((a, c, d), -1)), axis=1)
    faces = np.concatenate((below, sides.reshape(-1, 3), above)).astype(np.int32)
    return vertices, faces
