"""A tree of boxes over the triangles: built by binned surface area, walked nearest first."""

import numpy as np
from numpy.typing import NDArray

from canopysim.transport.real import BIG, ONE, ZERO, F
from canopysim.transport.target import jit
from canopysim.transport.triangle import TINY, meet_triangle, ray_axes

N_BIN = 16
LEAF_MOST = 4  # triangles in a leaf of the tree, at most 8 (the code of a leaf has three bits)
NO_TRIANGLE = np.int64(2**31 - 1)
# The far plane is moved out by more than the two roundings of (plane - o) * (1/d).
FAR_PAD = F(1 + 4e-7)


@jit
def _half_area(low, high):
    x, y, z = high[0] - low[0], high[1] - low[1], high[2] - low[2]
    return x * y + y * z + z * x


@jit
def _best_split(centre, low, high, order, first, last):
    """Cheapest of N_BIN - 1 cuts on each axis by surface area times count; axis -1 where none."""
    best_cost, best_axis, best_at = np.inf, -1, 0.0
    count = np.empty(N_BIN, np.int64)
    bin_low = np.empty((N_BIN, 3), np.float64)
    bin_high = np.empty((N_BIN, 3), np.float64)
    right_cost = np.empty(N_BIN, np.float64)
    run_low = np.empty(3, np.float64)
    run_high = np.empty(3, np.float64)
    for axis in range(3):
        least, most = np.inf, -np.inf
        for i in range(first, last):
            c = centre[order[i], axis]
            least, most = min(least, c), max(most, c)
        if not most > least:
            continue
        scale = N_BIN * 0.999999 / (most - least)
        count[:] = 0
        bin_low[:] = np.inf
        bin_high[:] = -np.inf
        for i in range(first, last):
            k = order[i]
            b = int((centre[k, axis] - least) * scale)
            count[b] += 1
            for a in range(3):
                bin_low[b, a] = min(bin_low[b, a], low[k, a])
                bin_high[b, a] = max(bin_high[b, a], high[k, a])
        # Sweep from the right, then from the left, joining boxes.
        run_low[:] = np.inf
        run_high[:] = -np.inf
        total = 0
        for b in range(N_BIN - 1, 0, -1):
            total += count[b]
            for a in range(3):
                run_low[a] = min(run_low[a], bin_low[b, a])
                run_high[a] = max(run_high[a], bin_high[b, a])
            right_cost[b] = _half_area(run_low, run_high) * total if total > 0 else 0.0
        run_low[:] = np.inf
        run_high[:] = -np.inf
        total = 0
        for b in range(N_BIN - 1):
            total += count[b]
            for a in range(3):
                run_low[a] = min(run_low[a], bin_low[b, a])
                run_high[a] = max(run_high[a], bin_high[b, a])
            if total == 0 or total == last - first:
                continue
            cost = _half_area(run_low, run_high) * total + right_cost[b + 1]
            if cost < best_cost:
                best_cost, best_axis = cost, axis
                best_at = least + (b + 1) / scale
    return best_axis, best_at


@jit
def _grow(corners, pad, order, boxes, children):
    """Split ranges of triangles until each holds LEAF_MOST or fewer.

    A child >= 0 is an inner node; a child < 0 is a leaf, -1 - (first * 8 + count - 1).
    """
    n = corners.shape[0] // 9
    low = np.empty((n, 3), np.float64)
    high = np.empty((n, 3), np.float64)
    centre = np.empty((n, 3), np.float64)
    for k in range(n):
        for a in range(3):
            x, y, z = corners[9 * k + a], corners[9 * k + 3 + a], corners[9 * k + 6 + a]
            low[k, a] = min(x, min(y, z))
            high[k, a] = max(x, max(y, z))
            centre[k, a] = 0.5 * (low[k, a] + high[k, a])
    todo = np.empty((4096, 3), np.int64)  # first, last, node
    todo[0, 0], todo[0, 1], todo[0, 2] = 0, n, 0
    n_todo, n_node = 1, 1
    while n_todo > 0:
        n_todo -= 1
        first, last, node = todo[n_todo, 0], todo[n_todo, 1], todo[n_todo, 2]
        middle = first + (last - first) // 2
        if last - first > LEAF_MOST:
            axis, at = _best_split(centre, low, high, order, first, last)
            if axis >= 0:
                i, j = first, last - 1
                while i <= j:
                    if centre[order[i], axis] < at:
                        i += 1
                    else:
                        order[i], order[j] = order[j], order[i]
                        j -= 1
                # Rounding may put all on one side: then the halves by count stand.
                if first < i < last:
                    middle = i
        for side in range(2):
            start = first if side == 0 else middle
            stop = middle if side == 0 else last
            # A single triangle stands on both sides: an empty box would have no sound bounds.
            stop = max(stop, start + 1)
            o = 12 * node + 6 * side
            for a in range(3):
                least, most = np.inf, -np.inf
                for i in range(start, stop):
                    least = min(least, low[order[i], a])
                    most = max(most, high[order[i], a])
                # Wider than every rounding of the triangle test (see triangle.py).
                boxes[o + a] = F(least - pad)
                boxes[o + 3 + a] = F(most + pad)
            if stop - start <= LEAF_MOST:
                children[2 * node + side] = -1 - (start * 8 + stop - start - 1)
            else:
                children[2 * node + side] = n_node
                todo[n_todo, 0], todo[n_todo, 1], todo[n_todo, 2] = start, stop, n_node
                n_todo += 1
                n_node += 1
    return n_node


@jit
def _depth(children):
    """Greatest number of inner nodes on a way from the root: the stack a walk needs."""
    n = children.shape[0] // 2
    depth = np.ones(n, np.int64)
    most = 1
    # A child's number is always greater than its parent's.
    for node in range(n):
        for side in range(2):
            child = children[2 * node + side]
            if child >= 0:
                depth[child] = depth[node] + 1
                most = max(most, depth[child])
    return most


def build_tree(
    corners: NDArray[np.float32],
) -> tuple[NDArray[np.int64], NDArray[np.float32], NDArray[np.int32], int]:
    """Order triangles and box them.

    Parameters
    ----------
    corners : numpy.ndarray of float32 (9 n,)
        Finite vertices in metres; n = 0 gives an empty tree.

    Returns
    -------
    order : numpy.ndarray of int64 (n,)
        The tree's triangle i is the caller's triangle order[i].
    boxes : numpy.ndarray of float32 (12 n_node,)
        Low and high corner of the two children of each node, padded outwards.
    children : numpy.ndarray of int32 (2 n_node,)
        Inner node, or a coded leaf (see `_grow`).
    depth : int
        Stack entries that a walk can need.
    """
    n = corners.shape[0] // 9
    order = np.arange(n, dtype=np.int64)
    boxes = np.empty(12 * n, np.float32)
    children = np.empty(2 * n, np.int32)
    if n == 0:
        return order, boxes, children, 1
    pad = float(np.abs(corners).max()) * 2.0**-20
    n_node = _grow(corners, pad, order, boxes, children)
    boxes, children = boxes[: 12 * n_node].copy(), children[: 2 * n_node].copy()
    return order, boxes, children, int(_depth(children)) + 1


@jit
def inverse(d):
    """1/d, kept away from division by zero; a ray parallel to a face stays on its side of it."""
    if abs(d) < TINY:
        return ONE / TINY
    return ONE / d


@jit
def _enter(boxes, o, ox, oy, oz, ix, iy, iz, best):
    """Distance at which a ray enters a box, or a huge number where it misses or comes too late."""
    x0, x1 = (boxes[o] - ox) * ix, (boxes[o + 3] - ox) * ix
    y0, y1 = (boxes[o + 1] - oy) * iy, (boxes[o + 4] - oy) * iy
    z0, z1 = (boxes[o + 2] - oz) * iz, (boxes[o + 5] - oz) * iz
    near = max(max(min(x0, x1), min(y0, y1)), max(min(z0, z1), ZERO))
    far = min(min(max(x0, x1), max(y0, y1)), min(max(z0, z1), best))
    return near if near <= far * FAR_PAD else BIG


@jit
def nearest_triangle(world, ox, oy, oz, dx, dy, dz, limit, skip, stack, stack_t):
    """Find the first triangle along a ray.

    Parameters
    ----------
    world : WorldArrays
        Corners, ids and tree.
    ox, oy, oz, dx, dy, dz : float32
        Origin in metres and unit direction.
    limit : float32
        Nothing beyond this distance is looked for (the wall of the enclosing box).
    skip : int
        The triangle that the ray leaves: flat, so it cannot be met again. -1 where none.
    stack, stack_t : int64 and float32 (depth,)
        Scratch.

    Returns
    -------
    triangle : int
        Position in tree order, or -1; of two at the same distance the lower id.
    t : float32
        Distance in metres (`limit` where none).
    """
    best, found, found_id = limit, np.int64(-1), NO_TRIANGLE
    if world.children.shape[0] == 0:
        return found, best
    kx, ky, kz, sx, sy, sz = ray_axes(dx, dy, dz)
    qx = ox if kx == 0 else (oy if kx == 1 else oz)
    qy = ox if ky == 0 else (oy if ky == 1 else oz)
    qz = ox if kz == 0 else (oy if kz == 1 else oz)
    ix, iy, iz = inverse(dx), inverse(dy), inverse(dz)
    node, top = np.int64(0), 0
    while True:
        if node >= 0:
            # Step into the nearer child, keep the farther one for later.
            left = _enter(world.boxes, 12 * node, ox, oy, oz, ix, iy, iz, best)
            right = _enter(world.boxes, 12 * node + 6, ox, oy, oz, ix, iy, iz, best)
            a, b = np.int64(world.children[2 * node]), np.int64(world.children[2 * node + 1])
            if left < BIG and right < BIG:
                if right < left:
                    a, b = b, a
                    left, right = right, left
                stack[top], stack_t[top] = b, right
                top += 1
                node = a
                continue
            if left < BIG:
                node = a
                continue
            if right < BIG:
                node = b
                continue
        else:
            code = -1 - node
            first = code >> 3
            for k in range(first, first + (code & 7) + 1):
                if k == skip:
                    continue
                t = meet_triangle(world.corners, k, qx, qy, qz, kx, ky, kz, sx, sy, sz)
                if t < best or (t == best and world.triangle_id[k] < found_id):
                    best, found, found_id = t, np.int64(k), np.int64(world.triangle_id[k])
        # Only what is strictly farther is left out: an equal distance may hold a lower id.
        while top > 0 and stack_t[top - 1] > best:
            top -= 1
        if top == 0:
            return found, best
        top -= 1
        node = stack[top]
