"""Leaves that go on through a side that repeats: cut there, they come in at the opposite side.

A triangle is cut along the planes of the sides, exactly: its pieces have its area.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from canopysim.matter.parts import Part

Floats = NDArray[np.float64]
Faces = NDArray[np.int32]


def wrap_part(part: Part, size: tuple[float, float, float], axes: tuple[int, ...]) -> Part:
    """Bring a part into the room along axes that repeat.

    Parameters
    ----------
    part : Part
        World frame, m; may reach out of the room.
    size : (width, depth, height), m
        Of the room.
    axes : tuple of int
        0 where the width repeats, 1 where the depth does.

    Returns
    -------
    Part
        All of it from 0 to `size` along those axes, its area unchanged; the same part where nothing
        reached out. Cut triangles have corners of their own.
    """
    for axis in axes:
        heights = part.vertices[part.faces][..., axis]
        out = (heights.min(axis=1) < 0.0) | (heights.max(axis=1) > size[axis])
        if not out.any():
            continue
        pieces = _in_cells(part.vertices[part.faces[out]], axis, size[axis])
        kept, corner = np.unique(part.faces[~out], return_inverse=True)
        old = corner.reshape(-1, 3)
        new = len(kept) + np.arange(3 * len(pieces)).reshape(-1, 3)
        part = replace(
            part,
            vertices=np.concatenate((part.vertices[kept], pieces.reshape(-1, 3))),
            faces=np.concatenate((old, new)).astype(np.int32),
        )
    return part


def _in_cells(corners: Floats, axis: int, period: float) -> Floats:
    """Cut triangles (n, 3, 3) at every multiple of a period, and move the pieces into the first."""
    first = int(np.floor(corners[..., axis].min() / period))
    last = int(np.ceil(corners[..., axis].max() / period))
    for cut in range(first, last + 1):
        corners = _cut(corners, axis, cut * period)
    cell = np.floor(corners[..., axis].mean(axis=1) / period)
    moved = corners.copy()
    moved[..., axis] = np.clip(corners[..., axis] - cell[:, None] * period, 0.0, period)
    return moved


def _cut(corners: Floats, axis: int, at: float) -> Floats:
    """Cut triangles along a plane square to an axis: one piece on one side, two on the other."""
    height = corners[..., axis]
    crossing = (height.min(axis=1) < at) & (height.max(axis=1) > at)
    if not crossing.any():
        return corners
    whole, cut = corners[~crossing], corners[crossing]
    above = cut[..., axis] > at
    below = cut[..., axis] < at
    # The corner that is alone on its side, first; the turn about it keeps the upper side up.
    lone_above = above.sum(axis=1) == 1
    lone = np.where(lone_above, above.argmax(axis=1), below.argmax(axis=1))
    row = np.arange(len(cut))
    p, q, r = (cut[row, (lone + k) % 3] for k in range(3))

    def meeting(a: Floats, b: Floats) -> Floats:
        # From the lower end, whichever triangle asks: neighbours are cut at the same point.
        swap = (a[:, axis] > b[:, axis])[:, None]
        low, high = np.where(swap, b, a), np.where(swap, a, b)
        span = high[:, axis] - low[:, axis]
        share = (at - low[:, axis]) / np.where(span > 0.0, span, 1.0)
        point: Floats = low + np.clip(share, 0.0, 1.0)[:, None] * (high - low)
        point[:, axis] = at
        return np.asarray(point, np.float64)

    s, t = meeting(p, q), meeting(p, r)
    pieces = np.concatenate([np.stack(each, axis=1) for each in ((p, s, t), (s, q, r), (s, r, t))])
    # Where a corner lies in the plane, a piece has no area.
    area = np.linalg.norm(
        np.cross(pieces[:, 1] - pieces[:, 0], pieces[:, 2] - pieces[:, 0]), axis=1
    )
    return np.concatenate((whole, pieces[area > 0.0]))
