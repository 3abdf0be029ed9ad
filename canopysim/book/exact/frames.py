"""Turned frames, and points to integrate over: rectangles, faces, cells, balls."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Triple = tuple[float, float, float]


def rotation(turn: float = 0.0, pitch: float = 0.0, tilt: float = 0.0) -> Array:
    """World = Rz(turn) Ry(pitch) Rx(tilt), right-handed, degrees: columns are the turned axes."""
    a, b, c = np.radians([turn, pitch, tilt])
    about_z = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    about_y = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
    about_x = np.array([[1, 0, 0], [0, np.cos(c), -np.sin(c)], [0, np.sin(c), np.cos(c)]])
    return np.asarray(about_z @ about_y @ about_x)


def angles_of(axes: Array) -> tuple[float, float, float]:
    """Turn, pitch and tilt, degrees, of a frame (3, 3) that `rotation` would give."""
    turn = np.arctan2(axes[1, 0], axes[0, 0])
    pitch = -np.arcsin(np.clip(axes[2, 0], -1.0, 1.0))
    tilt = np.arctan2(axes[2, 1], axes[2, 2])
    a, b, c = np.degrees([turn, pitch, tilt])
    return float(a), float(b), float(c)


def gauss(low: float, high: float, n: int, pieces: int = 1) -> tuple[Array, Array]:
    """Gauss-Legendre points and weights (of the integral) from `low` to `high`, in equal pieces."""
    u, w = np.polynomial.legendre.leggauss(n)
    step = (high - low) / pieces
    start = low + step * np.arange(pieces)[:, None]
    return (start + step * (u + 1) / 2).ravel(), np.tile(w * step / 2, pieces)


def rectangle(corner: Triple, first: Triple, second: Triple, n: int, pieces: int = 1
              ) -> tuple[Array, Array]:  # fmt: skip
    """Points (m, 3) of a rectangle at `corner` with two edges, and weights that sum to its area."""
    u, w = gauss(0.0, 1.0, n, pieces)
    a, b = np.asarray(first, float), np.asarray(second, float)
    points = np.asarray(corner) + u[:, None, None] * a + u[None, :, None] * b
    area = float(np.linalg.norm(np.cross(a, b)))
    return points.reshape(-1, 3), np.outer(w, w).ravel() * area


def faces(size: Triple, n: int, pieces: int = 1) -> dict[str, tuple[Array, Array, Array]]:
    """Points, weights and inward normals of the six faces of a box."""
    x, y, z = size
    plain: dict[str, tuple[Triple, Triple, Triple, Triple]] = {
        "left": ((0, 0, 0), (0, y, 0), (0, 0, z), (1, 0, 0)),
        "right": ((x, 0, 0), (0, y, 0), (0, 0, z), (-1, 0, 0)),
        "front": ((0, 0, 0), (x, 0, 0), (0, 0, z), (0, 1, 0)),
        "back": ((0, y, 0), (x, 0, 0), (0, 0, z), (0, -1, 0)),
        "floor": ((0, 0, 0), (x, 0, 0), (0, y, 0), (0, 0, 1)),
        "ceiling": ((0, 0, z), (x, 0, 0), (0, y, 0), (0, 0, -1)),
    }
    return {
        name: (*rectangle(a, b, c, n, pieces), np.asarray(normal, float))
        for name, (a, b, c, normal) in plain.items()
    }


def cells(low: tuple[float, float], high: tuple[float, float], shape: tuple[int, int]
          ) -> list[list[tuple[float, float, float, float]]]:  # fmt: skip
    """Rectangles x0, x1, y0, y1 of a grid of (n_x, n_y) cells, row by row from the front."""
    x, y = np.linspace(low[0], high[0], shape[0] + 1), np.linspace(low[1], high[1], shape[1] + 1)
    return [[(x[i], x[i + 1], y[j], y[j + 1]) for i in range(shape[0])] for j in range(shape[1])]


def ball(centre: Triple, radius: float, n: int = 6) -> tuple[Array, Array]:
    """Points of a ball and weights that sum to one: exact up to degree 2n - 3, n of 2 or more."""
    r, wr = gauss(0.0, 1.0, n)
    c, wc = gauss(-1.0, 1.0, n)
    phi = 2 * np.pi * (np.arange(2 * n) + 0.5) / (2 * n)
    s = np.sqrt(1 - c**2)
    unit = np.stack(
        [s[:, None] * np.cos(phi), s[:, None] * np.sin(phi), np.repeat(c[:, None], 2 * n, 1)], -1
    )
    points = np.asarray(centre) + radius * r[:, None, None, None] * unit
    weights = 3 * (wr * r**2)[:, None, None] * (wc / 2)[:, None] * np.full(2 * n, 1 / (2 * n))
    return points.reshape(-1, 3), weights.ravel()
