"""Mirrors, flat and rough: a rough one is a field of small flat mirrors of many slopes.

The slopes follow Trowbridge and Reitz 1975 (J. Opt. Soc. Am. 65(5)): half of the facets, by their
area seen from above, are tilted by less than arctan(roughness). A facet is drawn among those that
the ray sees; light that another facet stops on its way out is absorbed. So the reflectance is
reciprocal, and a rough mirror gives back less than the share that its facets reflect.
"""

from canopysim.transport.real import (
    HALF,
    ONE,
    TINY,
    TWO,
    ZERO,
    across,
    sine_cosine_of_turn,
)
from canopysim.transport.target import fma, jit, jit_apart, root


@jit
def _hidden(roughness, cosine):
    """Smith's Lambda of a direction: (sqrt(1 + (roughness tan)^2) - 1) / 2."""
    squared = cosine * cosine
    tangent_squared = max(ONE - squared, ZERO) / max(squared, TINY)
    return HALF * (root(fma(roughness * roughness, tangent_squared, ONE)) - ONE)


@jit
def seen_facet(x, y, z, roughness, u, v):
    """Draw the normal of a facet that a direction sees, in a frame with z along the normal.

    The cap of the unit sphere that mirrors towards the stretched direction is drawn evenly
    (Dupuy and Benyoub 2023, "Sampling visible GGX normals with spherical caps", Comput. Graph.
    Forum 42(8)).

    Parameters
    ----------
    x, y, z : float32
        Unit direction towards where the light comes from, z > 0.
    roughness : float32
        Tangent of the tilt that half of the facets stay below.
    u, v : float32 in (0, 1)
        Two independent uniforms.
    """
    hx, hy, hz = roughness * x, roughness * y, z
    k = ONE / root(fma(hx, hx, fma(hy, hy, hz * hz)))
    hx, hy, hz = hx * k, hy * k, hz * k
    s, c = sine_cosine_of_turn(v)
    height = fma(ONE - u, ONE + hz, -hz)
    sine = root(max(fma(-height, height, ONE), ZERO))
    mx = roughness * fma(sine, c, hx)
    my = roughness * fma(sine, s, hy)
    mz = max(height + hz, ZERO)
    k = ONE / root(max(fma(mx, mx, fma(my, my, mz * mz)), TINY * TINY))
    return mx * k, my * k, mz * k


@jit
def flat_direction(nx, ny, nz, dx, dy, dz):
    """Reflect a ray (unit direction d) at a flat mirror with unit normal n."""
    c = -TWO * fma(nx, dx, fma(ny, dy, nz * dz))
    return fma(c, nx, dx), fma(c, ny, dy), fma(c, nz, dz)


@jit_apart
def rough_direction(nx, ny, nz, dx, dy, dz, roughness, u, v):
    """Reflect a ray at one of the facets of a rough mirror.

    Parameters
    ----------
    nx, ny, nz : float32
        Unit normal on the side that was met.
    dx, dy, dz : float32
        Unit direction of the ray, towards the surface.
    roughness : float32
        Tangent of the tilt that half of the facets stay below.
    u, v : float32 in (0, 1)
        Two independent uniforms.

    Returns
    -------
    dx, dy, dz : float32
        Unit direction of the reflected ray.
    kept : float32
        Share of the light that no other facet stops, 0 to 1: G2 / G1 of Smith's masking with
        correlated heights (Heitz 2014, JCGT 3(2)).
    """
    # Towards where it came from, in the frame of `across`.
    sign = ONE if nz >= ZERO else -ONE
    a = -ONE / (sign + nz)
    b = nx * ny * a
    ix, iy, iz = -dx, -dy, -dz
    x = fma(fma(sign * nx * nx, a, ONE), ix, fma(sign * b, iy, -sign * nx * iz))
    y = fma(b, ix, fma(fma(ny * ny, a, sign), iy, -ny * iz))
    z = max(fma(nx, ix, fma(ny, iy, nz * iz)), TINY)
    mx, my, mz = seen_facet(x, y, z, roughness, u, v)
    c = TWO * fma(x, mx, fma(y, my, z * mz))
    ox, oy, oz = fma(c, mx, -x), fma(c, my, -y), fma(c, mz, -z)
    if oz <= TINY:
        # Down between the facets: nothing comes back.
        return nx, ny, nz, ZERO
    came = _hidden(roughness, z)
    kept = (ONE + came) / (ONE + came + _hidden(roughness, oz))
    ox, oy, oz = across(nx, ny, nz, oy, ox, ONE, oz)
    return ox, oy, oz, kept
