"""What meets in the edges of a mesh: neighbours, what hangs together, corners that are one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

WELD_M = 1e-5
"""Corners nearer to each other than this are one: the rounding of a file, not a gap."""
SLIVER = 1e-12
"""Twice the area over the square of the longest side, below which a face is a line or a point."""


@dataclass(frozen=True, eq=False)
class Edges:
    """All edges of a mesh, each once.

    Parameters
    ----------
    ends : (n, 2) int ndarray
        Vertices, the lower number first.
    of_half : (3, m) int ndarray
        Edge of each side of each face: from its first corner to its second, and so on.
    ahead : (3, m) bool ndarray
        Whether the face goes from the lower to the higher vertex there.
    uses : (n,) int ndarray
        Faces that meet in it.
    """

    ends: Indices
    of_half: Indices
    ahead: NDArray[np.bool_]
    uses: Indices

    def owner(self, edge: Indices) -> Indices:
        """One face of each of some edges."""
        n_face = self.of_half.shape[1]
        first = np.full(len(self.ends), -1, dtype=np.intp)
        flat = self.of_half.ravel()
        first[flat[::-1]] = np.tile(np.arange(n_face), 3)[::-1]
        owners: Indices = first[edge]
        return owners


def edges_of(faces: Indices) -> Edges:
    """Find the edges of a mesh whose faces share their vertices; faces (m, 3)."""
    start = np.concatenate([faces[:, 0], faces[:, 1], faces[:, 2]])
    end = np.concatenate([faces[:, 1], faces[:, 2], faces[:, 0]])
    low, high = np.minimum(start, end), np.maximum(start, end)
    span = int(faces.max()) + 1 if len(faces) else 1
    key, inverse, uses = np.unique(low * span + high, return_inverse=True, return_counts=True)
    ends = np.stack((key // span, key % span), axis=1)
    shape = (3, len(faces))
    return Edges(ends, inverse.reshape(shape), (start < end).reshape(shape), uses)


def pairs_of_faces(edges: Edges) -> tuple[Indices, NDArray[np.bool_]]:
    """Faces that share an edge with one other, (n, 2), and whether both go along it alike."""
    order = np.argsort(edges.of_half.ravel(), kind="stable")
    first = np.cumsum(edges.uses) - edges.uses
    two = first[edges.uses == 2]
    halves = np.stack((order[two], order[two + 1]), axis=1)
    ahead = edges.ahead.ravel()[halves]
    n_face = edges.of_half.shape[1]
    return halves % n_face, ahead[:, 0] == ahead[:, 1]


def hang_together(n: int, pairs: Indices) -> Indices:
    """Give each of n things the lowest number of all that it hangs together with.

    Parameters
    ----------
    n : int
        Things, numbered from 0.
    pairs : (m, 2) int ndarray
        Things that hang together.

    Notes
    -----
    Each root that has a lower neighbour is hung onto it, then all ways to the roots are halved
    until they are one step long (Shiloach and Vishkin 1982, J. Algorithms 3:57).
    """
    label = np.arange(n)
    while True:
        one, other = label[pairs[:, 0]], label[pairs[:, 1]]
        apart = one != other
        if not apart.any():
            return label
        one, other = one[apart], other[apart]
        np.minimum.at(label, np.maximum(one, other), np.minimum(one, other))
        while True:
            further = label[label]
            if np.array_equal(further, label):
                break
            label = further


def same_corners(vertices: Floats) -> Indices:
    """Give each vertex the number of the first one in exactly the same place, (n,)."""
    _, first, inverse = np.unique(vertices + 0.0, axis=0, return_index=True, return_inverse=True)
    same: Indices = first[inverse.ravel()]
    return same


def near_corners(vertices: Floats) -> Indices:
    """Give each vertex the number of the first one within `WELD_M`, (n,).

    Notes
    -----
    Two points that are that near share a cell in one of eight grids of twice that width, which are
    shifted by half a cell along each axis or not.
    """
    pairs = [np.empty((0, 2), dtype=np.intp)]
    for shift in np.ndindex(2, 2, 2):
        cell = np.floor(vertices / (2 * WELD_M) + 0.5 * np.array(shift)).astype(np.int64)
        order = np.lexsort(cell.T)
        alike = (cell[order][1:] == cell[order][:-1]).all(axis=1)
        two = np.stack((order[:-1], order[1:]), axis=1)[alike]
        near = np.linalg.norm(vertices[two[:, 0]] - vertices[two[:, 1]], axis=1) <= WELD_M
        pairs.append(two[near])
    return hang_together(len(vertices), np.concatenate(pairs))


def flat_faces(vertices: Floats, faces: Indices) -> NDArray[np.bool_]:
    """Mark faces that are a line or a point."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    longest = np.max([((p - q) ** 2).sum(1) for p, q in ((a, b), (b, c), (c, a))], axis=0)
    twice = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    flat: NDArray[np.bool_] = twice <= SLIVER * longest
    return flat
