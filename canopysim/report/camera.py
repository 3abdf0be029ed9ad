"""Where a picture is taken from: front, above and a little to the right, the whole box in view."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# Chosen by eye: low enough to see into the box under the fixtures, high enough to see the floor.
AZIMUTH_DEG = 24.0
ELEVATION_DEG = 20.0
DISTANCE_IN_DIAGONALS = 2.3
MARGIN = 0.03


@dataclass(frozen=True)
class Camera:
    """A perspective view of the box, scaled so that it fills the picture.

    Attributes
    ----------
    eye : (3,) float64
        Position, m, world frame.
    axes : (3, 3) float64
        Rows: unit vectors to the right, up, and away from the eye.
    scale : float
        Pixels per unit of tangent.
    origin : (2,) float64
        Pixel of the view axis, from the left and from the top.
    size : (width, height)
        Pixels of the picture.
    """

    eye: NDArray[np.float64]
    axes: NDArray[np.float64]
    scale: float
    origin: NDArray[np.float64]
    size: tuple[int, int]

    def project(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Bring points (..., 3), m, world frame, to (x px, y px, nearness 1/m) on the screen."""
        seen = (points - self.eye) @ self.axes.T
        away = np.maximum(seen[..., 2], 1e-6)
        tangent = seen[..., :2] / away[..., None] * np.array([1.0, -1.0])
        return np.concatenate([self.origin + self.scale * tangent, 1.0 / away[..., None]], axis=-1)


def box_corners(size: tuple[float, float, float]) -> NDArray[np.float64]:
    """Eight corners (8, 3) of the box, m; corner i has bits x, y, z of i from low to high."""
    bits = (np.arange(8)[:, None] >> np.arange(3)) & 1
    return np.asarray(bits * np.asarray(size, np.float64), np.float64)


def frame_box(size: tuple[float, float, float], width_px: int) -> Camera:
    """Camera for a box.

    Parameters
    ----------
    size : (width, depth, height)
        Inner size of the enclosure, m.
    width_px : int
        Width of the picture; a tall box gives a narrower picture of at most 1.25 times that height.

    Returns
    -------
    Camera
    """
    extent = np.asarray(size, np.float64)
    azimuth, elevation = np.deg2rad(AZIMUTH_DEG), np.deg2rad(ELEVATION_DEG)
    back = np.array(
        [
            np.sin(azimuth) * np.cos(elevation),
            -np.cos(azimuth) * np.cos(elevation),
            np.sin(elevation),
        ]
    )
    eye = 0.5 * extent + back * DISTANCE_IN_DIAGONALS * np.linalg.norm(extent)
    right = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
    axes = np.stack([right, np.cross(back, right), -back])

    # Fit the projected box into the picture, with a margin all round.
    free = Camera(eye, axes, 1.0, np.zeros(2), (1, 1)).project(box_corners(size))[:, :2]
    low, high = free.min(axis=0), free.max(axis=0)
    span = high - low
    scale = (1.0 - 2.0 * MARGIN) * width_px * min(1.0 / span[0], 1.25 / span[1])
    margin = MARGIN * width_px
    pixels = (
        int(np.ceil(scale * span[0] + 2 * margin)),
        int(np.ceil(scale * span[1] + 2 * margin)),
    )
    return Camera(eye, axes, float(scale), margin - scale * low, pixels)
