"""First hits of many rays on triangles alone, for checks of where things are."""

import numpy as np

from canopysim.transport.real import ZERO
from canopysim.transport.target import fma, jit_open
from canopysim.transport.triangle import unit_normal
from canopysim.transport.walk import nearest_triangle


@jit_open
def first_hits(soup, need, rays, found, distance, behind):
    """Find what each ray meets first.

    Parameters
    ----------
    soup : Soup
        Triangles and their tree.
    need : int
        Stack entries that a walk can need.
    rays : float32 (n, 7)
        Origin, m, unit direction, and the distance beyond which nothing is looked for, m.
    found : int64 (n,)
        Filled with the id of the triangle, or -1.
    distance : float32 (n,)
        Filled with the distance, m.
    behind : int64 (n,)
        Filled with 1 where the triangle is met against its normal's side, else 0.
    """
    stack, lanes = np.empty(need, np.uint64), np.empty(8, np.float32)
    for i in range(rays.shape[0]):
        dx, dy, dz = rays[i, 3], rays[i, 4], rays[i, 5]
        slot, t = nearest_triangle(
            soup, rays[i, 0], rays[i, 1], rays[i, 2], dx, dy, dz, rays[i, 6], -1, stack, lanes
        )
        found[i], distance[i], behind[i] = -1, t, 0
        if slot >= 0:
            found[i] = soup.triangle_id[slot]
            nx, ny, nz = unit_normal(soup.triangles, slot)
            if fma(nx, dx, fma(ny, dy, nz * dz)) > ZERO:
                behind[i] = 1
