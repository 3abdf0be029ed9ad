"""The primitives of a kernel in plain Python on numpy scalars."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


def jit(function):
    """Leave a function as it is."""
    return function


jit_open = jit_apart = jit


def fma(a, b, c):
    """Round a * b + c once; all three float32.

    The product of two float32 is exact in float64. The sum is rounded to odd there, so that the
    second rounding, to float32, sees on which side of a tie the exact sum lies (Boldo and
    Melquiond 2008, IEEE Trans. Comput. 57(4)).
    """
    product, addend = float(a) * float(b), float(c)
    total = product + addend
    if math.isfinite(total):
        # The error of the sum, exactly (Knuth's two-sum).
        part = total - product
        error = (product - (total - part)) + (addend - part)
        if error != 0.0 and not np.float64(total).view(np.int64) & 1:
            total = math.nextafter(total, math.copysign(math.inf, error))
    return np.float32(total)


def float_from_bits(bits):
    """Read the bits of an int32 as a float32."""
    return np.int32(bits).view(np.float32)


def bits_from_float(x):
    """Read the bits of a float32 as an int32."""
    return np.float32(x).view(np.int32)


class Note(NamedTuple):
    """A meeting as it is written down: position in m, weights that arrived, in quanta."""

    event: int
    x: float
    y: float
    z: float
    place: int
    side: int
    weights: NDArray[np.int64]


DIARY: list[Note] = []


def note(event, x, y, z, place, side, w):
    """Write a meeting down: number, position, place, side met, weights that arrived."""
    where = (float(x), float(y), float(z))
    DIARY.append(Note(int(event), *where, int(place), int(side), w.copy()))


def root(x):
    """IEEE square root of a float32."""
    return np.sqrt(np.float32(x))
