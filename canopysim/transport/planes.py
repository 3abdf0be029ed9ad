"""Crossings of horizontal counting planes."""

import math

import numpy as np

from canopysim.transport.real import ZERO, inverse
from canopysim.transport.splits import split_crossed
from canopysim.transport.target import fma, jit


@jit
def cross_planes(world, books, splits, channel, ox, oy, oz, dx, dy, dz, t, from_z, to_z, w):
    """Count a flight segment on every horizontal plane that it crosses (half-open in height)."""
    for plane in range(world.plane.shape[0]):
        height = world.plane[plane, 0]
        if (from_z > height) == (to_z > height):
            continue
        s = min(max((height - oz) * inverse(dz), ZERO), t)
        x, y = fma(s, dx, ox), fma(s, dy, oy)
        low_x, low_y = world.plane[plane, 1], world.plane[plane, 2]
        if not (low_x <= x < world.plane[plane, 3] and low_y <= y < world.plane[plane, 4]):
            continue
        nx, ny = world.plane_cells[plane, 0], world.plane_cells[plane, 1]
        ix = min(np.int64(math.floor((x - low_x) * world.plane[plane, 5])), nx - 1)
        iy = min(np.int64(math.floor((y - low_y) * world.plane[plane, 6])), ny - 1)
        upward = np.int64(1) if to_z > from_z else np.int64(0)
        cell = world.plane_cells[plane, 2] + (upward * ny + iy) * nx + ix
        for band in range(w.shape[0]):
            books.crossed[channel, cell, band] += w[band]
        if splits is not None:
            split_crossed(splits, channel, plane, upward, cell, w)
