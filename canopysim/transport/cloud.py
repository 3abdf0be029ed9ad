"""Meetings with leaves that fill a volume: where along a flight, and with which normal.

Along a flight every volume is a stream of tentative meetings of its own, as frequent as if it were
as dense as at its densest, and each leaf turned towards the light. A tentative meeting becomes one
with a probability, the density there over the greatest times the projection |n.d| of a leaf drawn
from the volume's angles (Woodcock et al. 1965, ANL-7050; Coleman 1968, Nucl. Sci. Eng. 32). The
first over all volumes is met: where volumes overlap, independent streams add like their densities.
"""

import numpy as np

from canopysim.transport.arrays import CLOUD_BOX, CLOUD_ELLIPSOID, CLOUD_ROW_X
from canopysim.transport.random import draw_leaf
from canopysim.transport.real import BIG, ONE, ZERO, F, inverse, log_of, sine_cosine_of_turn
from canopysim.transport.target import fma, jit, jit_apart, root


@jit
def _within_slab(p, d, near, far):
    """Cut an interval of a flight to where -1 < p + t d < 1."""
    inv = inverse(d)
    one, other = (-ONE - p) * inv, (ONE - p) * inv
    return max(near, min(one, other)), min(far, max(one, other))


@jit
def _inside_cloud(world, cloud, ox, oy, oz, dx, dy, dz, t):
    """Interval of a flight of length t within a volume; empty if it ends before it begins."""
    shape = world.cloud_shape
    # In units of the half extents about the centre.
    sx, sy, sz = ONE / shape[cloud, 3], ONE / shape[cloud, 4], ONE / shape[cloud, 5]
    px, py, pz = (
        (ox - shape[cloud, 0]) * sx,
        (oy - shape[cloud, 1]) * sy,
        (oz - shape[cloud, 2]) * sz,
    )
    qx, qy, qz = dx * sx, dy * sy, dz * sz
    near, far = ZERO, t
    kind = world.cloud_kind[cloud]
    if kind == CLOUD_BOX:
        near, far = _within_slab(px, qx, near, far)
        near, far = _within_slab(py, qy, near, far)
        return _within_slab(pz, qz, near, far)
    if kind != CLOUD_ELLIPSOID:
        # A row ends at its ends; across, it is round.
        if kind == CLOUD_ROW_X:
            near, far = _within_slab(px, qx, near, far)
            px, qx = ZERO, ZERO
        else:
            near, far = _within_slab(py, qy, near, far)
            py, qy = ZERO, ZERO
    square = fma(qx, qx, fma(qy, qy, qz * qz))
    if square <= ZERO:
        # Along a row: inside all the way, or nowhere.
        return near, (far if fma(px, px, fma(py, py, pz * pz)) < ONE else -BIG)
    foot = -fma(px, qx, fma(py, qy, pz * qz)) / square
    # The foot's own vector keeps its digits where a difference of squares would not.
    fx, fy, fz = fma(foot, qx, px), fma(foot, qy, py), fma(foot, qz, pz)
    left = ONE - fma(fx, fx, fma(fy, fy, fz * fz))
    if left <= ZERO:
        return near, -BIG
    half = root(left / square)
    return max(near, foot - half), min(far, foot + half)


@jit
def _between(table, row, at):
    """Value of an evenly spaced table at a place from 0 to 1, straight between its entries."""
    last = table.shape[1] - 1
    x = min(max(at, ZERO), ONE) * F(last)
    step = min(np.int64(x), last - 1)
    rest = x - F(step)
    return fma(rest, table[row, step + 1] - table[row, step], table[row, step])


@jit_apart
def meet_cloud(
    world, key0, key1, stream, batch, photon, n_drawn, ox, oy, oz, dx, dy, dz, t
):  # fmt: skip
    """Find the first meeting with the leaves of any volume along a flight.

    Parameters
    ----------
    world : WorldArrays
        `cloud_*` are the volumes.
    key0, key1, stream, batch, photon : int
        Address of the numbers: see `draw_leaf`.
    n_drawn : int
        How many tentative meetings this address has had.
    ox, oy, oz, dx, dy, dz, t : float32
        Origin in m, unit direction and length of the flight.

    Returns
    -------
    t : float32
        How far the flight comes, m.
    cloud : int
        Whose leaf is met there; -1 if none.
    n_drawn : int
        As before, with those drawn now.
    nx, ny, nz : float32
        Unit normal of the leaf's upper side.
    """
    met = np.int64(-1)
    nx, ny, nz = ZERO, ZERO, ONE
    for cloud in range(world.cloud_kind.shape[0]):
        s, far = _inside_cloud(world, cloud, ox, oy, oz, dx, dy, dz, t)
        if s >= far:
            continue
        rate = world.cloud_rate[cloud]
        half_height = world.cloud_shape[cloud, 5]
        bottom = world.cloud_shape[cloud, 2] - half_height
        while True:
            u_far, u_met, u_angle, u_turn = draw_leaf(key0, key1, stream, batch, photon, n_drawn)
            n_drawn += 1
            s -= log_of(u_far) / rate
            # Later volumes need only be followed up to the meeting that is first so far.
            if not s < far:
                break
            cosine = _between(world.cloud_cosine, cloud, u_angle)
            sine = root(max(fma(-cosine, cosine, ONE), ZERO))
            sine_turn, cosine_turn = sine_cosine_of_turn(u_turn)
            ax, ay = sine * cosine_turn, sine * sine_turn
            projection = abs(fma(ax, dx, fma(ay, dy, cosine * dz)))
            at = (fma(s, dz, oz) - bottom) / (half_height + half_height)
            density = _between(world.cloud_density, cloud, at)
            if u_met * rate < projection * density:
                t, met = s, np.int64(cloud)
                nx, ny, nz = ax, ay, cosine
                break
    return t, met, n_drawn, nx, ny, nz
