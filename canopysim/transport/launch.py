"""Where a packet starts and in which direction: a strip and its lens."""

from canopysim.transport.arrays import BEAM, LAMBERTIAN
from canopysim.transport.random import draw
from canopysim.transport.real import (
    HALF,
    ONE,
    TWO,
    ZERO,
    log_of,
    one_minus_exp,
    sine_cosine_of_turn,
)
from canopysim.transport.target import fma, jit, root


@jit
def beam_direction(m_along, m_across, u, v):
    """Draw a direction below the asymmetric beam, in the strip's frame (light leaves towards -z).

    The intensity is I0 cos(gamma)^m(C), m(C) = m_along cos^2 C + m_across sin^2 C. Its integral
    over gamma is 1/(m(C) + 1), so C has tan C = sqrt((m_along+1)/(m_across+1)) tan 2 pi u, and
    cos gamma = v^(1/(m(C)+1)): exact inversion, every packet carries the same weight.

    Parameters
    ----------
    m_along, m_across : float32
        Exponents along and across the strip.
    u, v : float32 in (0, 1)
        Independent uniforms: `u` picks C, `v` picks gamma.
    """
    s, c = sine_cosine_of_turn(u)
    c = c * root(m_across + ONE)
    s = s * root(m_along + ONE)
    k = ONE / root(fma(s, s, c * c))
    s, c = s * k, c * k
    m = fma(m_along, c * c, m_across * (s * s))
    # e = -ln cos(gamma); the sine from 1 - exp(-2e) keeps its digits in a narrow beam.
    e = -log_of(v) / (m + ONE)
    sine_squared = one_minus_exp(TWO * e)
    sine = root(sine_squared)
    return sine * c, sine * s, -root(ONE - sine_squared)


@jit
def launch(world, strip, key0, key1, batch, photon):
    """Start one packet.

    Parameters
    ----------
    world : WorldArrays
        Row `strip` of `world.strip` is: centre (3), axes x, y, z of the strip's frame (9),
        half length, half width, m along, m across.
    strip, batch, photon : int
        The packet's address.
    key0, key1 : uint32
        The run's seed.

    Returns
    -------
    ox, oy, oz, dx, dy, dz : float32
        Origin in metres and unit direction, in the world's frame.
    """
    along, over, u, v = draw(key0, key1, strip, batch, photon, 0, 0)
    row = world.strip[strip]
    # A uniform point of the strip.
    a = (along - HALF) * TWO * row[12]
    b = (over - HALF) * TWO * row[13]
    ox = fma(a, row[3], fma(b, row[6], row[0]))
    oy = fma(a, row[4], fma(b, row[7], row[1]))
    oz = fma(a, row[5], fma(b, row[8], row[2]))
    # A direction of its lens.
    lens = world.strip_lens[strip]
    if lens == BEAM:
        x, y, z = beam_direction(row[14], row[15], u, v)
    elif lens == LAMBERTIAN:
        s, c = sine_cosine_of_turn(u)
        sine = root(v)
        x, y, z = sine * c, sine * s, -root(ONE - v)
    else:
        x, y, z = ZERO, ZERO, -ONE
    dx = fma(x, row[3], fma(y, row[6], z * row[9]))
    dy = fma(x, row[4], fma(y, row[7], z * row[10]))
    dz = fma(x, row[5], fma(y, row[8], z * row[11]))
    k = ONE / root(fma(dx, dx, fma(dy, dy, dz * dz)))
    return ox, oy, oz, dx * k, dy * k, dz * k
