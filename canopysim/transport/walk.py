"""Walk the tree with eight boxes or eight triangles at a time: the nearest hit of a ray."""

import numpy as np

from canopysim.transport.build import BLOCK, BLOCK_FLOATS, NODE_FLOATS, WIDTH
from canopysim.transport.real import ZERO, inverse
from canopysim.transport.target import bits_from_float, float_from_bits, jit
from canopysim.transport.triangle import NO_TRIANGLE, ray_axes
from canopysim.transport.vector import (
    add8,
    and8,
    bits8,
    div8,
    fma8,
    less8,
    less_equal8,
    load8,
    lowest_bit,
    max8,
    min8,
    mul8,
    or8,
    prefetch,
    splat8,
    store8,
    sub8,
    unlike8,
)

U32, U64 = np.uint32, np.uint64
LOW, SHIFT = U64(0xFFFFFFFF), U64(32)
NUMBER = U32(0x7FFFFFFF)
LINE = 16  # float32 in a cache line


@jit
def _entry(t, child):
    """Make a stack entry: distances order as their bits do, so entries order by distance."""
    return (U64(U32(bits_from_float(t))) << SHIFT) | U64(child)


@jit
def _meet_block(world, block, origin, axes, best, found, found_id, skip, lanes):
    """Test eight triangles; the arithmetic of `triangle.meet_triangle`, lane by lane."""
    qx, qy, qz = origin
    kx, ky, kz, minus_sx, minus_sy, sz = axes
    o = BLOCK_FLOATS * block
    row_x, row_y, row_z = o + WIDTH * kx, o + WIDTH * ky, o + WIDTH * kz
    triangles = world.triangles
    az = sub8(load8(triangles, row_z), qz)
    bz = sub8(load8(triangles, row_z + 3 * WIDTH), qz)
    cz = sub8(load8(triangles, row_z + 6 * WIDTH), qz)
    ax = fma8(minus_sx, az, sub8(load8(triangles, row_x), qx))
    ay = fma8(minus_sy, az, sub8(load8(triangles, row_y), qy))
    bx = fma8(minus_sx, bz, sub8(load8(triangles, row_x + 3 * WIDTH), qx))
    by = fma8(minus_sy, bz, sub8(load8(triangles, row_y + 3 * WIDTH), qy))
    cx = fma8(minus_sx, cz, sub8(load8(triangles, row_x + 6 * WIDTH), qx))
    cy = fma8(minus_sy, cz, sub8(load8(triangles, row_y + 6 * WIDTH), qy))
    # No fma in the edge functions: they must be exact opposites on a shared edge.
    u = sub8(mul8(cx, by), mul8(cy, bx))
    v = sub8(mul8(ax, cy), mul8(ay, cx))
    w = sub8(mul8(bx, ay), mul8(by, ax))
    zero = splat8(ZERO)
    # Inside: no edge function of the one sign or none of the other, and not all of them zero.
    least, most = min8(u, min8(v, w)), max8(u, max8(v, w))
    det = add8(add8(u, v), w)
    one_side = or8(less_equal8(zero, least), less_equal8(most, zero))
    hits = bits8(and8(one_side, unlike8(det, zero)))
    if hits != 0:
        t = div8(mul8(fma8(u, az, fma8(v, bz, mul8(w, cz))), sz), det)
        hits &= bits8(and8(less8(zero, t), less_equal8(t, splat8(best))))
        if hits != 0:
            store8(lanes, 0, t)
            while hits != 0:
                lane = lowest_bit(hits)
                hits = U32(hits & (hits - U32(1)))
                slot = WIDTH * block + lane
                # Of two at the same distance the lower id; never the triangle that was left.
                if slot != skip and (
                    lanes[lane] < best
                    or (lanes[lane] == best and world.triangle_id[slot] < found_id)
                ):
                    best, found = lanes[lane], slot
                    found_id = np.int64(world.triangle_id[slot])
    return best, found, found_id


@jit
def nearest_triangle(world, ox, oy, oz, dx, dy, dz, limit, skip, stack, lanes):
    """Find the first triangle along a ray.

    Parameters
    ----------
    world : WorldArrays
        Tree, triangles and ids.
    ox, oy, oz, dx, dy, dz : float32
        Origin in metres and unit direction.
    limit : float32
        Nothing beyond this distance is looked for (the wall of the enclosing box).
    skip : int
        The slot that the ray leaves: flat, so it cannot be met again. -1 where none.
    stack : uint64 (as `build_tree` asks)
        Scratch.
    lanes : float32 (8,)
        Scratch.

    Returns
    -------
    slot : int
        Block times eight plus lane of the triangle, or -1; of equals the lower id.
    t : float32
        Distance in metres (`limit` where none).
    """
    best, found, found_id = limit, np.int64(-1), NO_TRIANGLE
    nodes, children = world.nodes, world.children
    if nodes.shape[0] == 0:
        return found, best
    kx, ky, kz, sx, sy, sz = ray_axes(dx, dy, dz)
    qx = ox if kx == 0 else (oy if kx == 1 else oz)
    qy = ox if ky == 0 else (oy if ky == 1 else oz)
    qz = ox if kz == 0 else (oy if kz == 1 else oz)
    origin = (splat8(qx), splat8(qy), splat8(qz))
    axes = (kx, ky, kz, splat8(-sx), splat8(-sy), splat8(sz))
    rx, ry, rz = inverse(dx), inverse(dy), inverse(dz)
    ix, iy, iz = splat8(rx), splat8(ry), splat8(rz)
    # plane * (1/d) - o * (1/d): off by less than the padding of the boxes, whatever d is.
    mx, my, mz = splat8(-(ox * rx)), splat8(-(oy * ry)), splat8(-(oz * rz))
    near_x = 0 if rx >= ZERO else WIDTH
    near_y = 16 if ry >= ZERO else 16 + WIDTH
    near_z = 32 if rz >= ZERO else 32 + WIDTH
    far_x, far_y, far_z = WIDTH - near_x, 32 + WIDTH - near_y, 64 + WIDTH - near_z
    zero = splat8(ZERO)
    child, top = U32(0), 0
    while True:
        if child < BLOCK:
            o = NODE_FLOATS * np.int64(child)
            near = max8(
                max8(
                    fma8(load8(nodes, o + near_x), ix, mx), fma8(load8(nodes, o + near_y), iy, my)
                ),
                max8(fma8(load8(nodes, o + near_z), iz, mz), zero),
            )
            far = min8(
                min8(fma8(load8(nodes, o + far_x), ix, mx), fma8(load8(nodes, o + far_y), iy, my)),
                min8(fma8(load8(nodes, o + far_z), iz, mz), splat8(best)),
            )
            hits = bits8(less_equal8(near, far))
            if hits != 0:
                o += 48
                first = lowest_bit(hits)
                hits = U32(hits & (hits - U32(1)))
                if hits == 0:
                    # One child: straight on.
                    child = children[o + first]
                    continue
                store8(lanes, 0, near)
                second = lowest_bit(hits)
                hits = U32(hits & (hits - U32(1)))
                a = _entry(lanes[first], children[o + first])
                b = _entry(lanes[second], children[o + second])
                nearest, other = min(a, b), max(a, b)
                bottom = top
                stack[top] = other
                top += 1
                # Three or more: keep the stack sorted, the farthest lowest.
                while hits != 0:
                    lane = lowest_bit(hits)
                    hits = U32(hits & (hits - U32(1)))
                    a = _entry(lanes[lane], children[o + lane])
                    other, nearest = max(nearest, a), min(nearest, a)
                    at = top
                    while at > bottom and stack[at - 1] < other:
                        stack[at] = stack[at - 1]
                        at -= 1
                    stack[at] = other
                    top += 1
                # What is next on the stack is on its way while the nearest is looked at.
                following = U32(stack[top - 1] & LOW)
                if following < BLOCK:
                    p = NODE_FLOATS * np.int64(following)
                    for line in range(4):
                        prefetch(nodes, p + line * LINE)
                else:
                    p = BLOCK_FLOATS * np.int64(following & NUMBER)
                    for line in range(5):
                        prefetch(world.triangles, p + line * LINE)
                child = U32(nearest & LOW)
                continue
        else:
            best, found, found_id = _meet_block(
                world, np.int64(child & NUMBER), origin, axes, best, found, found_id, skip, lanes
            )
        # Only what is strictly farther is left out: an equal distance may hold a lower id.
        while True:
            if top == 0:
                return found, best
            top -= 1
            if float_from_bits(np.int32(stack[top] >> SHIFT)) <= best:
                break
        child = U32(stack[top] & LOW)
