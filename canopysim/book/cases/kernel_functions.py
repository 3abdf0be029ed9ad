"""Errors: sines, logarithms and exponentials as kernels reckon them, to the last digits."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from canopysim.book.exact.philox import PUBLISHED, philox
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


# Seed, strip, batch, photon, event and block.
ADDRESSES = (
    (1, 2, 0, 0, 0, 0, 0), (1, 2, 3, 4, 5, 6, 7), (2**32 - 1, 0, 1, 70, 2**31, 3, 1),
    (0, 2**31 + 5, 12, 9, 123456789, 40, 0), (77, 78, 0, 2**20, 6, 1000, 2),
)  # fmt: skip


def _middles(words: tuple[int, ...]) -> Array:
    """Middle of the cell of 2^23 that each word of 32 bits lies in, of 0 to 1."""
    return np.array([((word >> 9) + 0.5) / 2**23 for word in words])


def _addresses() -> Iterator[Fact]:
    from canopysim.transport import random

    words = np.uint32
    told = [random.philox(*map(words, (*counter, *key))) for counter, key, _ in PUBLISHED]
    known = [answer for _, _, answer in PUBLISHED]
    yield "published answers", np.array(known), np.array(told, np.float64), 0.0

    for key0, key1, strip, batch, photon, event, block in ADDRESSES:
        keys = words(key0), words(key1)
        at = f"of photon {photon} in batch {batch} of strip {strip}"
        exact = _middles(philox((photon, batch, 8 * event + block, strip), (key0, key1)))
        drawn = random.draw(*keys, strip, batch, photon, event, block)
        yield f"event {event}, block {block} {at}", exact, np.array(drawn, np.float64), 0.0
        exact = _middles(philox((photon, batch, event, strip + 2**30), (key0, key1)))
        drawn = random.draw_leaf(*keys, strip + random.ON_FLIGHTS, batch, photon, event)
        yield f"leaf {event} {at}", exact, np.array(drawn, np.float64), 0.0

    # Photons of a batch go on by powers of 1/x, x^5 = x + 1, from a random place.
    x = max(root.real for root in np.roots([1, 0, 0, 0, -1, -1]) if abs(root.imag) < 1e-9)
    key = (5, 6)
    start = np.array(philox((0, 3, 1, 2), key)) / 2**32
    n = np.array([0, 1, 2, 1000, 2**20])
    exact = np.mod(start + n[:, None] * x ** -np.arange(1.0, 5.0), 1.0)
    keys = words(key[0]), words(key[1])
    launched = np.array([random.spread(*keys, 2, 3, int(k)) for k in n], np.float64)
    away = np.abs(exact - launched)
    for photon, off in zip(n, np.minimum(away, 1 - away).max(1), strict=True):
        # Half a cell, and steps are whole numbers of 2^-32, two of them off at most.
        yield f"launch of photon {photon}", 0.0, off, 0.5 / 2**23 + 2.0 * photon / 2**32


# Triangles of a tree; a child is a block of eight if its highest bit is set, and none if it is 0.
N_TRIANGLE, SIZE_M, BLOCK = 3000, 1.5, 1 << 31


def _tree() -> Iterator[Fact]:
    from canopysim.transport.build import aligned, build_tree

    rng = np.random.default_rng(8)
    middle = rng.random((N_TRIANGLE, 1, 3)) ** 2
    corners = _as_float32(middle + 0.04 * rng.normal(size=(N_TRIANGLE, 3, 3)))
    nodes, triangles, slots, stack = build_tree(corners.ravel(), SIZE_M)
    # Kept, so that none gets another's place.
    some = [nodes, triangles, *(aligned(16 * k, np.float32) for k in range(1, 60))]
    off = max(each.ctypes.data % 64 for each in some)
    yield "bytes from a cache line, the most", 0.0, float(off), 0.0
    yield "each triangle in one lane", np.arange(N_TRIANGLE), np.sort(slots[slots >= 0]), 0.0

    lanes = triangles.reshape(-1, 3, 3, 8).transpose(0, 3, 1, 2).reshape(-1, 3, 3)
    yield "corners in their lanes", corners[slots[slots >= 0]], lanes[slots >= 0], 0.0

    bounds = nodes.reshape(-1, 64)[:, :48].reshape(-1, 3, 2, 8)
    children = nodes.view(np.uint32).reshape(-1, 64)[:, 48:56].astype(np.int64)
    deep, worst = np.ones(len(bounds)), 0.0

    def under(number: int) -> Array:
        """Give the corners below a node: of all its blocks."""
        nonlocal worst
        found = []
        for k, child in enumerate(children[number]):
            if child == 0:
                continue
            if child >= BLOCK:
                block = slice(8 * (child - BLOCK), 8 * (child - BLOCK) + 8)
                mine = corners[slots[block][slots[block] >= 0]].reshape(-1, 3).astype(np.float64)
            else:
                deep[child] = deep[number] + 1
                mine = under(int(child))
            # Boxes are wider than what is in them by a millionth of the longest coordinate.
            edges = np.stack([mine.min(0) - SIZE_M / 2**20, mine.max(0) + SIZE_M / 2**20], -1)
            worst = max(worst, float(np.abs(edges - bounds[number, :, :, k]).max()))
            found.append(mine)
        return np.concatenate(found)

    yield "corners under the root", 3.0 * N_TRIANGLE, float(len(under(0))), 0.0
    yield "boxes about what is in them", 0.0, worst, FEW_DIGITS
    # A walk leaves up to seven siblings behind in each node on its way.
    yield "room for what a walk leaves behind", 7 * deep.max() + 1, float(stack), 0.0


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
    fact_case(
        "random numbers by address",
        "errors",
        "The random numbers of a photon are those that its address gives, whatever was drawn "
        "before; those of launches are an even sequence.",
        "Philox4x32-10 in whole numbers, its published answers; powers of the root of x^5 = x + 1.",
        "A round was another, two places of an address stood for one another, or steps were not "
        "as even as they can be.",
        _addresses,
    ),
    fact_case(
        "a tree over triangles",
        "errors",
        "The tree in which flights look for triangles has each of them once, in boxes a little "
        "wider than they are, and asks for as much room as a walk can need.",
        "The least and greatest coordinates of what is under each node, and the longest way down.",
        "A triangle were lost, a box too narrow, or the walk's stack too short.",
        _tree,
    ),
)  # fmt: skip
