"""Single-precision functions with our own polynomials, so that every target rounds alike."""

import math

import numpy as np

from canopysim.transport.target import bits_from_float, float_from_bits, fma, jit_open, root

F = np.float32
I32 = np.int32

ZERO, HALF, ONE, TWO, FOUR, QUARTER = F(0), F(0.5), F(1), F(2), F(4), F(0.25)
BIG = F(1e30)
TINY = F(1e-12)
TWO_PI = F(2 * math.pi)
LOG2_E = F(1 / math.log(2))
# ln 2 in two parts: the upper has 12 trailing zero bits, so n * LN2_HIGH is exact.
LN2_HIGH = F(0.693145751953125)
LN2_LOW = F(1.4286068203094172e-06)
SQRT2 = F(math.sqrt(2))
S3, S5, S7, S9 = F(-1 / 6), F(1 / 120), F(-1 / 5040), F(1 / 362880)
C2, C4, C6, C8 = F(-0.5), F(1 / 24), F(-1 / 720), F(1 / 40320)
A3, A5, A7, A9 = F(1 / 3), F(1 / 5), F(1 / 7), F(1 / 9)
E2, E3, E4, E5, E6, E7 = F(1 / 2), F(1 / 6), F(1 / 24), F(1 / 120), F(1 / 720), F(1 / 5040)
B3, B5, B7, B9, B11, B13 = F(-1 / 3), F(1 / 5), F(-1 / 7), F(1 / 9), F(-1 / 11), F(1 / 13)
EIGHTH_TURN = F(0.125)
TAN_SIXTEENTH = F(math.sqrt(2) - 1)
TURN_PER_RAD = F(1 / (2 * math.pi))
EXP_SMALL = F(0.05)
EXP_LEAST = F(-87.0)


@jit_open
def sine_cosine_of_turn(u):
    """Sine and cosine of 2 pi u for u in [-1, 1]; Taylor about the nearest quarter turn."""
    quarter = I32(math.floor(fma(u, FOUR, HALF)))
    x = (u - F(quarter) * QUARTER) * TWO_PI
    z = x * x
    s = fma(fma(fma(fma(S9, z, S7), z, S5), z, S3), z * x, x)
    c = fma(fma(fma(fma(C8, z, C6), z, C4), z, C2), z, ONE)
    quarter = quarter & I32(3)
    if quarter == 1:
        return c, -s
    if quarter == 2:
        return -s, -c
    if quarter == 3:
        return -c, s
    return s, c


@jit_open
def log_of(x):
    """Natural logarithm of a positive normal float32: 2 atanh((m-1)/(m+1)) + n ln 2."""
    bits = bits_from_float(x)
    n = I32((bits >> I32(23)) - I32(127))
    m = float_from_bits(I32((bits & I32(0x007FFFFF)) | I32(0x3F800000)))
    if m > SQRT2:
        m = m * HALF
        n = I32(n + I32(1))
    s = (m - ONE) / (m + ONE)
    z = s * s
    tail = fma(fma(fma(fma(A9, z, A7), z, A5), z, A3), z * s, s)
    return fma(F(n), LN2_HIGH, fma(F(n), LN2_LOW, TWO * tail))


@jit_open
def exp_of(x):
    """Exponential of a float32 in [-87, 87]; below that 0."""
    if x < EXP_LEAST:
        return ZERO
    n = F(math.floor(fma(x, LOG2_E, HALF)))
    r = fma(-n, LN2_LOW, fma(-n, LN2_HIGH, x))
    p = fma(fma(fma(fma(fma(fma(E7, r, E6), r, E5), r, E4), r, E3), r, E2), r * r, r + ONE)
    return p * float_from_bits(I32((I32(n) + I32(127)) << I32(23)))


@jit_open
def one_minus_exp(x):
    """Give 1 - exp(-x) for x >= 0 without losing digits where x is small."""
    if x < EXP_SMALL:
        return x * fma(fma(fma(fma(F(1 / 120), x, -E4), x, E3), x, -E2), x, ONE)
    return ONE - exp_of(-x)


@jit_open
def log_of_cosine(sine_squared, cosine):
    """Natural logarithm of a cosine above 0, from both, so that no digits are lost near 1."""
    x = sine_squared
    if x < EXP_SMALL:
        tail = fma(fma(fma(fma(F(0.2), x, QUARTER), x, F(1 / 3)), x, HALF), x, ONE)
        return -HALF * x * tail
    return log_of(max(cosine, TINY))


@jit_open
def turn_of(x, y):
    """Turn of the vector (x, y) from +x towards +y, in [0, 1]: the arc tangent over 2 pi.

    Taylor's series of the arc tangent up to tan(pi / 8), and its sum rule beyond.
    """
    across_x, across_y = abs(x), abs(y)
    low, high = min(across_x, across_y), max(across_x, across_y)
    if high <= ZERO:
        return ZERO
    a, turn = low / high, ZERO
    if a > TAN_SIXTEENTH:
        a, turn = (a - ONE) / (a + ONE), EIGHTH_TURN
    z = a * a
    tail = fma(fma(fma(fma(fma(B13, z, B11), z, B9), z, B7), z, B5), z, B3)
    turn = fma(fma(tail, z * a, a), TURN_PER_RAD, turn)
    if across_y > across_x:
        turn = QUARTER - turn
    if x < ZERO:
        turn = HALF - turn
    return ONE - turn if y < ZERO else turn


@jit_open
def inverse(d):
    """Give 1/d, kept away from division by zero: a ray parallel to a face keeps its side of it."""
    if abs(d) < TINY:
        return -ONE / TINY if d < ZERO else ONE / TINY
    return ONE / d


@jit_open
def across(nx, ny, nz, s, c, sine, height):
    """Turn (sine * c, sine * s, height) from a frame with z up into one with z along n.

    The two tangents come from n without a square root or a branch on its direction
    (Duff et al. 2017, JCGT 6(1)); the result is scaled to unit length again.
    """
    sign = ONE if nz >= ZERO else -ONE
    a = -ONE / (sign + nz)
    b = nx * ny * a
    u = sine * c
    v = sine * s
    dx = fma(fma(sign * nx * nx, a, ONE), u, fma(b, v, nx * height))
    dy = fma(sign * b, u, fma(fma(ny * ny, a, sign), v, ny * height))
    dz = fma(-sign * nx, u, fma(-ny, v, nz * height))
    k = ONE / root(fma(dx, dx, fma(dy, dy, dz * dz)))
    return dx * k, dy * k, dz * k


@jit_open
def cosine_direction(nx, ny, nz, u, v):
    """Draw a direction about the unit normal n with density cos/pi (Lambert's law).

    Parameters
    ----------
    nx, ny, nz : float32
        Unit normal on the side into which light goes.
    u, v : float32 in (0, 1)
        Two independent uniforms: `u` is the squared sine of the polar angle, `v` the azimuth.
    """
    s, c = sine_cosine_of_turn(v)
    return across(nx, ny, nz, s, c, root(u), root(ONE - u))
