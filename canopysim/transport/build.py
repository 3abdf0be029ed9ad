"""Build the tree: 8-wide nodes by binned surface area, blocks of up to eight triangles."""

import numpy as np
from numpy.typing import NDArray

from canopysim.transport.real import ZERO, F
from canopysim.transport.target import jit_open
from canopysim.transport.vector import (
    lane0,
    lane1,
    lane2,
    lane4,
    lane5,
    lane6,
    load8,
    min8,
    splat8,
    store8,
    sub8,
    swap_halves8,
)

N_BIN = 16
WIDTH = 8
NODE_FLOATS = 64
BLOCK_FLOATS = 72
# A child that is a block of triangles; an inner node's number stays below it.
BLOCK = np.uint32(0x80000000)
# Bounds are kept in eight lanes as (low x y z, -, minus high x y z, -): one min joins two boxes.
INFINITE = F(np.inf)
TINY_EXTENT = F(1e-30)


@jit_open
def _references(corners, boxes):
    """Bounds of every triangle in joined lanes; lane 7 is left for its number."""
    for k in range(corners.shape[0] // 9):
        for a in range(3):
            x, y, z = corners[9 * k + a], corners[9 * k + 3 + a], corners[9 * k + 6 + a]
            boxes[8 * k + a] = min(x, min(y, z))
            boxes[8 * k + 4 + a] = -max(x, max(y, z))
        boxes[8 * k + 3] = ZERO
        boxes[8 * k + 7] = ZERO


@jit_open
def _half_area(box):
    """Half of the surface of joined bounds."""
    x = -lane4(box) - lane0(box)
    y = -lane5(box) - lane1(box)
    z = -lane6(box) - lane2(box)
    return x * y + y * z + z * x


@jit_open
def _swap(boxes, order, i, j):
    a, b = load8(boxes, 8 * i), load8(boxes, 8 * j)
    store8(boxes, 8 * i, b)
    store8(boxes, 8 * j, a)
    order[i], order[j] = order[j], order[i]


@jit_open
def _blocks(count):
    return F((count + WIDTH - 1) // WIDTH)


@jit_open
def _split(boxes, order, first, last, bins, count, right, halves):
    """Cut a range in two where surface area times blocks is least; give the middle.

    The bounds of the halves are left in `halves` (16,).
    """
    centres = splat8(INFINITE)
    for i in range(first, last):
        box = load8(boxes, 8 * i)
        # low + high in lanes 0-2, its negative in lanes 4-6: twice the centre, and a range.
        centres = min8(centres, sub8(box, swap_halves8(box)))
    best, best_axis, best_bin = INFINITE, -1, 0
    start = (lane0(centres), lane1(centres), lane2(centres))
    extent = (-lane4(centres) - start[0], -lane5(centres) - start[1], -lane6(centres) - start[2])
    scale = (
        F(N_BIN * 0.9999) / max(extent[0], TINY_EXTENT),
        F(N_BIN * 0.9999) / max(extent[1], TINY_EXTENT),
        F(N_BIN * 0.9999) / max(extent[2], TINY_EXTENT),
    )
    if max(extent[0], max(extent[1], extent[2])) > TINY_EXTENT:
        for k in range(3 * N_BIN):
            store8(bins, 8 * k, splat8(INFINITE))
            count[k] = 0
        for i in range(first, last):
            box = load8(boxes, 8 * i)
            centre = sub8(box, swap_halves8(box))
            x = np.int64((lane0(centre) - start[0]) * scale[0])
            y = np.int64((lane1(centre) - start[1]) * scale[1]) + N_BIN
            z = np.int64((lane2(centre) - start[2]) * scale[2]) + 2 * N_BIN
            for k in (x, y, z):
                count[k] += 1
                store8(bins, 8 * k, min8(load8(bins, 8 * k), box))
        for axis in range(3):
            if not extent[axis] > TINY_EXTENT:
                continue
            # Sweep from the right, then from the left, joining boxes.
            joined, total = splat8(INFINITE), 0
            for k in range(N_BIN - 1, 0, -1):
                joined = min8(joined, load8(bins, 8 * (axis * N_BIN + k)))
                total += count[axis * N_BIN + k]
                right[k] = _half_area(joined) * _blocks(total) if total > 0 else ZERO
            joined, total = splat8(INFINITE), 0
            for k in range(N_BIN - 1):
                joined = min8(joined, load8(bins, 8 * (axis * N_BIN + k)))
                total += count[axis * N_BIN + k]
                if total == 0 or total == last - first:
                    continue
                cost = _half_area(joined) * _blocks(total) + right[k + 1]
                if cost < best:
                    best, best_axis, best_bin = cost, axis, k
    if best_axis < 0:
        middle = first + (last - first) // 2
    else:
        i, j = first, last - 1
        while i <= j:
            twice = boxes[8 * i + best_axis] - boxes[8 * i + 4 + best_axis]
            if np.int64((twice - start[best_axis]) * scale[best_axis]) <= best_bin:
                i += 1
            else:
                _swap(boxes, order, i, j)
                j -= 1
        middle = i
    lower, upper = splat8(INFINITE), splat8(INFINITE)
    for i in range(first, middle):
        lower = min8(lower, load8(boxes, 8 * i))
    for i in range(middle, last):
        upper = min8(upper, load8(boxes, 8 * i))
    store8(halves, 0, lower)
    store8(halves, 8, upper)
    return middle


@jit_open
def _grow(boxes, order, pad, nodes, children, blocks):
    """Fill nodes from the root; give the numbers of nodes and of blocks."""
    bins = np.empty(3 * N_BIN * 8, np.float32)
    count = np.empty(3 * N_BIN, np.int64)
    right = np.empty(N_BIN, np.float32)
    halves = np.empty(16, np.float32)
    bound = np.empty(WIDTH * 8, np.float32)
    begin, end = np.empty(WIDTH, np.int64), np.empty(WIDTH, np.int64)
    n = boxes.shape[0] // 8
    todo = np.empty((n // 3 + 72, 3), np.int64)  # first, last, where the parent names the child
    todo[0, 0], todo[0, 1], todo[0, 2] = 0, n, -1
    n_todo, n_node, n_block = 1, 0, 0
    while n_todo > 0:
        n_todo -= 1
        begin[0], end[0] = todo[n_todo, 0], todo[n_todo, 1]
        parent = todo[n_todo, 2]
        joined = splat8(INFINITE)
        for i in range(begin[0], end[0]):
            joined = min8(joined, load8(boxes, 8 * i))
        store8(bound, 0, joined)
        n_child = 1
        # Cut the child of greatest surface until there are eight.
        while n_child < WIDTH:
            widest, area = -1, F(-1)
            for k in range(n_child):
                if end[k] - begin[k] > WIDTH:
                    a = _half_area(load8(bound, 8 * k))
                    if a > area:
                        widest, area = k, a
            if widest < 0:
                break
            middle = _split(boxes, order, begin[widest], end[widest], bins, count, right, halves)
            begin[n_child], end[n_child], end[widest] = middle, end[widest], middle
            store8(bound, 8 * widest, load8(halves, 0))
            store8(bound, 8 * n_child, load8(halves, 8))
            n_child += 1
        node = n_node
        n_node += 1
        if parent >= 0:
            children[parent] = np.uint32(node)
        for k in range(WIDTH):
            o = NODE_FLOATS * node + k
            for a in range(3):
                # An empty child is a box that nothing enters. Others are wider than every
                # rounding of the box and triangle tests (see triangle.py).
                full = k < n_child
                nodes[o + 16 * a] = bound[8 * k + a] - pad if full else INFINITE
                nodes[o + 16 * a + 8] = -bound[8 * k + 4 + a] + pad if full else -INFINITE
            children[o + 48] = np.uint32(0)
        for k in range(n_child):
            o = NODE_FLOATS * node + 48 + k
            if end[k] - begin[k] <= WIDTH:
                children[o] = BLOCK | np.uint32(n_block)
                blocks[n_block, 0], blocks[n_block, 1] = begin[k], end[k]
                n_block += 1
            else:
                todo[n_todo, 0], todo[n_todo, 1], todo[n_todo, 2] = begin[k], end[k], o
                n_todo += 1
    return n_node, n_block


@jit_open
def _pack(corners, order, blocks, triangles, slots):
    """Put the triangles of each block side by side: corner by corner, axis by axis, eight lanes."""
    for block in range(blocks.shape[0]):
        for lane in range(WIDTH):
            i = blocks[block, 0] + lane
            used = i < blocks[block, 1]
            slots[WIDTH * block + lane] = order[i] if used else -1
            for row in range(9):
                x = corners[9 * order[i] + row] if used else ZERO
                triangles[BLOCK_FLOATS * block + WIDTH * row + lane] = x


@jit_open
def _stack_need(children, n_node):
    """Entries that a walk can have on its stack: seven siblings for every node on the way."""
    depth = np.ones(n_node, np.int64)
    most = 1
    for node in range(n_node):
        for k in range(WIDTH):
            child = children[NODE_FLOATS * node + 48 + k]
            # A child's number is always greater than its parent's, and 0 means none.
            if child != 0 and child < BLOCK:
                depth[np.int64(child)] = depth[node] + 1
                most = max(most, depth[node] + 1)
    return most * (WIDTH - 1) + 1


def aligned(n: int, dtype: type) -> NDArray[np.float32]:
    """Give an uninitialised array whose first byte starts a cache line."""
    size = n * np.dtype(dtype).itemsize
    raw = np.empty(size + 64, np.uint8)
    start = -raw.ctypes.data % 64
    return raw[start : start + size].view(dtype)


def build_tree(
    corners: NDArray[np.float32], size_m: float
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.int64], int]:
    """Build a tree over triangles.

    Parameters
    ----------
    corners : numpy.ndarray of float32 (9 n,)
        Finite vertices in metres; n = 0 gives an empty tree.
    size_m : float
        Largest coordinate that a ray can have, m; sets the padding of the boxes.

    Returns
    -------
    nodes : numpy.ndarray of float32 (64 n_node,)
        For each axis the low planes of eight children, then the high ones; then, as uint32, the
        children: a node's number, or BLOCK | a block's number; then eight unused.
    triangles : numpy.ndarray of float32 (72 n_block,)
        For each corner and axis eight lanes, in m; unused lanes hold empty triangles.
    slots : numpy.ndarray of int64 (8 n_block,)
        The caller's triangle in each lane, or -1.
    stack : int
        Entries that a walk can need.
    """
    n = corners.shape[0] // 9
    if n == 0:
        return aligned(0, np.float32), aligned(0, np.float32), np.zeros(0, np.int64), 1
    boxes = aligned(8 * n, np.float32)
    _references(corners, boxes)
    order = np.arange(n, dtype=np.int64)
    room = n // 3 + 64  # 7 of 8 children of a full node, or 9 triangles of a last one, are new
    nodes = aligned(NODE_FLOATS * room, np.float32)
    nodes[:] = 0  # the unused places too: they count in the world's digest
    blocks = np.empty((n, 2), np.int64)
    n_node, n_block = _grow(
        boxes, order, F(size_m * 2.0**-20), nodes, nodes.view(np.uint32), blocks
    )
    kept = aligned(NODE_FLOATS * n_node, np.float32)
    kept[:] = nodes[: NODE_FLOATS * n_node]
    triangles = aligned(BLOCK_FLOATS * n_block, np.float32)
    slots = np.empty(WIDTH * n_block, np.int64)
    _pack(corners, order, blocks[:n_block], triangles, slots)
    return kept, triangles, slots, int(_stack_need(kept.view(np.uint32), n_node))
