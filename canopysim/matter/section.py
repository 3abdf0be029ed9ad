"""Level cuts through a drawn room: how much of each cell of a plane lies in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from canopysim.matter.room import Room

Floats = NDArray[np.float64]


def cut_room(room: Room, height: float) -> Floats:
    """Cut a room just above a height.

    Parameters
    ----------
    room : Room
        Closed, normals inwards.
    height : float
        m; what lies in it counts as below it, as for counting planes.

    Returns
    -------
    (n, 2, 2) ndarray, m
        Pieces of the outline, from one point x, y to the next, with the room to the left.
    """
    corners = room.vertices[room.faces]
    above = corners[:, :, 2] > height
    cut = above.any(axis=1) & ~above.all(axis=1)
    corners, above = corners[cut], above[cut]
    if not len(corners):
        return np.empty((0, 2, 2))
    # Turn each so that its first corner is alone on its side of the height.
    alone = np.where(above.sum(axis=1) == 1, above.argmax(axis=1), (~above).argmax(axis=1))
    row = np.arange(len(corners))
    first, second, third = (corners[row, (alone + k) % 3] for k in range(3))
    ends = []
    for other in (second, third):
        share = (height - first[:, 2]) / (other[:, 2] - first[:, 2])
        ends.append(first[:, :2] + share[:, None] * (other[:, :2] - first[:, :2]))
    outline = np.stack(ends, axis=1)
    # The room lies where the normal points to: to the left of the way.
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    along = outline[:, 1] - outline[:, 0]
    right = along[:, 0] * normal[:, 1] - along[:, 1] * normal[:, 0] < 0
    outline[right] = outline[right][:, ::-1]
    return outline


def area_in_cells(outline: Floats, x_edges: Floats, y_edges: Floats) -> Floats:
    """Area within an outline of each cell of a grid.

    Parameters
    ----------
    outline : (n, 2, 2) ndarray, m
        From `cut_room`.
    x_edges, y_edges : (n_x + 1,), (n_y + 1,) ndarray, m
        Ascending.

    Returns
    -------
    (n_y, n_x) ndarray, m2

    Notes
    -----
    By Green's theorem the area below a line y = Y in a column is minus the integral of min(y, Y)
    dx along the outline in that column: what runs up and down the column's own sides adds nothing.
    """
    n_x = len(x_edges) - 1
    below = np.zeros((n_x, len(y_edges)))
    x, y = outline[:, :, 0], outline[:, :, 1]
    for column in range(n_x):
        low, high = x_edges[column], x_edges[column + 1]
        # What stands upright adds no area.
        here = (x.min(axis=1) < high) & (x.max(axis=1) > low) & (x[:, 0] != x[:, 1])
        x0, x1 = x[here, 0], x[here, 1]
        y0, y1 = y[here, 0], y[here, 1]
        slope = (y1 - y0) / (x1 - x0)
        a, b = np.clip(x0, low, high), np.clip(x1, low, high)
        ya, yb = y0 + slope * (a - x0), y0 + slope * (b - x0)
        least, most = np.minimum(ya, yb)[:, None], np.maximum(ya, yb)[:, None]
        # Mean of min(y, Y) along a straight piece.
        partly = (y_edges - least) ** 2 / (2 * np.maximum(most - least, 1e-30))
        over = np.where(
            y_edges >= most, y_edges - (least + most) / 2, np.where(y_edges > least, partly, 0.0)
        )
        below[column] = -((y_edges - over) * (b - a)[:, None]).sum(axis=0)
    # Rounding must not make area where there is none.
    area: Floats = np.maximum(np.diff(below, axis=1).T, 0.0)
    return area
