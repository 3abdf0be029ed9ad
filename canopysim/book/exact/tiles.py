"""Drawn leaves: level rectangles at random in a bay without end, and their mesh files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Tile:
    """A level rectangle; mm. It goes on through the sides of the bay.

    Attributes
    ----------
    x, y : int
        Its front-left corner, in the bay.
    wide, deep : int
        Extents.
    z : int
        Height.
    turned_over : bool
        Whether its upper side looks down.
    """

    x: int
    y: int
    wide: int
    deep: int
    z: int
    turned_over: bool


def scattered(bay: tuple[int, int], n: int, low: int, high: int, seed: int) -> list[Tile]:
    """Rectangles of some 6 to 14 cm anywhere in a bay, each at a height of its own, mm."""
    rng = np.random.default_rng(seed)
    heights = rng.permutation(np.linspace(low, high, n).astype(int))
    return [
        Tile(int(rng.integers(bay[0])), int(rng.integers(bay[1])), int(rng.integers(60, 140)),
             int(rng.integers(60, 140)), int(z), bool(rng.random() < 0.4))
        for z in heights
    ]  # fmt: skip


def pieces(tile: Tile, bay: tuple[int, int], margin: int = 0) -> list[Tile]:
    """Cut a tile where it goes through the bay's sides, and keep its pieces off them, mm."""

    def along(start: int, size: int, whole: int) -> list[tuple[int, int]]:
        end = start + size
        cut = [(start, end)] if end <= whole else [(start, whole), (0, end - whole)]
        kept = [(max(a, margin), min(b, whole - margin)) for a, b in cut]
        return [(a, b) for a, b in kept if a < b]

    return [
        Tile(a, c, b - a, d - c, tile.z, tile.turned_over)
        for a, b in along(tile.x, tile.wide, bay[0])
        for c, d in along(tile.y, tile.deep, bay[1])
    ]


def lit_shares(
    tiles: Sequence[Tile], bay: tuple[int, int], slope: tuple[float, float] = (0.0, 0.0)
) -> tuple[Array, float]:
    """Parallel light, even over the bay, on black tiles: each one's share, and the floor's.

    Exact: the bay is cut along all edges, as the light sees them, and every cell goes to its
    highest tile.

    Parameters
    ----------
    tiles : sequence of Tile
        Any.
    bay : (int, int)
        Extents, mm.
    slope : (float, float)
        How far light goes in x and y on its way down, per unit of height.

    Returns
    -------
    (n,) ndarray
        Share of all light that each tile takes.
    float
        What is left.
    """
    # Where light that meets a tile would have met the floor.
    moved = [
        ((t.x + slope[0] * t.z) % bay[0], (t.y + slope[1] * t.z) % bay[1], t.wide, t.deep)
        for t in tiles
    ]
    cuts_x, cuts_y = (
        np.unique(np.concatenate([[0.0, whole], [m[k] for m in moved],
                                  [(m[k] + m[k + 2]) % whole for m in moved]]))
        for k, whole in enumerate(bay)
    )  # fmt: skip
    mid_x, mid_y = (cuts_x[1:] + cuts_x[:-1]) / 2, (cuts_y[1:] + cuts_y[:-1]) / 2
    owner = np.full((len(mid_y), len(mid_x)), -1)
    for k in np.argsort([t.z for t in tiles]):
        x, y, wide, deep = moved[k]
        owner[np.ix_((mid_y - y) % bay[1] < deep, (mid_x - x) % bay[0] < wide)] = k
    area = np.diff(cuts_y)[:, None] * np.diff(cuts_x)
    each = np.bincount(owner.ravel() + 1, area.ravel(), len(tiles) + 1) / (bay[0] * bay[1])
    return each[1:], float(each[0])


def left_by_chance(tiles: Sequence[Tile], bay: tuple[int, int]) -> float:
    """Mean of what is left over all places of the same tiles: the product of 1 - a/A."""
    share = np.array([t.wide * t.deep for t in tiles]) / (bay[0] * bay[1])
    return float(np.prod(1 - share))


def obj_of(corners: Array) -> bytes:
    """Write quadrangles as a mesh file.

    Parameters
    ----------
    corners : (n, 4, 3) ndarray
        In order around each one; seen from its upper side, counter-clockwise.
    """
    lines = ["o leaf"]
    lines += [f"v {x:.9g} {y:.9g} {z:.9g}" for x, y, z in corners.reshape(-1, 3)]
    for first in range(1, 4 * len(corners) + 1, 4):
        lines += [f"f {first} {first + 1} {first + 2}", f"f {first} {first + 2} {first + 3}"]
    return ("\n".join(lines) + "\n").encode()


def level_leaf(
    x0: float, x1: float, y0: float, y1: float, z: float, *, over: bool = False
) -> Array:
    """Corners of a level rectangle, (4, 3); turned over, its upper side looks down."""
    corners = np.array([[x0, y0, z], [x1, y0, z], [x1, y1, z], [x0, y1, z]], float)
    return corners[::-1] if over else corners


def tile_mesh(tiles: Sequence[Tile]) -> bytes:
    """Write tiles that lie in the bay as a mesh file in mm."""
    return obj_of(
        np.array([
            level_leaf(t.x, t.x + t.wide, t.y, t.y + t.deep, t.z, over=t.turned_over)
            for t in tiles
        ])
    )  # fmt: skip


def squares_anyhow(
    bay: tuple[float, float], low: float, high: float, side: float, n: int, seed: int
) -> Array:
    """Square leaves anywhere in a bay, inclined anyhow (spherical): corners (n, 4, 3)."""
    rng = np.random.default_rng(seed)
    middle = rng.uniform([0, 0, low], [*bay, high], (n, 3))
    normal = rng.normal(size=(n, 3))
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    normal *= np.sign(normal[:, 2:])
    across = np.cross(normal, rng.normal(size=(n, 3)))
    across /= np.linalg.norm(across, axis=1)[:, None]
    along = np.cross(normal, across)
    half = side / 2
    signs = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    return np.stack([middle + half * (a * across + b * along) for a, b in signs], axis=1)


def with_copies(corners: Array, bay: tuple[float, float]) -> Array:
    """Add to leaves (n, 4, 3) what reaches into the bay from its eight neighbours."""
    found = [corners]
    for i in (-1, 0, 1):
        for j in (-1, 0, 1):
            there = corners + np.array([i * bay[0], j * bay[1], 0.0])
            low, high = there.min(1), there.max(1)
            inside = (low[:, 0] < bay[0]) & (low[:, 1] < bay[1]) & (high[:, :2] > 0).all(1)
            if i or j:
                found.append(there[inside])
    return np.concatenate(found)
