"""Diffuse boxes: what every patch of the six faces gets, by solving for all of them at once."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.linalg import LinearOperator, gmres

from canopysim.book.exact.grids import extrapolated
from canopysim.book.exact.rectangles import parallel, perpendicular

Floats = NDArray[np.float64]
FACES = ("left", "right", "front", "back", "floor", "ceiling")
# Patches between two cuts in the three sizes of grid.
SIZES = (6, 8, 10)


@dataclass(frozen=True)
class Lamp:
    """A Lambertian rectangle that shines straight down, flush with a height, m."""

    x: tuple[float, float]
    y: tuple[float, float]
    height: float


@dataclass(frozen=True)
class Lit:
    """Shares of the launched light that fall on the faces, and on the floor's cells."""

    falls: dict[str, float]
    floor: Floats


def axes_of(face: str) -> tuple[int, int, int]:
    """Axis of a face's normal, and its own two."""
    n = FACES.index(face) // 2
    a, b = (k for k in range(3) if k != n)
    return n, a, b


def evenly(cuts: Sequence[float], n: int) -> Floats:
    """Edges of n equal patches between each two cuts."""
    pieces = [np.linspace(low, high, n + 1)[:-1] for low, high in itertools.pairwise(cuts)]
    return np.append(np.concatenate(pieces), cuts[-1])


def solve(
    cuts: tuple[Sequence[float], Sequence[float], Sequence[float]],
    rho: dict[str, float],
    lamp: Lamp,
    n: int,
) -> Lit:
    """Radiosity with constant patches (Galerkin): phi = P + K (rho phi).

    Parameters
    ----------
    cuts : three sequences of float
        Coordinates at which the grids along x, y and z are cut, from 0 to the box's extent, m; the
        cells of the floor lie between them.
    rho : dict of str to float
        Diffuse reflectance by face; 0 of an opening.
    lamp : Lamp
        It stops no light.
    n : int
        Patches between two cuts.
    """
    edges = [evenly(c, n) for c in cuts]
    size = [c[-1] for c in cuts]

    def away(face: str, axis: int) -> Floats:
        # Distance of the edges along an axis from a face that is normal to it.
        return edges[axis] - (size[axis] if FACES.index(face) % 2 else 0.0)

    shapes, areas = {}, {}
    for face in FACES:
        _, a, b = axes_of(face)
        areas[face] = np.multiply.outer(np.diff(edges[a]), np.diff(edges[b])).ravel()
        shapes[face] = (len(edges[a]) - 1, len(edges[b]) - 1)
    start = np.cumsum([0, *(len(areas[f]) for f in FACES)])
    at = {f: slice(start[i], start[i + 1]) for i, f in enumerate(FACES)}
    exchange = np.zeros((start[-1], start[-1]))
    for i, one in enumerate(FACES):
        for other in FACES[i + 1 :]:
            (p, a, b), (q, _, _) = axes_of(one), axes_of(other)
            if p == q:
                both = parallel(edges[a], edges[b], edges[a], edges[b], size[p])
            else:
                c = 3 - p - q
                both = perpendicular(edges[c], away(other, q), edges[c], away(one, p))
                # Each face's patches run along its axes in their order.
                if c > q:
                    both = both.transpose(1, 0, 2, 3)
                if c > p:
                    both = both.transpose(0, 1, 3, 2)
            block = both.reshape(len(areas[one]), len(areas[other]))
            exchange[at[one], at[other]] = block
            exchange[at[other], at[one]] = block.T
    straight = np.zeros(start[-1])
    below = np.maximum(lamp.height - edges[2], 0.0)
    for face in FACES[:4]:
        n_axis, c, _ = axes_of(face)
        ends, along = (lamp.y, lamp.x)[n_axis], (lamp.x, lamp.y)[n_axis]
        wall = size[n_axis] if FACES.index(face) % 2 else 0.0
        got = perpendicular(edges[c], below, ends, np.abs(np.subtract(along, wall)))
        straight[at[face]] = got.ravel()
    straight[at["floor"]] = parallel(edges[0], edges[1], lamp.x, lamp.y, lamp.height).ravel()
    straight /= (lamp.x[1] - lamp.x[0]) * (lamp.y[1] - lamp.y[0])
    area = np.concatenate([areas[f] for f in FACES])
    share = np.repeat([rho[f] for f in FACES], [len(areas[f]) for f in FACES])
    kept = share / area
    system = LinearOperator(exchange.shape, lambda flux: flux - exchange @ (kept * flux))
    flux, failed = gmres(system, straight, rtol=1e-12, atol=0.0, restart=60)
    assert not failed
    floor = flux[at["floor"]].reshape(len(cuts[0]) - 1, n, len(cuts[1]) - 1, n).sum((1, 3))
    return Lit({f: float(flux[at[f]].sum()) for f in FACES}, floor.T)


def converged(
    cuts: tuple[Sequence[float], Sequence[float], Sequence[float]],
    rho: dict[str, float],
    lamp: Lamp,
    sizes: Sequence[int] = SIZES,
) -> tuple[Lit, float]:
    """Extrapolate `solve` in the size of the patches, with error falling as its square.

    Returns
    -------
    Lit
        From the two finest grids.
    float
        Largest difference to what the two before say, as a share of the launched light.
    """
    found = [solve(cuts, rho, lamp, n) for n in sizes]
    falls, off = extrapolated(sizes, [np.array([one.falls[f] for f in FACES]) for one in found])
    floor, floor_off = extrapolated(sizes, [one.floor for one in found])
    return Lit(dict(zip(FACES, falls.tolist(), strict=True)), floor), max(off, floor_off)
