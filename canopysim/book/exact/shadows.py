"""Boxes in the light of small level lamps: shadows on the floor, and light off their tops."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from canopysim.book.exact.factors import box_faces, clip, level_rectangle, polygon
from canopysim.book.exact.frames import Triple, cells, gauss, rotation

Array = NDArray[np.float64]
DOWN, UP = np.array([0, 0, -1.0]), np.array([0, 0, 1.0])


def box_corners(place: Triple, turned: Triple, length: float, width: float,
                low: float, high: float) -> Array:  # fmt: skip
    """Corners (8, 3) of a box round a pivot, from `low` to `high` above it in its own frame."""
    own = [
        [x * length / 2, y * width / 2, z] for z in (low, high) for x in (-1, 1) for y in (-1, 1)
    ]
    found: Array = np.add(place, np.array(own) @ rotation(*turned).T)
    return found


def shadow(lamp: Array, corners: Array) -> Array:
    """Corners (n, 3) of the shadow on the floor that a convex body below a lamp throws."""
    ray = corners - lamp
    landed = lamp + ray * (-lamp[2] / ray[:, 2])[:, None]
    hull = ConvexHull(landed[:, :2])
    return np.asarray(landed[hull.vertices])


def inside(polygon_corners: Array, window: Array) -> Array:
    """Cut a polygon on the floor by a convex window on it, whose corners run counter-clockwise."""
    found = polygon_corners
    for a, b in zip(window, np.roll(window, -1, axis=0), strict=True):
        inwards = np.array([a[1] - b[1], b[0] - a[0], 0.0])
        if len(found) > 2:
            found = clip(found, inwards, float(inwards @ a))
    return found


def hidden(points: Array, lamp: Array, low: Triple, high: Triple) -> NDArray[np.bool_]:
    """Whether an upright box stands between a lamp (3,), or one each, and points (..., 3)."""
    way = points - lamp
    with np.errstate(divide="ignore", invalid="ignore"):
        one, other = (np.asarray(low) - lamp) / way, (np.asarray(high) - lamp) / way
    enter, leave = np.minimum(one, other).max(-1), np.maximum(one, other).min(-1)
    return np.asarray((enter < leave) & (leave > 0) & (enter < 1))


def below(lamp: Array, corners: Array, size: Triple, shape: tuple[int, int]
          ) -> tuple[Array, float]:  # fmt: skip
    """Shares of a small level lamp's light per cell of the floor (n_y, n_x), and on a body."""
    dark = shadow(lamp, corners)
    found = np.zeros(shape[::-1])
    for j, row in enumerate(cells((0, 0), size[:2], shape)):
        for i, cell in enumerate(row):
            whole = level_rectangle(cell, 0.0)
            found[j, i] = polygon(lamp, DOWN, whole)
            hidden = inside(whole, dark)
            if len(hidden) > 2:
                found[j, i] -= polygon(lamp, DOWN, hidden)
    return found, polygon(lamp, DOWN, dark)


def lamp_points(place: Triple, length: float, n: int) -> list[Array]:
    """Points of a thin level lamp along x."""
    u = (np.arange(n) + 0.5) / n - 0.5
    return [np.asarray(place) + np.array([length * v, 0.0, 0.0]) for v in u]


def off_a_mat_top(lamp: Array, top: Array, size: Triple, n: int = 12) -> dict[str, float]:
    """Share of the lamp's light that falls on each face of a box off a level, matt, white top.

    Parameters
    ----------
    lamp : (3,) array
        A small level Lambertian lamp above the top.
    top : (4, 3) array
        Corners of the rectangle, in order.
    """
    u, w = gauss(0.0, 1.0, n)
    area = float(np.linalg.norm(np.cross(top[1] - top[0], top[3] - top[0])))
    found = dict.fromkeys(box_faces(size), 0.0)
    for a, wa in zip(u, w, strict=True):
        for b, wb in zip(u, w, strict=True):
            point = top[0] + a * (top[1] - top[0]) + b * (top[3] - top[0])
            ray = point - lamp
            square = float(ray @ ray)
            met = wa * wb * area * ray[2] ** 2 / (np.pi * square**2)
            for name, corners in box_faces(size).items():
                found[name] += met * polygon(point, UP, corners)
    return found


def off_a_mirror_top(lamp: Array, top: Array, size: Triple) -> dict[str, float]:
    """Do the same for a perfect mirror: its image shines up through the top as a window."""
    image = lamp * [1, 1, -1] + [0, 0, 2 * top[0, 2]]
    found = {}
    for name, corners in box_faces(size).items():
        seen = clip(corners - image, UP, float(top[0, 2] - image[2]))
        for a, b in zip(top, np.roll(top, -1, axis=0), strict=True):
            if len(seen) > 2:
                inwards = np.cross(a - image, b - image)
                middle = top.mean(0) - image
                seen = clip(seen, inwards * np.sign(inwards @ middle))
        found[name] = polygon(np.zeros(3), UP, seen) if len(seen) > 2 else 0.0
    return found
