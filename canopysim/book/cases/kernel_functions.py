"""Errors: sines, logarithms and exponentials as kernels reckon them, to the last digits."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from canopysim.book.facts import Fact, fact_case

Array = NDArray[np.float64]
N = 4001
# Two or three units in the last place of float32; a sum of large parts loses some more.
FEW_DIGITS = 2e-7


def _each(function: Callable[..., object], *columns: NDArray[np.float32]) -> Array:
    """Call a kernel's function for each row, (n,) or (n, k)."""
    return np.array([function(*row) for row in zip(*columns, strict=True)], np.float64)


def _as_float32(values: Array) -> NDArray[np.float32]:
    return values.astype(np.float32)


def _functions() -> Iterator[Fact]:
    from canopysim.transport import real

    turn = _as_float32(np.linspace(-1.0, 1.0, N))
    angle = 2 * np.pi * turn.astype(np.float64)
    found = _each(real.sine_cosine_of_turn, turn)
    yield "sine of a turn", 0.0, np.abs(found[:, 0] - np.sin(angle)).max(), 1.2e-7
    yield "cosine of a turn", 0.0, np.abs(found[:, 1] - np.cos(angle)).max(), 1.2e-7

    x = _as_float32(np.concatenate([np.geomspace(1e-30, 1e30, N), np.linspace(0.5, 2.0, N)]))
    exact = np.log(x.astype(np.float64))
    off = np.abs(_each(real.log_of, x) - exact) / np.maximum(np.abs(exact), 1e-5)
    yield "logarithm", 0.0, off.max(), FEW_DIGITS

    x = _as_float32(np.concatenate([np.linspace(-86.0, 86.0, N), np.linspace(-1.0, 1.0, N)]))
    off = np.abs(_each(real.exp_of, x) / np.exp(x.astype(np.float64)) - 1)
    yield "exponential", 0.0, off.max(), FEW_DIGITS
    yield "exponential of less than can be told", 0.0, real.exp_of(np.float32(-90.0)), 0.0

    x = _as_float32(np.concatenate([np.geomspace(1e-9, 80.0, N), np.linspace(0.04, 0.06, N)]))
    exact = -np.expm1(-x.astype(np.float64))
    off = np.abs(_each(real.one_minus_exp, x) / exact - 1)
    # Where two numbers near 1 are taken from each other, at 0.05, a twentieth is left of them.
    yield "one less an exponential", 0.0, off.max(), 10 * FEW_DIGITS
    small = x < 0.049
    yield "one less an exponential, small", 0.0, off[small].max(), FEW_DIGITS

    sine_squared = _as_float32(np.concatenate([np.geomspace(1e-9, 0.999, N),
                                               np.linspace(0.04, 0.06, N)]))  # fmt: skip
    exact = 0.5 * np.log1p(-sine_squared.astype(np.float64))
    cosine = _as_float32(np.sqrt(1 - sine_squared.astype(np.float64)))
    off = np.abs(_each(real.log_of_cosine, sine_squared, cosine) / exact - 1)
    yield "logarithm of a cosine", 0.0, off.max(), 10 * FEW_DIGITS
    yield "logarithm of a cosine near 1", 0.0, off[sine_squared < 0.049].max(), FEW_DIGITS

    turns = np.concatenate([np.linspace(0.0, 1.0, N)[:-1], [0.0, 0.25, 0.5, 0.75]])
    for size in (1e-6, 0.3, 4e3):
        x, y = (_as_float32(size * f(2 * np.pi * turns)) for f in (np.cos, np.sin))
        exact = np.mod(np.arctan2(y.astype(np.float64), x.astype(np.float64)) / (2 * np.pi), 1.0)
        away = np.abs(_each(real.turn_of, x, y) - exact)
        yield f"turn of vectors of {size:g}", 0.0, np.minimum(away, 1 - away).max(), 8e-8
    yield "turn of nothing", 0.0, float(real.turn_of(np.float32(0), np.float32(0))), 0.0

    d = _as_float32(np.concatenate([np.geomspace(1e-11, 1.0, 50), -np.geomspace(1e-11, 1.0, 50)]))
    off = np.abs(_each(real.inverse, d) * d.astype(np.float64) - 1)
    yield "inverse", 0.0, off.max(), FEW_DIGITS
    ends = [float(real.inverse(np.float32(v))) for v in (1e-14, -1e-14)]
    yield "inverse of next to nothing", [1e12, -1e12], ends, 1e6


def _turned() -> Iterator[Fact]:
    from canopysim.transport import real

    rng = np.random.default_rng(3)
    normal = rng.normal(size=(N, 3))
    # Straight up and down, and hardly beside: there the frame changes.
    normal[:6] = np.array(
        [[0, 0, 1], [0, 0, -1], [1e-4, 0, -1], [0, 1e-4, -1], [1, 0, 1e-5], [0, 1, -1e-5]]
    )
    normal = (normal / np.linalg.norm(normal, axis=1)[:, None]).astype(np.float32).astype(float)
    u, v = rng.random((2, N)).astype(np.float32)
    n32 = [_as_float32(normal[:, k]) for k in range(3)]
    d = _each(real.cosine_direction, *n32, u, v)
    yield "length of a direction", 0.0, np.abs(np.linalg.norm(d, axis=1) - 1).max(), FEW_DIGITS
    height = np.sqrt(1 - u.astype(np.float64))
    yield "height over a face", 0.0, np.abs((d * normal).sum(1) - height).max(), 2 * FEW_DIGITS
    # A quarter more of the turn is a quarter turn about the normal, the same way round for all.
    ahead, beside = (
        _each(real.cosine_direction, *n32, u, _as_float32(np.full(N, turn))) for turn in (0.0, 0.25)
    )
    along = ahead - height[:, None] * normal
    yield (
        "a quarter turn about a normal",
        0.0,
        np.abs(np.cross(normal, along) - (beside - height[:, None] * normal)).max(),
        2 * FEW_DIGITS,
    )


CASES = (
    fact_case(
        "functions of the kernels",
        "errors",
        "Sines, logarithms, exponentials and turns that kernels reckon in float32 by series of "
        "their own, and directions about a normal.",
        "The same in double precision; geometry.",
        "A series had another coefficient, began elsewhere or was used beyond where it holds.",
        _functions, _turned,
    ),
)  # fmt: skip
