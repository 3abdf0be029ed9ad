"""Canopies to measure on: blades or needles of any number of triangles in a closed box."""

from __future__ import annotations

import numpy as np

BOX_M = (1.2, 1.0, 2.0)
LEAF_AREA_INDEX = 3.5


def blade(n_along: int) -> np.ndarray:
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


def canopy(n_triangle: int, seed: int, *, n_along: int = 2, needles: bool = False) -> np.ndarray:
    """Leaves anywhere in the lower half of the box, in any direction.

    Parameters
    ----------
    n_triangle : int
        Wanted number, about.
    seed : int
        Of places, sizes and directions.
    n_along : int
        Cuts along a blade: 4 n_along triangles each.
    needles : bool
        Blades a twentieth as wide and accordingly longer.

    Returns
    -------
    numpy.ndarray of float32 (n, 3, 3)
        Corners, m.
    """
    rng = np.random.default_rng(seed)
    shape = blade(n_along)
    if needles:
        shape = shape * [1, 0.05, 0.05]
    n_leaf = max(1, n_triangle // len(shape))
    area = (
        0.5
        * np.linalg.norm(
            np.cross(shape[:, 1] - shape[:, 0], shape[:, 2] - shape[:, 0]), axis=1
        ).sum()
    )
    size = rng.uniform(0.7, 1.3, n_leaf)
    wanted = LEAF_AREA_INDEX * BOX_M[0] * BOX_M[1]
    size *= np.sqrt(wanted / (area * (size**2).sum()))
    q = rng.normal(size=(n_leaf, 4))
    w, x, y, z = (q / np.linalg.norm(q, axis=1)[:, None]).T
    turn = np.array([
        [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
        [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
        [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
    ]).transpose(2, 0, 1)  # fmt: skip
    middle = rng.uniform([0.05, 0.05, 0.1], [BOX_M[0] - 0.05, BOX_M[1] - 0.05, 1.0], (n_leaf, 3))
    leaves = (shape - [0.5, 0, 0])[None] * size[:, None, None, None]
    leaves = np.einsum("lij,ltcj->ltci", turn, leaves) + middle[:, None, None]
    leaves = np.clip(leaves, 1e-3, np.array(BOX_M) - 1e-3)
    return leaves.reshape(-1, 3, 3).astype(np.float32)


def walls() -> np.ndarray:
    """The box as twelve triangles, (12, 3, 3)."""
    x, y, z = BOX_M
    c = np.array([[i, j, k] for k in (0, z) for j in (0, y) for i in (0, x)], np.float32)
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return np.array([c[list(t)] for a, b, d, e in quads for t in ((a, b, d), (a, d, e))])


def scattered_rays(triangles: np.ndarray, n: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Rays as photons fly between leaves: from points of triangles, in any direction.

    Returns
    -------
    origins, directions : numpy.ndarray of float32 (n, 3)
        10 µm off the triangle that they leave.
    """
    rng = np.random.default_rng(seed)
    t = triangles[rng.integers(0, len(triangles), n)].astype(np.float64)
    u, v = rng.uniform(size=(2, n))
    flip = u + v > 1
    u, v = np.where(flip, 1 - u, u), np.where(flip, 1 - v, v)
    point = t[:, 0] + u[:, None] * (t[:, 1] - t[:, 0]) + v[:, None] * (t[:, 2] - t[:, 0])
    d = rng.normal(size=(n, 3))
    d /= np.linalg.norm(d, axis=1)[:, None]
    origins = np.clip(point + 1e-5 * d, 1e-4, np.array(BOX_M) - 1e-4)
    return origins.astype(np.float32), d.astype(np.float32)
