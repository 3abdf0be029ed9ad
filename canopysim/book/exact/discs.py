"""Leaves drawn as discs with corners, inclined anyhow: which one parallel light meets first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def discs_anyhow(
    bay: tuple[float, float], levels: Sequence[tuple[float, float, int]],
    radius: tuple[float, float], n_corner: int, seed: int,
) -> Array:  # fmt: skip
    """Regular polygons that lie whole in a bay, their normals even over the sphere.

    Parameters
    ----------
    bay : (float, float)
        Extents, m.
    levels : sequence of (low, high, n)
        So many between two heights, m.
    radius : (low, high)
        Of the corners, m.
    n_corner : int
        Of each.

    Returns
    -------
    (n, n_corner, 3) ndarray
        Counter-clockwise seen from the upper side, which may look down.
    """
    rng = np.random.default_rng(seed)
    turn = 2 * np.pi * np.arange(n_corner) / n_corner
    found = []
    for low, high, n in levels:
        for _ in range(n):
            r = rng.uniform(*radius)
            normal, other = rng.normal(size=(2, 3))
            a = np.cross(normal, other)
            b = np.cross(normal, a) / np.linalg.norm(normal)
            a, b = a / np.linalg.norm(a), b / np.linalg.norm(b)
            rim = r * (np.cos(turn)[:, None] * a + np.sin(turn)[:, None] * b)
            reach = np.abs(rim).max(0) + 1e-3
            middle = rng.uniform(
                [reach[0], reach[1], low + reach[2]],
                [bay[0] - reach[0], bay[1] - reach[1], high - reach[2]],
            )
            found.append(middle + rim)
    return np.array(found)


def first_met(
    discs: Array, bay: tuple[float, float], slope: tuple[float, float], spacing: float
) -> tuple[Array, float]:
    """Parallel light that is even over a bay without end: which disc takes it, and on which side.

    A grid of flights, each by the point of the floor that it would meet. Seen along the light a
    disc is a convex polygon on the floor, as the light is in a plane: a point is in it if it is on
    the same side of all its edges, and there the light crossed the disc at one height. The highest
    disc has it.

    Parameters
    ----------
    discs : (n, n_corner, 3) ndarray
        Convex, in order around each one, m.
    bay : (float, float)
        Extents, m.
    slope : (float, float)
        How far light goes in x and y on its way down, per unit of height.
    spacing : float
        Between flights, m; made to fit.

    Returns
    -------
    (n, 2) ndarray
        Share of all light that the upper and lower side of each disc takes.
    float
        Share that no disc takes.
    """
    n = [round(extent / spacing) for extent in bay]
    step = np.array([extent / k for extent, k in zip(bay, n, strict=True)])
    height = np.full(n, -np.inf)
    owner = np.full(n, -1)
    upper = np.zeros(len(discs), bool)
    for k, disc in enumerate(discs):
        # Light meets the floor further on by its slope times the height.
        seen = disc[:, :2] + disc[:, 2:] * np.asarray(slope)
        first = np.floor(seen.min(0) / step - 0.5).astype(int)
        last = np.ceil(seen.max(0) / step - 0.5).astype(int)
        ix, iy = (np.arange(a, b + 1) for a, b in zip(first, last, strict=True))
        x, y = (ix[:, None] + 0.5) * step[0], (iy[None, :] + 0.5) * step[1]
        edge = np.roll(seen, -1, axis=0) - seen
        turns = [(x - p[0]) * e[1] - (y - p[1]) * e[0] for p, e in zip(seen, edge, strict=True)]
        inside = np.all([t > 0 for t in turns], 0) | np.all([t < 0 for t in turns], 0)
        if not inside.any():
            continue
        # Counter-clockwise as the light comes from above: it meets the upper side.
        upper[k] = bool(np.all([t < 0 for t in turns], 0).any())
        # The height is linear over what is seen.
        fit = np.linalg.solve(np.column_stack([seen[:3], np.ones(3)]), disc[:3, 2])
        z = fit[0] * x + fit[1] * y + fit[2]
        at = np.ix_(ix % n[0], iy % n[1])
        wins = inside & (z > height[at])
        height[at] = np.where(wins, z, height[at])
        owner[at] = np.where(wins, k, owner[at])
    count = np.bincount(owner.ravel() + 1, minlength=len(discs) + 1) / owner.size
    sides = np.where(upper[:, None], [1.0, 0.0], [0.0, 1.0]) * count[1:, None]
    return sides, float(count[0])


def disc_mesh(discs: Array) -> bytes:
    """Write discs as a mesh file in m, each a fan of triangles."""
    lines = ["o leaf"]
    lines += [f"v {x:.9g} {y:.9g} {z:.9g}" for x, y, z in discs.reshape(-1, 3)]
    n = discs.shape[1]
    for first in range(1, n * len(discs) + 1, n):
        lines += [f"f {first} {first + k} {first + k + 1}" for k in range(1, n - 1)]
    return ("\n".join(lines) + "\n").encode()
