"""Where a packet starts and in which direction: a strip and its lens."""

from canopysim.transport.arrays import BEAM, LAMBERTIAN, TABLE
from canopysim.transport.lens import table_density, table_direction
from canopysim.transport.random import spread
from canopysim.transport.real import (
    HALF,
    ONE,
    TURN_PER_RAD,
    TWO,
    ZERO,
    exp_of,
    log_of,
    log_of_cosine,
    one_minus_exp,
    sine_cosine_of_turn,
)
from canopysim.transport.target import fma, jit, jit_apart, root


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


@jit_apart
def launch(frame, lens, tables, numbers, strip, key0, key1, batch, photon):
    """Start one packet; a call of its own, which leaves the walk its registers.

    Parameters
    ----------
    frame, lens, tables, numbers
        `strip`, `strip_lens`, `strip_table` and `lens_numbers` of `WorldArrays`. Row `strip` of
        `frame` is: centre (3), axes x, y, z of the strip's frame (9), half length, half width, m
        along, m across.
    strip, batch, photon : int
        The packet's address.
    key0, key1 : uint32
        The run's seed.

    Returns
    -------
    ox, oy, oz, dx, dy, dz : float32
        Origin in metres and unit direction, in the world's frame.
    """
    along, over, u, v = spread(key0, key1, strip, batch, photon)
    # A uniform point of the strip.
    a = (along - HALF) * TWO * frame[strip, 12]
    b = (over - HALF) * TWO * frame[strip, 13]
    ox = fma(a, frame[strip, 3], fma(b, frame[strip, 6], frame[strip, 0]))
    oy = fma(a, frame[strip, 4], fma(b, frame[strip, 7], frame[strip, 1]))
    oz = fma(a, frame[strip, 5], fma(b, frame[strip, 8], frame[strip, 2]))
    # A direction of its lens.
    kind = lens[strip]
    if kind == BEAM:
        x, y, z = beam_direction(frame[strip, 14], frame[strip, 15], u, v)
    elif kind == LAMBERTIAN:
        s, c = sine_cosine_of_turn(u)
        sine = root(v)
        x, y, z = sine * c, sine * s, -root(ONE - v)
    elif kind == TABLE:
        x, y, z = table_direction(
            numbers, tables[strip, 0], tables[strip, 1], tables[strip, 2], u, v
        )
    else:
        x, y, z = ZERO, ZERO, -ONE
    dx = fma(x, frame[strip, 3], fma(y, frame[strip, 6], z * frame[strip, 9]))
    dy = fma(x, frame[strip, 4], fma(y, frame[strip, 7], z * frame[strip, 10]))
    dz = fma(x, frame[strip, 5], fma(y, frame[strip, 8], z * frame[strip, 11]))
    k = ONE / root(fma(dx, dx, fma(dy, dy, dz * dz)))
    return ox, oy, oz, dx * k, dy * k, dz * k


@jit
def beam_density(m_along, m_across, x, y, z):
    """Density per solid angle with which `beam_direction` draws a unit direction (z below 0)."""
    sine_squared = fma(x, x, y * y)
    m = HALF * (m_along + m_across)
    if sine_squared > ZERO:
        m = fma(m_along, x * x, m_across * (y * y)) / sine_squared
    peak = root((m_along + ONE) * (m_across + ONE)) * TURN_PER_RAD
    return peak * exp_of(m * log_of_cosine(sine_squared, -z))


@jit
def launch_density(frame, lens, tables, numbers, strip, dx, dy, dz):
    """Density per solid angle with which `launch` draws a direction; 0 for a parallel beam.

    Parameters
    ----------
    frame, lens, tables, numbers, strip
        As in `launch`.
    dx, dy, dz : float32
        Unit direction in the world's frame.

    Returns
    -------
    float32
        1 / sr.
    """
    kind = lens[strip]
    x = fma(dx, frame[strip, 3], fma(dy, frame[strip, 4], dz * frame[strip, 5]))
    y = fma(dx, frame[strip, 6], fma(dy, frame[strip, 7], dz * frame[strip, 8]))
    z = fma(dx, frame[strip, 9], fma(dy, frame[strip, 10], dz * frame[strip, 11]))
    if kind == TABLE:
        return table_density(numbers, tables[strip, 0], tables[strip, 1], tables[strip, 2], x, y, z)
    if z >= ZERO:
        return ZERO
    if kind == BEAM:
        return beam_density(frame[strip, 14], frame[strip, 15], x, y, z)
    if kind == LAMBERTIAN:
        return -z * TWO * TURN_PER_RAD
    return ZERO
