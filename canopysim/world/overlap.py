"""Which boxes and triangles reach into which boxes, by separating axes.

Two convex bodies are apart exactly where some axis shows a gap between their shadows on it. For two
boxes (Gottschalk, Lin and Manocha 1996, SIGGRAPH 96:171) and for a triangle and a box
(Akenine-Möller 2001, J. Graphics Tools 6:29) it is enough to try the normals of both and the cross
products of their edges.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

SLACK_M = 1e-6
"""Bodies that share less depth than this only touch."""


@dataclass(frozen=True, eq=False)
class Boxes:
    """Boxes in any orientation.

    Parameters
    ----------
    centre : (n, 3) ndarray, m
        World frame.
    axes : (n, 3, 3) ndarray
        Rows are the unit vectors along each box's edges.
    half : (n, 3) ndarray, m
        Half extents along these.
    """

    centre: Array
    axes: Array
    half: Array

    @property
    def bounds(self) -> tuple[Array, Array]:
        """Lowest and highest corner of the axis-parallel boxes round them, (n, 3) m each."""
        reach = (np.abs(self.axes) * self.half[:, :, None]).sum(axis=1)
        return self.centre - reach, self.centre + reach


def box_pairs(first: Boxes, second: Boxes) -> NDArray[np.intp]:
    """Find the pairs of boxes that reach into each other.

    Parameters
    ----------
    first, second : Boxes
        Every box of the one is held against every box of the other.

    Returns
    -------
    (n_pair, 2) int ndarray
        Indices into `first` and `second`, ascending.
    """
    (low_a, high_a), (low_b, high_b) = first.bounds, second.bounds
    near = np.ones((len(first.half), len(second.half)), dtype=np.bool_)
    for axis in range(3):
        near &= low_a[:, axis, None] <= high_b[:, axis]
        near &= high_a[:, axis, None] >= low_b[:, axis]
    pairs = np.argwhere(near)
    a, b = pairs.T
    between = second.centre[b] - first.centre[a]

    def shows_gap(axes: Array) -> Flags:
        """Whether an axis of each pair, (n, 3), shows a gap; one that vanishes shows none."""
        length = np.linalg.norm(axes, axis=1)
        shadow = np.abs((between * axes).sum(axis=1))
        for boxes, index in ((first, a), (second, b)):
            along = np.abs((boxes.axes[index] * axes[:, None]).sum(axis=2))
            shadow -= (boxes.half[index] * along).sum(axis=1)
        gap: Flags = (length > 1e-9) & (shadow > -SLACK_M * length)
        return gap

    apart = np.zeros(len(pairs), dtype=np.bool_)
    for i in range(3):
        apart |= shows_gap(first.axes[a, i]) | shows_gap(second.axes[b, i])
        for j in range(3):
            apart |= shows_gap(np.cross(first.axes[a, i], second.axes[b, j]))
    return pairs[~apart]


def triangles_in_box(corners: Array, boxes: Boxes, index: int) -> Flags:
    """Tell which triangles reach into a box.

    Parameters
    ----------
    corners : (n, 3, 3) ndarray, m
        Triangles, their corners, x y z in the world frame.
    boxes : Boxes
        The box is one of these.
    index : int
        Which.

    Returns
    -------
    (n,) bool ndarray
        True also for a triangle that lies wholly inside.
    """
    half = boxes.half[index] - SLACK_M
    own = (corners - boxes.centre[index]) @ boxes.axes[index].T
    within: Flags = np.all((own.min(axis=1) <= half) & (own.max(axis=1) >= -half), axis=1)
    # Few are left: the rest of the axes only for these.
    left = np.flatnonzero(within)
    corner = own[left]
    edges = corner[:, [1, 2, 0]] - corner
    axes = [np.cross(edges[:, 0], edges[:, 1])]
    axes += [np.cross(unit, edges[:, k]) for unit in np.eye(3) for k in range(3)]
    for axis in axes:
        shadow = (corner * axis[:, None]).sum(axis=2)
        reach = np.abs(axis) @ half
        within[left] &= (shadow.min(axis=1) <= reach) & (shadow.max(axis=1) >= -reach)
    return within
