"""Tallies told apart by a packet's past: what it has met so far, how it was launched.

Every function takes `splits`, which is None where nothing is told apart: numba then leaves out
whatever depends on it, so that the books cost nothing that they do not hold.
"""

import numpy as np

from canopysim.transport.arrays import (
    FIRST_FLIGHT,
    LAST_SURFACE,
    LAUNCH_CELLS,
    LINING_MEETINGS,
)
from canopysim.transport.real import FOUR, HALF, ONE, TINY, TWO, ZERO, F
from canopysim.transport.sides import start_inside, stay_inside, stay_on_plant
from canopysim.transport.target import fma, jit, jit_apart


@jit_apart
def _add(table, at, passed, channel, column, amounts):
    """Add a packet's amounts to the rows that it is in, and to each sensitivity times its count."""
    for split in range(at.shape[0]):
        for band in range(amounts.shape[0]):
            table[channel, at[split], column, band] += amounts[band]
    first = table.shape[1] - passed.shape[0]
    for way in range(passed.shape[0]):
        n = passed[way]
        if n != 0:
            for band in range(amounts.shape[0]):
                table[channel, first + way, column, band] += n * amounts[band]


@jit
def split_ended(splits, channel, sink, amounts):
    """Book what a packet left in a sink."""
    _add(splits.absorbed, splits.at, splits.passed, channel, sink, amounts)
    stay_inside(splits.canopy, channel, sink, amounts)


@jit
def split_crossed(splits, channel, plane, upward, cell, amounts):
    """Book a crossing, in its cell or in the sum of its plane and direction."""
    column = cell if splits.on_cells[0] == 1 else 2 * plane + upward
    _add(splits.crossed, splits.at, splits.passed, channel, column, amounts)


@jit
def split_own(world, splits, channel, sink, surface, side, w):
    """Book what more reflectance takes from the absorption at this very meeting.

    Of the weight that arrives, w_in (1 - sum of ways) stays; its derivative by the logarithm of a
    way's share is minus the weight that goes that way.
    """
    if splits.passed.shape[0] == 0:
        return
    n = splits.passed.shape[0]
    # A surface has one row of optics for each spectrum, but one sensitivity.
    first = splits.absorbed.shape[1] - n + (3 * surface) % n
    for way in range(3):
        if world.way_open[surface, side, way] == 1:
            for band in range(w.shape[0]):
                gone = np.int64(F(w[band]) * world.ways[surface, side, way, band] + HALF)
                splits.absorbed[channel, first + way, sink, band] -= gone


@jit
def split_way(splits, surface, way):
    """Count a way taken at a surface: every later tally has it as a factor."""
    if splits.passed.shape[0] > 0:
        splits.passed[(3 * surface) % splits.passed.shape[0] + way] += 1


@jit
def split_facet(splits, facet, side, channel, amounts):
    """Book what a triangle absorbed."""
    if 0 <= facet < splits.facet.shape[0]:
        for band in range(amounts.shape[0]):
            splits.facet[facet, side, channel, band] += amounts[band]
    stay_on_plant(splits.canopy, facet, channel, amounts)


@jit
def split_launch(world, splits, strip, ox, oy, oz, dx, dy, dz):
    """Put a new packet into the first row of every split."""
    channel = world.strip_channel[strip]
    start_inside(splits.canopy, channel, ox, oy, oz, world.strip_quanta[strip])
    for way in range(splits.passed.shape[0]):
        splits.passed[way] = 0
    for split in range(splits.at.shape[0]):
        row = splits.first[split]
        if splits.kind[split] == LAUNCH_CELLS:
            row += _launch_cell(world, splits, strip, ox, oy, oz, dx, dy, dz)
        splits.at[split] = row


@jit
def split_meeting(splits, place):
    """Move a packet on after it has met a place."""
    for split in range(splits.at.shape[0]):
        kind = splits.kind[split]
        if kind == LINING_MEETINGS:
            last = splits.first[split] + splits.n_row[split] - 1
            if splits.place_lining[place] == 1 and splits.at[split] < last:
                splits.at[split] += 1
        elif kind == FIRST_FLIGHT:
            splits.at[split] = splits.first[split] + 1
        elif kind == LAST_SURFACE:
            splits.at[split] = splits.first[split] + splits.place_last[place]


@jit
def _launch_cell(world, splits, strip, ox, oy, oz, dx, dy, dz):
    """Find the cell of a launch: strip, part of its length, height and turn of its direction."""
    n_along, n_polar, n_around = splits.cells[0], splits.cells[1], splits.cells[2]
    frame = world.strip
    x = ox - frame[strip, 0]
    y = oy - frame[strip, 1]
    z = oz - frame[strip, 2]
    a = fma(x, frame[strip, 3], fma(y, frame[strip, 4], z * frame[strip, 5]))
    share = HALF + HALF * a / max(frame[strip, 12], TINY)
    along = min(max(np.int64(share * F(n_along)), 0), n_along - 1)
    polar = min(max(np.int64((ONE - dz) * HALF * F(n_polar)), 0), n_polar - 1)
    # The turn without an arc tangent: the way around a diamond orders as the angle does.
    turn = dy / max(abs(dx) + abs(dy), TINY)
    if dx < ZERO:
        turn = TWO - turn
    elif dy < ZERO:
        turn = FOUR + turn
    around = np.int64(0)
    while around < n_around - 1 and turn >= splits.turn_edge[around + 1]:
        around += 1
    return ((strip * n_along + along) * n_polar + polar) * n_around + around
