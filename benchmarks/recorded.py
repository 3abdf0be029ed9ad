"""Rays as photons fly: recorded from histories under the bars, four in PAR for each in far-red."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from benchmarks.canopies import BAR_HEIGHT_M, BARS_Y_M
from canopysim.transport.arrays import Soup
from canopysim.transport.real import cosine_direction
from canopysim.transport.triangle import unit_normal
from canopysim.transport.walk import nearest_triangle

LEAF, FLOOR, WALL, BAR = 0, 1, 2, 3
# Reflectance and transmittance of each in 400-700 nm, then in 700-800 nm.
OPTICS = np.array(
    [
        [[0.08, 0.05], [0.3, 0.0], [0.9, 0.0], [0.8, 0.0]],
        [[0.40, 0.45], [0.3, 0.0], [0.9, 0.0], [0.8, 0.0]],
    ],
    np.float32,
)
FAR = np.float32(1e6)
OFF = np.float32(2e-5)
BARS = np.array(BARS_Y_M, np.float32)
BAR_Z = np.float32(BAR_HEIGHT_M - 1e-4)


def materials(n_leaf: int, n_bar: int) -> NDArray[np.int64]:
    """Material of each triangle of leaves, walls (floor first) and bars, in this order."""
    return np.repeat([LEAF, FLOOR, WALL, BAR], [n_leaf, 2, 10, n_bar])


def record_rays(
    soup: Soup, need: int, material: NDArray[np.int64], n_ray: int, seed: int
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Trace photons one by one until so many rays have flown.

    Parameters
    ----------
    soup : Soup
        Leaves, walls and bars.
    need : int
        Stack entries, from `build_tree`.
    material : numpy.ndarray (n_triangle,)
        From `materials`.

    Returns
    -------
    origins, directions : numpy.ndarray of float32 (n_ray, 3)
        In the order of the histories; origins 20 micrometres off what they leave.
    """
    origins, directions = np.empty((2, n_ray, 3), np.float32)
    _record(soup, need, material, OPTICS, np.random.default_rng(seed), origins, directions)
    return origins, directions


@njit(nogil=True, error_model="numpy")
def _record(soup, need, material, optics, rng, origins, directions):
    stack, lanes = np.empty(need, np.uint64), np.empty(8, np.float32)
    ray, photon = 0, 0
    while ray < origins.shape[0]:
        # A lobe of cos^4 below a bar.
        band = 1 if photon % 5 == 4 else 0
        photon += 1
        x = np.float32(0.1 + rng.random())
        y = np.float32(BARS[np.int64(rng.random() * BARS.shape[0])] + 0.01 * (rng.random() - 0.5))
        z = BAR_Z
        down = rng.random() ** 0.2
        turn = 2 * np.pi * rng.random()
        across = np.sqrt(1 - down * down)
        dx = np.float32(across * np.cos(turn))
        dy = np.float32(across * np.sin(turn))
        dz = np.float32(-down)
        while ray < origins.shape[0]:
            origins[ray, 0], origins[ray, 1], origins[ray, 2] = x, y, z
            directions[ray, 0], directions[ray, 1], directions[ray, 2] = dx, dy, dz
            ray += 1
            slot, t = nearest_triangle(soup, x, y, z, dx, dy, dz, FAR, -1, stack, lanes)
            if slot < 0:
                break
            kind = material[soup.triangle_id[slot]]
            choice = rng.random()
            back = optics[band, kind, 0]
            if choice >= back + optics[band, kind, 1]:
                break
            x, y, z = x + t * dx, y + t * dy, z + t * dz
            nx, ny, nz = unit_normal(soup.triangles, slot)
            # Towards where it came from, unless it goes through.
            if (nx * dx + ny * dy + nz * dz > 0) == (choice < back):
                nx, ny, nz = -nx, -ny, -nz
            dx, dy, dz = cosine_direction(
                nx, ny, nz, np.float32(rng.random()), np.float32(rng.random())
            )
            x, y, z = x + OFF * nx, y + OFF * ny, z + OFF * nz
