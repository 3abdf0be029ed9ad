"""The nearest hit without a tree: every triangle is looked at."""

import numpy as np

from canopysim.transport.real import BIG
from canopysim.transport.triangle import NO_TRIANGLE, meet_triangle, ray_axes


def nearest_triangle(world, ox, oy, oz, dx, dy, dz, limit, skip, stack, lanes):
    """Find the first triangle along a ray; arguments and result as in the compiled walk.

    A test of all triangles in double precision, with room for the rounding of single precision,
    leaves a few; these are met one by one as the kernels do.
    """
    best, found, found_id = limit, -1, NO_TRIANGLE
    kx, ky, kz, sx, sy, sz = ray_axes(dx, dy, dz)
    origin = (ox, oy, oz)
    blocks = world.triangles.reshape(-1, 3, 3, 8).astype(np.float64)
    # (corner, axis) of all slots, from the origin, sheared along the ray.
    corners = blocks.transpose(1, 2, 0, 3).reshape(3, 3, -1)
    corners = corners - np.array(origin, np.float64)[:, None]
    x = corners[:, kx] - float(sx) * corners[:, kz]
    y = corners[:, ky] - float(sy) * corners[:, kz]
    edges = [x[2] * y[1] - y[2] * x[1], x[0] * y[2] - y[0] * x[2], x[1] * y[0] - y[1] * x[0]]
    room = 1e-5 * float(np.abs(world.box).max()) ** 2
    maybe = (np.min(edges, 0) > -room) | (np.max(edges, 0) < room)
    for slot in np.flatnonzero(maybe & (world.triangle_id >= 0)):
        if slot == skip:
            continue
        q = (origin[kx], origin[ky], origin[kz])
        t = meet_triangle(world.triangles, slot, *q, kx, ky, kz, sx, sy, sz)
        if t < BIG and (t < best or (t == best and world.triangle_id[slot] < found_id)):
            best, found, found_id = t, slot, world.triangle_id[slot]
    return found, best
