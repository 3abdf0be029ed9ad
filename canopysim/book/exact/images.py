"""A tilted asymmetric strip and its images in mirrors, or its like in endless bays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopysim.book.exact.strips import beam

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Strip:
    """A strip with the asymmetric beam I = I0 cos^m, m = m_x cos^2 C + m_y sin^2 C.

    Attributes
    ----------
    centre : (3,) ndarray
        m.
    axes : (3, 3) ndarray
        Its x, y and z as columns; light leaves towards -z.
    length, width : float
        m.
    along, across : float
        Full widths at half maximum, degrees.
    """

    centre: Floats
    axes: Floats
    length: float
    width: float
    along: float
    across: float

    def intensity(self, ray: Floats) -> Floats:
        """Give the share of its light per steradian along unit vectors (..., 3) of the world."""
        return beam(self.along, self.across)(ray @ self.axes)

    def downwards(self, n: int = 1000) -> float:
        """Share of its light that starts below the horizontal."""
        # Midpoints in the cosine and the azimuth of the world.
        down = (np.arange(n) + 0.5) / n
        around = (np.arange(n) + 0.5) / n * 2 * np.pi
        flat = np.sqrt(1 - down**2)[:, None]
        ray = np.stack(
            [flat * np.cos(around), flat * np.sin(around), np.repeat(-down[:, None], n, 1)], -1
        )
        return float(self.intensity(ray).sum() * 2 * np.pi / n**2)

    def starts(self, n: tuple[int, int] = (8, 2)) -> tuple[Floats, Floats]:
        """Gauss-Legendre points of the strip (k, 3) and their weights (k,)."""
        (u, wu), (v, wv) = (np.polynomial.legendre.leggauss(k) for k in n)
        across = v * self.width / 2
        points = (
            self.centre + (u * self.length / 2)[:, None, None] * self.axes[:, 0]
            + across[None, :, None] * self.axes[:, 1]
        )  # fmt: skip
        return points.reshape(-1, 3), np.multiply.outer(wu, wv).ravel() / 4

    def on_floor(self, corner: Floats, cell: Floats, n: int = 4) -> Floats:
        """Share of its light that falls straight on cells of the plane z = 0.

        Parameters
        ----------
        corner : (..., 2) ndarray
            Low corners of the cells, m.
        cell : (2,) ndarray
            Their extents, m.
        n : int
            Gauss points along each.
        """
        u, w = np.polynomial.legendre.leggauss(n)
        total = np.zeros(corner.shape[:-1])
        points, weights = self.starts()
        for a, wa in zip(u, w, strict=True):
            for b, wb in zip(u, w, strict=True):
                spot = corner + cell * (np.array([a, b]) + 1) / 2
                ray = np.empty((*corner.shape[:-1], len(points), 3))
                ray[..., :2] = spot[..., None, :] - points[:, :2]
                ray[..., 2] = -points[:, 2]
                distance = np.sqrt((ray**2).sum(-1))
                flow = self.intensity(ray / distance[..., None]) * points[:, 2] / distance**3
                total += wa * wb / 4 * (flow @ weights)
        return np.asarray(total * cell[0] * cell[1])


def endless(strip: Strip, size: tuple[float, float], cells: tuple[int, int], far: int) -> Floats:
    """Share of a strip's light on each cell of a floor whose bays go on for ever, (y, x).

    Bays up to `far` away one by one; what flies farther down falls evenly on all cells.
    """
    cell = np.array(size) / cells
    i, j = np.meshgrid(np.arange(-far, far + 1), np.arange(-far, far + 1))
    found = np.empty(cells[::-1])
    for y in range(cells[1]):
        for x in range(cells[0]):
            corner = np.stack([i * size[0], j * size[1]], -1) + cell * [x, y]
            found[y, x] = strip.on_floor(corner, cell).sum()
    return np.asarray(found + (strip.downwards() - found.sum()) / found.size)


def kept(n: NDArray[np.int64], low: float, high: float) -> Floats:
    """Share left of light in the n-th image of a room between two mirrors.

    Towards higher coordinates it meets the high mirror first, then both in turn; towards lower ones
    the low mirror first.
    """
    first, then = np.where(n > 0, high, low), np.where(n > 0, low, high)
    met = np.abs(n)
    return np.asarray(first ** ((met + 1) // 2) * then ** (met // 2))


def mirrored(
    strip: Strip, size: tuple[float, float], cells: tuple[int, int], rho: dict[str, float], far: int
) -> Floats:
    """Share of a strip's light on each cell of a black floor between four mirrors, (y, x).

    A photon that flies through images of the room falls on the mirrored cell, having met the walls
    between. For perfect mirrors what flies farther than `far` falls evenly on all cells.
    """
    cell = np.array(size) / cells
    span = np.arange(-far, far + 1)
    i, j = np.meshgrid(span, span)
    left = kept(i, rho["left"], rho["right"]) * kept(j, rho["front"], rho["back"])
    found = np.empty(cells[::-1])
    for y in range(cells[1]):
        for x in range(cells[0]):
            # Odd images of the floor are turned round.
            at_x = i * size[0] + cell[0] * np.where(i % 2 == 0, x, cells[0] - 1 - x)
            at_y = j * size[1] + cell[1] * np.where(j % 2 == 0, y, cells[1] - 1 - y)
            corner = np.stack([at_x, at_y], -1)
            found[y, x] = (left * strip.on_floor(corner, cell)).sum()
    perfect = min(rho.values()) == 1.0
    return found + ((strip.downwards() - found.sum()) / found.size if perfect else 0.0)
