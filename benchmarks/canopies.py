"""Rooms to measure on: bars above blades or needles of any number of triangles in a closed box."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

SIZES = (20_000, 200_000, 1_000_000)
FRESH_SEED = 20261124
BOX_M = (1.2, 1.0, 2.0)
CANOPY_M = (0.1, 0.7)
LEAF_AREA_INDEX = 3.5
BARS_Y_M = (0.1, 0.26, 0.42, 0.58, 0.74, 0.9)
BAR_HEIGHT_M = 1.8


def blade(n_along: int) -> NDArray[np.float64]:
    """A bent and folded blade of unit length: 4 n_along triangles, (n, 3, 3)."""
    s = np.linspace(0, 1, n_along + 1)
    half = 0.25 * np.sin(np.pi * (0.08 + 0.84 * s)) ** 0.8
    rows = np.stack(
        [np.stack([s, side * half, -0.18 * s**2 + 0.35 * np.abs(side) * half], 1)
         for side in (-1, 0, 1)], 1,
    )  # fmt: skip
    a, b = rows[:-1], rows[1:]
    quads = [(a[:, k], a[:, k + 1], b[:, k + 1], b[:, k]) for k in (0, 1)]
    triangles = [
        t for p, q, r, t4 in quads for t in (np.stack([p, q, r], 1), np.stack([p, r, t4], 1))
    ]
    return np.concatenate(triangles)


def canopy(
    n_triangle: int, seed: int, *, n_along: int = 2, needles: bool = False
) -> NDArray[np.float32]:
    """Leaves anywhere in the canopy's height, in any direction, none through a wall.

    Parameters
    ----------
    n_triangle : int
        Wanted number, about.
    seed : int
        Of places, sizes and directions.
    n_along : int
        Cuts along a blade: 4 n_along triangles each.
    needles : bool
        Blades a twentieth as wide and accordingly longer, bent into the walls where they must be.

    Returns
    -------
    numpy.ndarray of float32 (n, 3, 3)
        Corners, m.
    """
    rng = np.random.default_rng(seed)
    shape = blade(n_along) - [0.5, 0, 0]
    if needles:
        shape = shape * [1, 0.05, 0.05]
    n_leaf = max(1, n_triangle // len(shape))
    size = rng.uniform(0.7, 1.3, n_leaf)
    wanted = LEAF_AREA_INDEX * BOX_M[0] * BOX_M[1]
    size *= np.sqrt(wanted / (areas(shape).sum() * (size**2).sum()))
    turn = turned_anyhow(rng, n_leaf)
    room = np.minimum(0.55 * size[:, None] + 1e-3, 0.29)
    low = np.array([0, 0, CANOPY_M[0]]) + room
    high = np.array([*BOX_M[:2], CANOPY_M[1]]) - room
    middle = rng.uniform(low, high)
    leaves = np.einsum("lij,ltcj->ltci", turn, shape[None] * size[:, None, None, None])
    leaves = np.clip(leaves + middle[:, None, None], 1e-3, np.array(BOX_M) - 1e-3)
    corners: NDArray[np.float32] = leaves.reshape(-1, 3, 3).astype(np.float32)
    return corners


def turned_anyhow(rng: np.random.Generator, n: int) -> NDArray[np.float64]:
    """Rotations of every orientation alike, from random unit quaternions, (n, 3, 3)."""
    q = rng.normal(size=(n, 4))
    x, y, z, w = (q / np.linalg.norm(q, axis=1)[:, None]).T
    rows = [
        [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
        [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
        [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
    ]
    return np.moveaxis(np.array(rows), -1, 0)


def areas(triangles: NDArray[np.float64]) -> NDArray[np.float64]:
    """Areas of triangles (n, 3, 3), m^2."""
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    area: NDArray[np.float64] = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    return area


def box(low: tuple[float, ...], high: tuple[float, ...]) -> NDArray[np.float32]:
    """A box as twelve triangles, floor first, (12, 3, 3)."""
    corners = [[x, y, z] for z in (low[2], high[2]) for y in (low[1], high[1])
               for x in (low[0], high[0])]  # fmt: skip
    c = np.array(corners, np.float32)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return np.array([c[list(t)] for a, b, d, e in quads for t in ((a, b, d), (a, d, e))])


def walls() -> NDArray[np.float32]:
    """The room as twelve triangles, (12, 3, 3)."""
    return box((0, 0, 0), BOX_M)


def bars() -> NDArray[np.float32]:
    """Six bar bodies under the ceiling, (72, 3, 3)."""
    z = BAR_HEIGHT_M
    return np.concatenate([box((0.1, y - 0.02, z), (1.1, y + 0.02, z + 0.04)) for y in BARS_Y_M])
