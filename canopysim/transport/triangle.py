"""One triangle test for every target: two triangles that share an edge let nothing through.

Woop, Benthin and Wald 2013, "Watertight ray/triangle intersection" (JCGT 2(1)): the vertices are
moved to the ray's origin and sheared so that the ray runs along an axis; the edge functions are
then differences of two products of shared numbers. Rounding is monotonic, so such a difference is
never of the wrong sign, only zero, and zero counts as inside: an edge or vertex shared by
triangles of a closed mesh is met from every direction. No fma in the edge functions: it would
round one product only and spoil the antisymmetry.
"""

import numpy as np

from canopysim.transport.real import BIG, ONE, ZERO
from canopysim.transport.target import fma, jit, root

THIRD = np.float32(1 / 3)
# Beyond every id: what a hit without a triangle counts as.
NO_TRIANGLE = np.int64(2**31 - 1)


@jit
def ray_axes(dx, dy, dz):
    """Choose the axis along which the ray runs most, and the shear that straightens it.

    Returns
    -------
    kx, ky, kz : int
        Axes 0, 1, 2 permuted, kz the dominant one; winding kept.
    sx, sy, sz : float32
        Shear d[kx]/d[kz], d[ky]/d[kz] and scale 1/d[kz].
    """
    ax, ay, az = abs(dx), abs(dy), abs(dz)
    if ax > ay and ax > az:
        kx, ky, kz, px, py, pz = 1, 2, 0, dy, dz, dx
    elif ay > az:
        kx, ky, kz, px, py, pz = 2, 0, 1, dz, dx, dy
    else:
        kx, ky, kz, px, py, pz = 0, 1, 2, dx, dy, dz
    if pz < ZERO:
        kx, ky = ky, kx
        px, py = py, px
    sz = ONE / pz
    return kx, ky, kz, px * sz, py * sz, sz


@jit
def first_corner(slot):
    """Place of a slot's first number in `triangles`; its nine numbers are eight apart."""
    return 72 * (slot >> 3) + (slot & 7)


@jit
def meet_triangle(triangles, slot, qx, qy, qz, kx, ky, kz, sx, sy, sz):
    """Distance along the ray at which a triangle is met.

    Parameters
    ----------
    triangles : float32 (72 n_block,)
        Blocks of eight triangles, corner by corner and axis by axis, in metres.
    slot : int
        Which triangle: block times eight plus lane.
    qx, qy, qz : float32
        The ray's origin in permuted axes kx, ky, kz.
    kx, ky, kz, sx, sy, sz
        From `ray_axes`.

    Returns
    -------
    float32
        The distance in metres, or a huge number where the ray passes by or the meeting lies behind.
    """
    o = first_corner(slot)
    x, y, z = o + 8 * kx, o + 8 * ky, o + 8 * kz
    az, bz, cz = triangles[z] - qz, triangles[z + 24] - qz, triangles[z + 48] - qz
    ax, ay = fma(-sx, az, triangles[x] - qx), fma(-sy, az, triangles[y] - qy)
    bx, by = fma(-sx, bz, triangles[x + 24] - qx), fma(-sy, bz, triangles[y + 24] - qy)
    cx, cy = fma(-sx, cz, triangles[x + 48] - qx), fma(-sy, cz, triangles[y + 48] - qy)
    u = cx * by - cy * bx
    v = ax * cy - ay * cx
    w = bx * ay - by * ax
    if (u < ZERO or v < ZERO or w < ZERO) and (u > ZERO or v > ZERO or w > ZERO):
        return BIG
    det = u + v + w
    if det == ZERO:
        return BIG
    t = fma(u, az, fma(v, bz, w * cz)) * sz / det
    if t > ZERO:
        return t
    return BIG


@jit
def level_height(triangles, slot, z):
    """Give the height of a level triangle; `z` where it is not level."""
    o = first_corner(slot)
    height = triangles[o + 16]
    if triangles[o + 40] == height and triangles[o + 64] == height:
        return height
    return z


@jit
def centroid(triangles, slot):
    """Give the middle of the triangle in a slot."""
    o = first_corner(slot)
    return (
        (triangles[o] + triangles[o + 24] + triangles[o + 48]) * THIRD,
        (triangles[o + 8] + triangles[o + 32] + triangles[o + 56]) * THIRD,
        (triangles[o + 16] + triangles[o + 40] + triangles[o + 64]) * THIRD,
    )


@jit
def unit_normal(triangles, slot):
    """Give the right-handed unit normal in a slot: a leaf's upper side, a solid's outside."""
    o = first_corner(slot)
    ax, ay, az = triangles[o], triangles[o + 8], triangles[o + 16]
    bx, by, bz = triangles[o + 24] - ax, triangles[o + 32] - ay, triangles[o + 40] - az
    cx, cy, cz = triangles[o + 48] - ax, triangles[o + 56] - ay, triangles[o + 64] - az
    nx = fma(by, cz, -(bz * cy))
    ny = fma(bz, cx, -(bx * cz))
    nz = fma(bx, cy, -(by * cx))
    scale = ONE / root(fma(nx, nx, fma(ny, ny, nz * nz)))
    return nx * scale, ny * scale, nz * scale
