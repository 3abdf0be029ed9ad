"""Directions below a lens that is given as a table: bilinear, inverted in two searches."""

import numpy as np

from canopysim.transport.real import (
    HALF,
    ONE,
    TINY,
    TURN_PER_RAD,
    TWO,
    ZERO,
    F,
    sine_cosine_of_turn,
    turn_of,
)
from canopysim.transport.target import fma, jit, root


@jit
def _along_line(a, b, r):
    """Where a share r of the integral of a straight line from a to b lies, 0 to 1."""
    end = a + root(max(fma(r, fma(b, b, -(a * a)), a * a), ZERO))
    if end <= TINY:
        return r
    return min(r * (a + b) / end, ONE)


@jit
def table_direction(table, offset, n_c, n_gamma, u, v):
    """Draw a direction, in the strip's frame (light leaves towards -z).

    The plane is drawn by the light of the planes between which it lies, then the angle by the
    light of that very plane, a mixture of the two: exact for a table that is bilinear in the turn
    and, within steps of half a degree, in the cosine.

    Parameters
    ----------
    table : float32 (n,)
        Numbers of all tables, see `light.lens_table`.
    offset, n_c, n_gamma : int
        Where this one begins, its planes and its angles.
    u, v : float32 in (0, 1)
        Two independent uniforms: `u` picks the plane, `v` the angle.
    """
    share, light = offset + n_c, offset + 2 * n_c
    height = offset + 3 * n_c
    along, intensity = height + n_gamma, height + n_gamma + n_c * n_gamma
    # Between which planes?
    low, high = np.int64(0), n_c - 1
    while high - low > 1:
        middle = (low + high) >> 1
        if table[share + middle] <= u:
            low = middle
        else:
            high = middle
    width = table[share + low + 1] - table[share + low]
    r = min(max((u - table[share + low]) / max(width, TINY), ZERO), ONE)
    f = _along_line(table[light + low], table[light + low + 1], r)
    turn = fma(f, table[offset + low + 1] - table[offset + low], table[offset + low])
    # Between which angles of that plane?
    one, other = along + low * n_gamma, along + (low + 1) * n_gamma
    end = n_gamma - 1
    whole = fma(f, table[other + end] - table[one + end], table[one + end])
    wanted = v * whole
    a, b = np.int64(0), np.int64(end)
    while b - a > 1:
        middle = (a + b) >> 1
        if fma(f, table[other + middle] - table[one + middle], table[one + middle]) <= wanted:
            a = middle
        else:
            b = middle
    before = fma(f, table[other + a] - table[one + a], table[one + a])
    after = fma(f, table[other + a + 1] - table[one + a + 1], table[one + a + 1])
    r = min(max((wanted - before) / max(after - before, TINY), ZERO), ONE)
    one, other = intensity + low * n_gamma + a, intensity + (low + 1) * n_gamma + a
    first = fma(f, table[other] - table[one], table[one])
    second = fma(f, table[other + 1] - table[one + 1], table[one + 1])
    h = _along_line(first, second, r)
    y = fma(h, table[height + a + 1] - table[height + a], table[height + a])
    sine = root(max(y * (TWO - y), ZERO))
    s, c = sine_cosine_of_turn(F(turn))
    return sine * c, sine * s, y - ONE


@jit
def table_density(table, offset, n_c, n_gamma, x, y, z):
    """Density per solid angle with which `table_direction` draws a unit direction.

    Parameters
    ----------
    table, offset, n_c, n_gamma
        As in `table_direction`.
    x, y, z : float32
        Direction in the strip's frame.
    """
    share, light = offset + n_c, offset + 2 * n_c
    height = offset + 3 * n_c
    along, intensity = height + n_gamma, height + n_gamma + n_c * n_gamma
    # 1 - cos(gamma), with all digits near straight ahead.
    sine_squared = fma(x, x, y * y)
    down = sine_squared / (ONE - z) if z < ZERO else ONE + z
    if not table[height] <= down <= table[height + n_gamma - 1]:
        return ZERO
    turn = turn_of(x, y)
    low = _step_of(table, offset, n_c, turn)
    width = table[offset + low + 1] - table[offset + low]
    f = min(max((turn - table[offset + low]) / max(width, TINY), ZERO), ONE)
    mean = HALF * (table[light + low] + table[light + low + 1])
    one, other = along + low * n_gamma, along + (low + 1) * n_gamma
    a = _step_of(table, height, n_gamma, down)
    before = fma(f, table[other + a] - table[one + a], table[one + a])
    after = fma(f, table[other + a + 1] - table[one + a + 1], table[one + a + 1])
    one, other = intensity + low * n_gamma + a, intensity + (low + 1) * n_gamma + a
    first = fma(f, table[other] - table[one], table[one])
    second = fma(f, table[other + 1] - table[one + 1], table[one + 1])
    step = table[height + a + 1] - table[height + a]
    h = min(max((down - table[height + a]) / max(step, TINY), ZERO), ONE)
    # Straight in 1 - cos within a step, which holds the light that the table gives it.
    level = HALF * (first + second) * step * mean * width
    if level <= ZERO:
        return ZERO
    here = fma(h, second - first, first)
    of_turn = table[share + low + 1] - table[share + low]
    return TURN_PER_RAD * of_turn * (after - before) * here / level


@jit
def _step_of(table, offset, n, value):
    """Find the step of ascending numbers that holds a value: 0 to n - 2."""
    low, high = np.int64(0), np.int64(n - 1)
    while high - low > 1:
        middle = (low + high) >> 1
        if table[offset + middle] <= value:
            low = middle
        else:
            high = middle
    return low
