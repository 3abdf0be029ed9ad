"""Luminous strips by quadrature: what points, cells and the faces of a box get of their light."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopysim.book.exact.frames import Triple, cells, faces, gauss, rectangle, rotation

Array = NDArray[np.float64]
Intensity = Callable[[Array], Array]
"""Of unit directions (..., 3) in the strip's frame to 1/sr per unit flux; light leaves to -z."""


def exponent(width_deg: float) -> float:
    """Give m of cos^m that is one half at half of a full width."""
    return float(np.log(0.5) / np.log(np.cos(np.radians(width_deg) / 2)))


def beam(along_deg: float, across_deg: float) -> Intensity:
    """Give the asymmetric beam cos(gamma)^m, m = m_along cos^2 C + m_across sin^2 C.

    Its flux is 2 pi / sqrt((m_along + 1)(m_across + 1)): over gamma the integral is 1 / (m + 1),
    and that over C is a standard one.
    """
    m_along, m_across = exponent(along_deg), exponent(across_deg)
    power = 2 * np.pi / np.sqrt((m_along + 1) * (m_across + 1))

    def intensity(d: Array) -> Array:
        cosine = np.maximum(-d[..., 2], 1e-300)
        sine2 = np.maximum(d[..., 0] ** 2 + d[..., 1] ** 2, 1e-300)
        m = (m_along * d[..., 0] ** 2 + m_across * d[..., 1] ** 2) / sine2
        return np.asarray(np.where(d[..., 2] < 0, np.exp(m * np.log(cosine)), 0.0) / power)

    return intensity


def lambertian(d: Array) -> Array:
    """Give the cosine over pi."""
    return np.asarray(np.maximum(-d[..., 2], 0.0) / np.pi)


@dataclass(frozen=True)
class Strip:
    """A luminous rectangle of unit flux.

    Attributes
    ----------
    centre : tuple of float
        m.
    turned : tuple of float
        Turn, pitch and tilt, degrees.
    length, width : float
        Along its x and y, m.
    intensity : callable
        Its lens.
    """

    centre: Triple
    turned: Triple
    length: float
    width: float
    intensity: Intensity

    def starts(self, n: tuple[int, int]) -> tuple[Array, Array]:
        """Points on it, (m, 3), and weights that sum to one."""
        a, wa = gauss(-0.5, 0.5, n[0])
        b, wb = gauss(-0.5, 0.5, n[1])
        axes = rotation(*self.turned)
        points = (
            np.asarray(self.centre)
            + self.length * a[:, None, None] * axes[:, 0]
            + self.width * b[None, :, None] * axes[:, 1]
        )
        return points.reshape(-1, 3), np.outer(wa, wb).ravel()

    def arriving(self, points: Array, n: tuple[int, int] = (16, 3)) -> Array:
        """Flux density vector at points, (..., 3), per unit flux, m^-2: times -normal is PFD."""
        axes = rotation(*self.turned)
        total = np.zeros(points.shape)
        for start, weight in zip(*self.starts(n), strict=True):
            ray = points - start
            square = (ray**2).sum(-1)
            ray = ray / np.sqrt(square)[..., None]
            total += (weight * self.intensity(ray @ axes) / square)[..., None] * ray
        return total

    def seen(self, points: Array, weigh: Callable[[Array], Array], n: tuple[int, int] = (16, 3)
             ) -> Array:  # fmt: skip
        """Flux per area across the ray at points (..., 3), times `weigh` of the rays, m^-2."""
        axes = rotation(*self.turned)
        total = np.zeros(points.shape[:-1])
        for start, weight in zip(*self.starts(n), strict=True):
            ray = points - start
            square = (ray**2).sum(-1)
            ray = ray / np.sqrt(square)[..., None]
            total += weight * self.intensity(ray @ axes) / square * weigh(ray)
        return total


def face_shares(strip: Strip, size: Triple, n: int = 8, pieces: int = 10,
                only: Sequence[str] = ()) -> dict[str, float]:  # fmt: skip
    """Share of a strip's light on each face of a box, or some, by Gauss and Legendre on it."""
    return {
        name: float((strip.arriving(points) @ -normal) @ weights)
        for name, (points, weights, normal) in faces(size, n, pieces).items()
        if name in only or not only
    }


def cell_means(strip: Strip, low: tuple[float, float], high: tuple[float, float],
               shape: tuple[int, int], height: float = 0.0, n: int = 8, pieces: int = 4
               ) -> Array:  # fmt: skip
    """Mean flux density down through each cell of a grid, (n_y, n_x), per unit flux."""
    found = np.zeros(shape[::-1])
    for j, row in enumerate(cells(low, high, shape)):
        for i, (x0, x1, y0, y1) in enumerate(row):
            points, weights = rectangle(
                (x0, y0, height), (x1 - x0, 0, 0), (0, y1 - y0, 0), n, pieces
            )
            found[j, i] = -strip.arriving(points)[:, 2] @ weights / weights.sum()
    return found
