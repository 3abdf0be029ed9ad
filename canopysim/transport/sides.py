"""The canopy's bounding box, layer by layer: what passes its sides and levels, what stays inside.

Every flight goes from one meeting to the next, and where each of the two lies is told from its
coordinates alone: above means strictly above, on each axis by itself. A flight then crosses the
boundaries between the two in the order of its flight, one step at a time, so that whatever the
rounding of the crossing points, it leaves the cell that it was in and arrives in the cell where the
meeting is: per layer what goes in, less what comes out, plus what is sent out inside, is what stays
inside, to the quantum.

Every function takes `canopy`, which is None where it is not asked for: numba then leaves it out.
"""

import numpy as np

from canopysim.transport.real import TWO
from canopysim.transport.target import jit, jit_apart

# Parts of what is counted, in this order.
SIDES, LEVELS, LAUNCHED, INSIDE, PLANTS = 0, 1, 2, 3, 4


@jit
def _where(low, high, x):
    """Tell on which side of an extent a coordinate lies: 0 before it, 1 inside, 2 beyond it."""
    return np.int64(0) if not x > low else (np.int64(2) if x > high else np.int64(1))


@jit
def _level(level, z):
    """Count the levels that a height does not lie above: 0 above them all."""
    row = np.int64(0)
    while row < level.shape[0] and not z > level[row]:
        row += 1
    return row


@jit
def _cell(canopy, x, y, z):
    """Layer of the box in which a point lies, 0 at the top; -1 outside."""
    row = _level(canopy.level, z)
    if _where(canopy.box[0], canopy.box[1], x) != 1 or _where(canopy.box[2], canopy.box[3], y) != 1:
        return np.int64(-1)
    return np.int64(-1) if row == canopy.level.shape[0] else row - 1


@jit
def _add(counted, channel, at, w):
    for band in range(w.shape[0]):
        counted[channel, at, band] += w[band]


@jit_apart
def _start(canopy, channel, x, y, z, w):
    canopy.point[0], canopy.point[1], canopy.point[2] = x, y, z
    cell = _cell(canopy, x, y, z)
    canopy.cell[0] = cell
    if cell >= 0:
        _add(canopy.counted, channel, canopy.first[LAUNCHED] + cell, w)


@jit_apart
def _pass(canopy, channel, x, y, z, w):
    box, level = canopy.box, canopy.level
    ox, oy, oz = canopy.point[0], canopy.point[1], canopy.point[2]
    at_x, to_x = _where(box[0], box[1], ox), _where(box[0], box[1], x)
    at_y, to_y = _where(box[2], box[3], oy), _where(box[2], box[3], y)
    at_z, to_z = _level(level, oz), _level(level, z)
    n = level.shape[0]
    while at_x != to_x or at_y != to_y or at_z != to_z:
        # The next boundary on each axis, and the share of the flight that is over there.
        share_x = share_y = share_z = TWO
        step_x = step_y = step_z = np.int64(0)
        face_x = face_y = face_z = np.int64(0)
        if at_x != to_x:
            step_x = np.int64(1) if to_x > at_x else np.int64(-1)
            face_x = min(at_x, at_x + step_x)
            share_x = (box[face_x] - ox) / (x - ox)
        if at_y != to_y:
            step_y = np.int64(1) if to_y > at_y else np.int64(-1)
            face_y = min(at_y, at_y + step_y)
            share_y = (box[2 + face_y] - oy) / (y - oy)
        if at_z != to_z:
            step_z = np.int64(1) if to_z > at_z else np.int64(-1)
            face_z = min(at_z, at_z + step_z)
            share_z = (level[face_z] - oz) / (z - oz)
        # Rounding must not choose an axis on which nothing is left to be crossed.
        if (
            at_x != to_x
            and (at_y == to_y or share_x <= share_y)
            and (at_z == to_z or share_x <= share_z)
        ):
            if at_y == 1 and 0 < at_z < n:
                # Stepping into the inside (1) is inwards, whichever face it is.
                outward = np.int64(1) if at_x == 1 else np.int64(0)
                at = canopy.first[SIDES] + ((at_z - 1) * 4 + face_x) * 2 + outward
                _add(canopy.counted, channel, at, w)
            at_x += step_x
        elif at_y != to_y and (at_z == to_z or share_y <= share_z):
            if at_x == 1 and 0 < at_z < n:
                outward = np.int64(1) if at_y == 1 else np.int64(0)
                at = canopy.first[SIDES] + ((at_z - 1) * 4 + 2 + face_y) * 2 + outward
                _add(canopy.counted, channel, at, w)
            at_y += step_y
        else:
            if at_x == 1 and at_y == 1:
                upward = np.int64(1) if step_z < 0 else np.int64(0)
                _add(canopy.counted, channel, canopy.first[LEVELS] + face_z * 2 + upward, w)
            at_z += step_z
    canopy.point[0], canopy.point[1], canopy.point[2] = x, y, z
    inside = at_x == 1 and at_y == 1 and 0 < at_z < n
    canopy.cell[0] = at_z - 1 if inside else np.int64(-1)


@jit
def start_inside(canopy, channel, x, y, z, w):
    """Note where a packet starts; what is sent out inside the box is counted.

    Parameters
    ----------
    canopy : CanopyArrays or None
        The box and what is counted of it.
    channel : int
        Light channel.
    x, y, z : float32
        Where the packet starts, m.
    w : int64 (n_band,)
        Its weights.
    """
    if canopy is not None and canopy.level.shape[0] > 0:
        _start(canopy, channel, x, y, z, w)


@jit
def pass_sides(canopy, channel, x, y, z, w):
    """Count every side and level of the box that a packet crosses on its flight to a meeting.

    Parameters
    ----------
    canopy, channel, w
        As in `start_inside`.
    x, y, z : float32
        The meeting, m; the flight begins where the last one ended. Where sides repeat, the box has
        none there, so that a packet's jump from one end to the other crosses nothing.
    """
    if canopy is not None and canopy.level.shape[0] > 0:
        _pass(canopy, channel, x, y, z, w)


@jit
def stay_inside(canopy, channel, sink, amounts):
    """Count what a packet leaves where it is, by what takes it: see `CanopyArrays.sink_kind`."""
    if canopy is not None and canopy.level.shape[0] > 0 and canopy.cell[0] >= 0:
        at = canopy.first[INSIDE] + canopy.cell[0] * 4 + canopy.sink_kind[sink]
        _add(canopy.counted, channel, at, amounts)


@jit
def stay_on_plant(canopy, facet, channel, amounts):
    """Count what a leaf triangle takes for the plant that it belongs to."""
    if canopy is not None and 0 <= facet < canopy.facet_plant.shape[0]:
        plant = canopy.facet_plant[facet]
        if plant >= 0:
            _add(canopy.counted, channel, canopy.first[PLANTS] + plant, amounts)
