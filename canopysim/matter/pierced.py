"""Blades that a stem of their own plant passes through."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from canopysim.matter.growth import Growth

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def extent(meshes: Floats) -> tuple[Floats, Floats]:
    """Least and greatest coordinates of each mesh: (n, n_vertex, 3) to twice (n, 3)."""
    # Vertex by vertex for all meshes at once: far quicker than along a middle axis.
    by_vertex = np.ascontiguousarray(meshes.transpose(1, 0, 2))
    return by_vertex.min(axis=0), by_vertex.max(axis=0)


def pierced(growth: Growth, blades: Floats) -> Flags:
    """Whether the axis of a stem of the plant passes through a blade.

    Parameters
    ----------
    growth : Growth
        The plant.
    blades : (n, n_vertex, 3) ndarray, m
        Blades in the world frame.

    Returns
    -------
    (n,) bool ndarray

    Notes
    -----
    The meeting of a piece of axis with a triangle is that of Moeller & Trumbore 1997, J. Graphics
    Tools 2:21. Neighbours' stems are not looked at, so that plants do not depend on each other.
    """
    answer = np.zeros(len(blades), dtype=np.bool_)
    if len(blades) == 0:
        return answer
    start = np.concatenate([axis[:-1] for axis in growth.axes])
    end = np.concatenate([axis[1:] for axis in growth.axes])
    least, most = np.minimum(start, end), np.maximum(start, end)
    # Boxes first: few blades come near a stem, and few of their triangles.
    blade, piece = np.nonzero(_overlap(*extent(blades), least, most))
    if len(blade) == 0:
        return answer
    close, row = np.unique(blade, return_inverse=True)
    corners = [blades[close][:, growth.grid.faces[:, k]] for k in range(3)]
    low = np.minimum(np.minimum(corners[0], corners[1]), corners[2])
    high = np.maximum(np.maximum(corners[0], corners[1]), corners[2])
    near = np.ones((len(row), low.shape[1]), dtype=np.bool_)
    for axis in range(3):
        near &= low[row, :, axis] <= most[piece, axis, None]
        near &= high[row, :, axis] >= least[piece, axis, None]
    pair, face = np.nonzero(near)
    a, b, c = (each[row[pair], face].T for each in corners)

    # Components first, so that each is one long array.
    origin, along = start[piece[pair]].T, (end - start)[piece[pair]].T
    side_u, side_v = b - a, c - a
    across = _cross(along, side_v)
    volume = _dot(side_u, across)
    # A triangle seen edge-on is not met; its neighbours are.
    scale = 1.0 / np.where(volume == 0.0, np.inf, volume)
    offset = origin - a
    turned = _cross(offset, side_u)
    u = _dot(offset, across) * scale
    v = _dot(along, turned) * scale
    t = _dot(side_v, turned) * scale
    met = (volume != 0.0) & (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (t >= 0.0) & (t <= 1.0)
    answer[blade[pair[met]]] = True
    return answer


def _overlap(low: Floats, high: Floats, least: Floats, most: Floats) -> Flags:
    """Whether boxes overlap others: (n, 3) and (m, 3) to (n, m)."""
    near = np.ones((len(low), len(least)), dtype=np.bool_)
    for axis in range(3):
        near &= (low[:, axis, None] <= most[:, axis]) & (high[:, axis, None] >= least[:, axis])
    return near


def _cross(a: Floats, b: Floats) -> Floats:
    """Cross products; the first axis holds x, y, z."""
    return np.stack(
        (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])
    )


def _dot(a: Floats, b: Floats) -> Floats:
    """Dot products; the first axis holds x, y, z."""
    product: Floats = a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
    return product
