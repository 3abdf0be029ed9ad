"""Triangles to look along: what lies inside of closed walls, and what pokes through them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from canopysim.transport.arrays import Soup
from canopysim.transport.build import build_tree
from canopysim.world.meshes import has_area

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

# Odd directions, so that no ray runs along a wall or through its edges; two of three decide.
LOOKS = ((0.3713906, 0.2189407, 0.9022983), (-0.8410437, 0.4402255, 0.3143907),
         (0.1598187, -0.7793511, -0.6058648))  # fmt: skip


class Sight:
    """Triangles with a tree over them.

    Parameters
    ----------
    corners : (n, 3, 3) ndarray, m
        Of closed walls whose normals point to where things should be.
    size_m : float
        Largest coordinate of anything that is asked for.
    """

    def __init__(self, corners: Floats, size_m: float) -> None:
        flat = corners.reshape(-1, 9).astype(np.float32)
        self._kept = np.flatnonzero(has_area(flat))
        nodes, triangles, slots, self._need = build_tree(
            np.ascontiguousarray(flat[self._kept]).ravel(), size_m
        )
        self._soup = Soup(nodes, nodes.view(np.uint32), triangles, slots.astype(np.int32))
        self._far = 4.0 * size_m

    def _look(self, rays: Floats) -> tuple[Indices, Floats, Indices]:
        from canopysim.transport.rays import first_hits

        n = len(rays)
        found, behind = np.zeros(n, np.int64), np.zeros(n, np.int64)
        distance = np.zeros(n, np.float32)
        first_hits(self._soup, self._need, rays.astype(np.float32), found, distance, behind)
        hit = np.where(found >= 0, self._kept[np.maximum(found, 0)], -1)
        return hit, distance.astype(np.float64), behind

    def inside(self, points: Floats) -> NDArray[np.bool_]:
        """Tell which points (n, 3), m, lie where the normals point to."""
        votes = np.zeros(len(points), np.int64)
        for direction in LOOKS:
            unit = np.array(direction) / np.linalg.norm(direction)
            rays = np.concatenate(
                [points, np.broadcast_to(unit, points.shape), np.full((len(points), 1), self._far)],
                axis=1,
            )
            hit, _, behind = self._look(rays)
            votes += (hit >= 0) & (behind == 0)
        within: NDArray[np.bool_] = votes >= 2
        return within

    def between(self, start: Floats, end: Floats) -> tuple[Indices, Floats]:
        """Find the first triangle between pairs of points, -1 where there is none, and the place.

        Parameters
        ----------
        start, end : (n, 3) ndarray, m

        Returns
        -------
        triangle : (n,) int ndarray
        place : (n, 3) ndarray, m
        """
        along = end - start
        length = np.linalg.norm(along, axis=1)
        unit = along / np.maximum(length, 1e-30)[:, None]
        hit, distance, _ = self._look(np.concatenate([start, unit, length[:, None]], axis=1))
        hit[length == 0] = -1
        return hit, start + distance[:, None] * unit
