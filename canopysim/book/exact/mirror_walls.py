"""A diffuse floor and ceiling between four unlike mirrors: radiosity, with every path's images."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopysim.book.exact.grids import extrapolated
from canopysim.book.exact.images import kept
from canopysim.book.exact.rectangles import parallel

Floats = NDArray[np.float64]
FAR = 24


@dataclass(frozen=True)
class Between:
    """A room 0..size between mirrors, and a Lambertian rectangle that shines down in it, m."""

    size: tuple[float, float, float]
    lamp_x: tuple[float, float]
    lamp_y: tuple[float, float]
    lamp_height: float
    rho: dict[str, float]

    def walls(self, axis: int) -> tuple[float, float]:
        """Reflectances of the low and the high mirror across an axis."""
        low, high = (("left", "right"), ("front", "back"))[axis]
        return self.rho[low], self.rho[high]


def solve(room: Between, cells: tuple[int, int], n: int) -> tuple[Floats, Floats]:
    """Shares of the launched light that fall on cells of floor and ceiling, each (y, x).

    Parameters
    ----------
    room : Between
    cells : (int, int)
        Cells along x and y that are told.
    n : int
        Patches across each cell; errors fall as 1/n^2.
    """
    w, d, h = room.size
    nx, ny = cells[0] * n, cells[1] * n
    image = np.arange(-FAR, FAR + 1)
    folds, spreads = [], []
    for axis, count in ((0, nx), (1, ny)):
        weight = kept(image, *room.walls(axis))
        k = np.arange(count)
        # Place of patch k in each image: odd images are turned round.
        place = image[:, None] * count + np.where(image[:, None] % 2 == 0, k, count - 1 - k)
        fold = np.zeros((count, len(image) * count))
        for a in range(len(image)):
            fold[k, place[a] + FAR * count] = weight[a]
        folds.append(fold)
        # From patch i to every image of k, told by how many patches they are apart.
        spread = np.zeros((count, count, (FAR + 2) * count))
        for a in range(len(image)):
            apart = np.abs(place[a][None, :] - k[:, None])
            spread[k[:, None], k[None, :], apart] += weight[a]
        spreads.append(spread.reshape(count * count, -1))
    dx, dy = w / nx, d / ny
    table = parallel([0, dx], [0, dy], dx * np.arange((FAR + 2) * nx + 1),
                     dy * np.arange((FAR + 2) * ny + 1), h)[0, 0]  # fmt: skip
    exchange = (spreads[0] @ table @ spreads[1].T).reshape(nx, nx, ny, ny)
    exchange = exchange.transpose(0, 2, 1, 3).reshape(nx * ny, nx * ny) / (dx * dy)
    x = dx * np.arange(-FAR * nx, (FAR + 1) * nx + 1)
    y = dy * np.arange(-FAR * ny, (FAR + 1) * ny + 1)
    straight = parallel(x, y, room.lamp_x, room.lamp_y, room.lamp_height)[:, :, 0, 0]
    straight = folds[0] @ straight @ folds[1].T
    area = np.diff(room.lamp_x)[0] * np.diff(room.lamp_y)[0]
    first = straight.ravel() / area
    floor, more = first, first
    while more.max() > 1e-13:
        more = exchange.T @ (exchange @ (more * room.rho["floor"]) * room.rho["ceiling"])
        floor = floor + more
    ceiling = exchange @ (floor * room.rho["floor"])

    def told(flux: Floats) -> Floats:
        return np.asarray(flux.reshape(cells[0], n, cells[1], n).sum((1, 3)).T)

    return told(floor), told(ceiling)


def converged(room: Between, cells: tuple[int, int]) -> tuple[Floats, Floats, float]:
    """Extrapolate `solve`; the last number is the largest difference to coarser grids' answer."""
    sizes = (3, 4, 6)
    best, off = extrapolated(sizes, [np.array(solve(room, cells, n)) for n in sizes])
    return best[0], best[1], off
