"""The box around everything: its faces in the world's frame, and the same box as triangles."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from canopysim.scene.schema_enclosure import FACE_AXES, FaceName

Array = NDArray[np.float64]
# In the kernels' order: low and high x, low and high y, low and high z.
FACES: tuple[FaceName, ...] = ("left", "right", "front", "back", "floor", "ceiling")


def face_rectangles(size: Array, holes: list[tuple[Array, Array]]) -> list[tuple[Array, Array]]:
    """Cut a face without its holes into rectangles.

    Parameters
    ----------
    size : numpy.ndarray (2,)
        Extent of the face in its two axes, m; the face starts at 0, 0.
    holes : list of (low, high), each numpy.ndarray (2,)
        Axis-parallel rectangles that are left out; they may overlap.

    Returns
    -------
    list of (low, high)
        Disjoint rectangles that cover the rest.
    """
    cuts = [np.unique(np.clip([0, size[a], *(h[s][a] for h in holes for s in (0, 1))], 0, size[a]))
            for a in (0, 1)]  # fmt: skip
    pieces = []
    for x0, x1 in zip(cuts[0][:-1], cuts[0][1:], strict=True):
        for y0, y1 in zip(cuts[1][:-1], cuts[1][1:], strict=True):
            x, y = (x0 + x1) / 2, (y0 + y1) / 2
            if not any(low[0] < x < high[0] and low[1] < y < high[1] for low, high in holes):
                pieces.append((np.array([x0, y0]), np.array([x1, y1])))
    return pieces


def face_mesh(
    size: Array, face: FaceName, cells: tuple[int, int]
) -> tuple[Array, NDArray[np.int32]]:
    """One face of the box as a grid of triangles, normals into the box.

    Parameters
    ----------
    size : numpy.ndarray (3,)
        Width, depth, height, m.
    face : str
        One of `FACES`.
    cells : (int, int)
        Grid cells along the face's two axes; two triangles each.

    Returns
    -------
    vertices : numpy.ndarray (n, 3)
        World frame, m.
    faces : numpy.ndarray of int32 (m, 3)
        Vertex indices.
    """
    a, b = FACE_AXES[face]
    na, nb = cells
    u, v = np.meshgrid(np.linspace(0, size[a], na + 1), np.linspace(0, size[b], nb + 1))
    axis = FACES.index(face) // 2
    vertices = np.zeros((u.size, 3))
    vertices[:, a], vertices[:, b] = u.ravel(), v.ravel()
    vertices[:, axis] = size[axis] if FACES.index(face) % 2 else 0.0
    corner = (np.arange(nb)[:, None] * (na + 1) + np.arange(na)).ravel()
    quad = np.stack([corner, corner + 1, corner + na + 2, corner + na + 1], 1)
    triangles = np.concatenate([quad[:, [0, 1, 2]], quad[:, [0, 2, 3]]]).astype(np.int32)
    # Along a then b the normal is a x b; turn it inwards where it points out.
    normal = np.cross(np.eye(3)[a], np.eye(3)[b])[axis]
    inward = -1.0 if FACES.index(face) % 2 else 1.0
    if normal * inward < 0:
        triangles = triangles[:, ::-1].copy()
    return vertices, triangles


def box_mesh(size: Array, n_triangle: int) -> dict[FaceName, tuple[Array, NDArray[np.int32]]]:
    """Give the whole box as about `n_triangle` triangles, closed edge to edge.

    Parameters
    ----------
    size : numpy.ndarray (3,)
        Width, depth, height, m.
    n_triangle : int
        Wanted number; the number of cells along each axis is the same on all faces.

    Returns
    -------
    dict
        Vertices and triangles by face name.
    """
    area = 2 * (size[0] * size[1] + size[1] * size[2] + size[2] * size[0])
    edge = np.sqrt(2 * area / n_triangle)
    cells = np.maximum(1, np.rint(size / edge)).astype(int)
    return {
        face: face_mesh(
            size, face, (int(cells[FACE_AXES[face][0]]), int(cells[FACE_AXES[face][1]]))
        )
        for face in FACES
    }
