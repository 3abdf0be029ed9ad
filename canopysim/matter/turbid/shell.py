"""The surface of a volume as triangles, for looking whether it lies where it should."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.turbid.volume import Volume

Floats = NDArray[np.float64]
AROUND, UPWARDS = 24, 12
"""Corners of a level section, and steps from pole to pole."""


def volume_shell(volume: Volume, shrink_m: float = 0.0) -> tuple[Floats, NDArray[np.int32]]:
    """Triangles on the surface of a volume; round ones are drawn from inside.

    Parameters
    ----------
    volume : Volume
        Any.
    shrink_m : float, m
        So much is taken off every half extent, so that what only touches does not cross.

    Returns
    -------
    vertices : (n, 3) ndarray, m
    faces : (m, 3) int32 ndarray
    """
    if volume.kind == "box":
        signs = np.array([[x, y, z] for z in (-1, 1) for y in (-1, 1) for x in (-1, 1)], float)
        quads = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]]
        unit, faces = signs, [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    else:
        turn = 2 * np.pi * np.arange(AROUND) / AROUND
        ring = np.column_stack([np.cos(turn), np.sin(turn)])
        if volume.kind == "ellipsoid":
            polar = np.pi * np.arange(1, UPWARDS) / UPWARDS
            rings = [
                np.column_stack([np.sin(p) * ring, np.full(AROUND, -np.cos(p))]) for p in polar
            ]
            ends = [[0.0, 0.0, -1.0], [0.0, 0.0, 1.0]]
        else:
            rings = [np.column_stack([ring, np.full(AROUND, h)]) for h in (-1.0, 1.0)]
            ends = [[0.0, 0.0, -1.0], [0.0, 0.0, 1.0]]
        unit = np.concatenate([*rings, ends])
        faces = _rings(len(rings))
        # The axis of rings is z; a row's lies level.
        if volume.kind == "row along x":
            unit = unit[:, [2, 0, 1]]
        elif volume.kind == "row along y":
            unit = unit[:, [1, 2, 0]]
    half = np.maximum(volume.half - shrink_m, 0.0)
    return volume.centre + unit * half, np.array(faces, np.int32)


def _rings(n: int) -> list[tuple[int, int, int]]:
    """Triangles between rings of corners, and from the first and the last ring to a pole."""
    bottom, top = n * AROUND, n * AROUND + 1
    faces = []
    for i in range(AROUND):
        j = (i + 1) % AROUND
        faces.append((bottom, j, i))
        for k in range(n - 1):
            a, b = k * AROUND, (k + 1) * AROUND
            faces += [(a + i, a + j, b + j), (a + i, b + j, b + i)]
        last = (n - 1) * AROUND
        faces.append((top, last + i, last + j))
    return faces
