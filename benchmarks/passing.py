"""How a ray passes triangles, in double precision and in exact arithmetic.

Independent of canopysim's triangle test: nothing is imported from there.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Vectors = NDArray[np.float64]


class Meetings(NamedTuple):
    """How a ray passes some triangles, in double precision; each field has one item per triangle.

    Attributes
    ----------
    inside : numpy.ndarray of bool
        Whether the ray's line runs through the triangle.
    edge_m : numpy.ndarray
        Distance of the line from the nearest edge, m.
    edge : numpy.ndarray of int
        Which edge that is: 0, 1, 2, after the corner at which it starts.
    corner_m : numpy.ndarray
        Distance of the line from the nearest corner, m.
    t_m : numpy.ndarray
        Where along the ray: at the triangle's plane, or beside the nearest edge, m.
    blur_m : numpy.ndarray
        How far `t_m` moves when the corners move by `rounding_m`, m: more where the ray grazes.
    """

    inside: NDArray[np.bool_]
    edge_m: Vectors
    edge: NDArray[np.int64]
    corner_m: Vectors
    t_m: Vectors
    blur_m: Vectors


def meet(o: Vectors, d: Vectors, corners: Vectors, rounding_m: float) -> Meetings:
    """Look at triangles (n, 3, 3) from a ray, all of them in its own projection."""
    d = d / np.linalg.norm(d)
    p = corners - o
    e = np.roll(p, -1, axis=1) - p
    # Across the ray every edge is a segment of a plane, and the ray is its origin.
    flat = p - (p @ d)[..., None] * d
    side = e - (e @ d)[..., None] * d
    length = np.maximum((side**2).sum(-1), 1e-60)
    share = np.clip(-(flat * side).sum(-1) / length, 0, 1)
    distance = np.linalg.norm(flat + share[..., None] * side, axis=-1)
    nearest = distance.argmin(1)
    at = np.arange(len(p)), nearest
    winding = np.cross(flat, np.roll(flat, -1, axis=1)) @ d
    inside = ((winding >= 0).all(1) | (winding <= 0).all(1)) & (winding.sum(1) != 0)
    normal = np.cross(e[:, 0], e[:, 1])
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-60)[:, None]
    cosine = normal @ d
    with np.errstate(divide="ignore", invalid="ignore"):
        plane = (normal * p[:, 0]).sum(1) / cosine
        blur = rounding_m / np.abs(cosine)
    beside = ((p + share[..., None] * e) @ d)[at]
    corner = np.linalg.norm(flat, axis=-1).min(1)
    return Meetings(inside, distance[at], nearest, corner, np.where(inside, plane, beside), blur)


def first_exactly(o: Vectors, d: Vectors, corners: Vectors) -> list[int]:
    """Triangles that a ray meets first, edges included, in rational arithmetic: no rounding."""
    best: Fraction | None = None
    found: list[int] = []
    od, dd = [Fraction(x) for x in o], [Fraction(x) for x in d]
    for number, triangle in enumerate(corners):
        a, b, c = ([Fraction(x) - y for x, y in zip(q, od, strict=True)] for q in triangle)
        u, v, w = (_volume(dd, *pair) for pair in ((b, c), (c, a), (a, b)))
        total = u + v + w
        if total == 0 or (min(u, v, w) < 0 < max(u, v, w)):
            continue
        t = _volume(a, b, c) / total
        if t > 0 and (best is None or t <= best):
            found = [*found, number] if t == best else [number]
            best = t
    return found


def _volume(a: list[Fraction], b: list[Fraction], c: list[Fraction]) -> Fraction:
    """Give the product a (b x c)."""
    return (
        a[0] * (b[1] * c[2] - b[2] * c[1])
        + a[1] * (b[2] * c[0] - b[0] * c[2])
        + a[2] * (b[0] * c[1] - b[1] * c[0])
    )
