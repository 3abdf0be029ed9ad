"""Stems and petioles: thin closed prisms, wound outwards."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.vectors import cross

Floats = NDArray[np.float64]
Faces = NDArray[np.int32]


def tube(points: Floats, radius: float, sideways: Floats, n_side: int) -> tuple[Floats, Faces]:
    """Prism along a gently bent line that stays in one plane, closed at both ends.

    Parameters
    ----------
    points : (n_point, 3) ndarray, m
        The axis, in order; at least two.
    radius : float, m
        Of the circle round each ring's corners.
    sideways : (3,) ndarray
        Unit vector square to the plane of the line: the rings cannot twist.
    n_side : int
        Corners of a ring.

    Returns
    -------
    vertices : (n_point * n_side, 3) ndarray, m
    faces : (2 * n_side * n_point - 4, 3) int32 ndarray
    """
    # A ring stands square to the mean direction of the pieces that meet in it.
    direction = np.diff(points, axis=0)
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    tangent = np.concatenate((direction[:1], direction[1:] + direction[:-1], direction[-1:]))
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    other = cross(tangent, sideways)
    rings = _rings(points, sideways + 0.0 * tangent, other, radius, n_side)
    return rings.reshape(-1, 3), _tube_faces(len(points), n_side)


def prisms(start: Floats, end: Floats, radius: Floats, n_side: int) -> tuple[Floats, Faces]:
    """Many straight prisms at once.

    Parameters
    ----------
    start, end : (n, 3) ndarray, m
        Ends of the axes, apart from each other.
    radius : (n,) ndarray, m
        Of the circle round the corners.
    n_side : int
        Corners of a ring.

    Returns
    -------
    vertices : (n * 2 * n_side, 3) ndarray, m
    faces : (n * (4 * n_side - 4), 3) int32 ndarray
    """
    tangent = end - start
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    # Square to the vertical where possible; an upright prism takes the x axis.
    first = cross(np.array([0.0, 0.0, 1.0]), tangent)
    size = np.linalg.norm(first, axis=1, keepdims=True)
    upright = size[:, 0] < 1e-9
    first[upright], size[upright] = (1.0, 0.0, 0.0), 1.0
    first /= size
    other = cross(tangent, first)
    low = _rings(start, first, other, radius[:, None, None], n_side)
    high = _rings(end, first, other, radius[:, None, None], n_side)
    vertices = np.concatenate((low, high), axis=1)
    return vertices.reshape(-1, 3), repeat_faces(_tube_faces(2, n_side), len(start), 2 * n_side)


def repeat_faces(faces: Faces, n_copy: int, n_vertex: int) -> Faces:
    """Faces of equal meshes laid one after the other.

    Parameters
    ----------
    faces : (n_face, 3) int32 ndarray
        Of one mesh with `n_vertex` vertices.
    n_copy, n_vertex : int
        How many meshes, and vertices in each.

    Returns
    -------
    (n_copy * n_face, 3) int32 ndarray
    """
    shift = (np.arange(n_copy, dtype=np.int32) * np.int32(n_vertex))[:, None, None]
    copies: Faces = (faces[None] + shift).reshape(-1, 3).astype(np.int32)
    return copies


def join(meshes: list[tuple[Floats, Faces]]) -> tuple[Floats, Faces]:
    """Several meshes as one, with the faces renumbered."""
    shifts = np.cumsum([0] + [len(vertices) for vertices, _ in meshes])
    vertices = np.concatenate([vertices for vertices, _ in meshes])
    faces = [faces + shift for (_, faces), shift in zip(meshes, shifts[:-1], strict=True)]
    return vertices, np.concatenate(faces).astype(np.int32)


def _rings(
    centre: Floats, first: Floats, other: Floats, radius: float | Floats, n_side: int
) -> Floats:
    """Corners round each centre, counter-clockwise about first x other: (n, n_side, 3)."""
    angle = 2.0 * np.pi * np.arange(n_side) / n_side
    around = first[:, None, :] * np.cos(angle)[:, None] + other[:, None, :] * np.sin(angle)[:, None]
    ring: Floats = centre[:, None, :] + radius * around
    return ring


@cache
def _tube_faces(n_ring: int, n_side: int) -> Faces:
    """Faces of `n_ring` rings of `n_side` corners, numbered ring by ring, with two end caps."""
    corner = np.arange(n_side)
    following = (corner + 1) % n_side
    base = (np.arange(n_ring - 1) * n_side)[:, None]
    a, b = base + corner, base + following
    c, d = b + n_side, a + n_side
    sides = np.concatenate((np.stack((a, b, c), -1), np.stack((a, c, d), -1)), axis=1)
    k = np.arange(1, n_side - 1)
    foot = np.stack((0 * k, k + 1, k), -1)
    top = (n_ring - 1) * n_side + np.stack((0 * k, k, k + 1), -1)
    faces = np.concatenate((sides.reshape(-1, 3), foot, top)).astype(np.int32)
    faces.setflags(write=False)  # shared by every tube of that size
    return faces
