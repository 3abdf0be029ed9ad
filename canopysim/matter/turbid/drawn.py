"""Leaves drawn at random from a volume: flat rhombs that show, or stand for, what fills it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.parts import Part
from canopysim.matter.turbid.volume import Volume, area_below, inside

Floats = NDArray[np.float64]


def draw_points(volume: Volume, n: int, rng: np.random.Generator) -> Floats:
    """Draw places of leaves, as dense at each height as they are.

    Parameters
    ----------
    volume : Volume
        Any that holds leaves.
    n : int
        Number of places.
    rng : numpy.random.Generator
        Of the caller.

    Returns
    -------
    (n, 3) ndarray, m
        Independent of each other.
    """
    levels = np.linspace(volume.low[2], volume.high[2], 4097)
    below = area_below(volume, levels)
    z = np.interp(rng.random(n) * below[-1], below, levels)
    points = np.empty((n, 3))
    missing = np.arange(n)
    while len(missing):
        # Even over the level section: throw at the box around it, keep what lies inside.
        xy = volume.centre[:2] + volume.half[:2] * rng.uniform(-1.0, 1.0, (len(missing), 2))
        points[missing] = np.column_stack([xy, z[missing]])
        missing = missing[~inside(volume, points[missing])]
    return points


def draw_normals(volume: Volume, n: int, rng: np.random.Generator) -> Floats:
    """Draw unit normals (n, 3) of leaves, all upwards, to all sides of the compass alike."""
    at = rng.random(n) * (len(volume.angles) - 1)
    cosine = np.interp(at, np.arange(len(volume.angles)), volume.angles)
    sine = np.sqrt(np.maximum(0.0, 1.0 - cosine**2))
    turn = 2 * np.pi * rng.random(n)
    return np.column_stack([sine * np.cos(turn), sine * np.sin(turn), cosine])


def drawn_leaves(volume: Volume, n: int, seed: int, area_m2: float | None = None) -> Part:
    """Draw a volume's leaf area as so many equal rhombs.

    Parameters
    ----------
    volume : Volume
        Any that holds leaves.
    n : int
        Number of leaves.
    seed : int
        Of the draw.
    area_m2 : float, optional
        One-sided area of each, m2; the volume's leaf area over `n` if left out.

    Returns
    -------
    Part
        Two triangles for each leaf, whose middle lies in the volume. Its normals point upwards.
    """
    rng = np.random.default_rng(seed)
    middle, normal = draw_points(volume, n, rng), draw_normals(volume, n, rng)
    area = volume.leaf_area / n if area_m2 is None else area_m2
    # Two directions across the normal, turned at random.
    other = np.where(np.abs(normal[:, :1]) < 0.5, [[1.0, 0.0, 0.0]], [[0.0, 1.0, 0.0]])
    first = np.cross(normal, other)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    second = np.cross(normal, first)
    turn = 2 * np.pi * rng.random((n, 1))
    along = np.cos(turn) * first + np.sin(turn) * second
    across = np.cross(normal, along)
    # A rhomb twice as long as wide: its area is half the product of its diagonals.
    half_width = np.sqrt(area / 4)
    corners = np.stack(
        [
            middle + 2 * half_width * along,
            middle + half_width * across,
            middle - 2 * half_width * along,
            middle - half_width * across,
        ],
        axis=1,
    )
    faces = np.array([[0, 1, 2], [0, 2, 3]], np.int32) + 4 * np.arange(n, dtype=np.int32).reshape(
        -1, 1, 1
    )
    return Part(
        volume.name, "leaf", corners.reshape(-1, 3), faces.reshape(-1, 3), volume.leaf, False
    )
