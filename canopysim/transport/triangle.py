"""One triangle test for every target: two triangles that share an edge let nothing through.

Woop, Benthin and Wald 2013, "Watertight ray/triangle intersection" (JCGT 2(1)): the vertices are
moved to the ray's origin and sheared so that the ray runs along an axis; the edge functions are
then differences of two products of shared numbers. Rounding is monotonic, so such a difference is
never of the wrong sign, only zero, and zero counts as inside: an edge or vertex shared by
triangles of a closed mesh is met from every direction. No fma in the edge functions: it would
round one product only and spoil the antisymmetry.
"""

from canopysim.transport.real import BIG, ONE, ZERO, F
from canopysim.transport.target import fma, jit, root

TINY = F(1e-12)


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
def meet_triangle(corners, k, qx, qy, qz, kx, ky, kz, sx, sy, sz):
    """Distance along the ray at which triangle k is met.

    Parameters
    ----------
    corners : float32 (9 n,)
        Vertices of all triangles, x y z of each corner, in metres.
    k : int
        Which triangle.
    qx, qy, qz : float32
        The ray's origin in permuted axes kx, ky, kz.
    kx, ky, kz, sx, sy, sz
        From `ray_axes`.

    Returns
    -------
    float32
        The distance in metres, or a huge number where the ray passes by or the meeting lies behind.
    """
    o = 9 * k
    az, bz, cz = corners[o + kz] - qz, corners[o + 3 + kz] - qz, corners[o + 6 + kz] - qz
    ax, ay = fma(-sx, az, corners[o + kx] - qx), fma(-sy, az, corners[o + ky] - qy)
    bx, by = fma(-sx, bz, corners[o + 3 + kx] - qx), fma(-sy, bz, corners[o + 3 + ky] - qy)
    cx, cy = fma(-sx, cz, corners[o + 6 + kx] - qx), fma(-sy, cz, corners[o + 6 + ky] - qy)
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
def unit_normal(corners, k):
    """Give the right-handed unit normal of triangle k: a leaf's upper side, a solid's outside."""
    o = 9 * k
    ax, ay, az = corners[o], corners[o + 1], corners[o + 2]
    bx, by, bz = corners[o + 3] - ax, corners[o + 4] - ay, corners[o + 5] - az
    cx, cy, cz = corners[o + 6] - ax, corners[o + 7] - ay, corners[o + 8] - az
    nx = fma(by, cz, -(bz * cy))
    ny = fma(bz, cx, -(bx * cz))
    nz = fma(bx, cy, -(by * cx))
    scale = ONE / root(fma(nx, nx, fma(ny, ny, nz * nz)))
    return nx * scale, ny * scale, nz * scale
