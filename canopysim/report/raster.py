"""A small z-buffer: coloured triangles to pixels, without any graphics driver."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canopysim.transport.target import jit_open

if TYPE_CHECKING:
    from numpy.typing import NDArray


# Kept compiled where the photon kernels are; numba's own stamp of this file notices an edit.
@jit_open
def _fill(screen, colours, image, depth):  # type: ignore[no-untyped-def]
    height, width = depth.shape
    for face in range(screen.shape[0]):
        x0, y0, k0 = screen[face, 0, 0], screen[face, 0, 1], screen[face, 0, 2]
        x1, y1, k1 = screen[face, 1, 0], screen[face, 1, 1], screen[face, 1, 2]
        x2, y2, k2 = screen[face, 2, 0], screen[face, 2, 1], screen[face, 2, 2]

        # Twice the signed area on the screen; either winding is drawn, an edge-on face is not.
        area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)
        if not abs(area) > 1e-12:
            continue

        # Pixels whose centre can lie inside.
        left = max(0, int(np.floor(min(x0, x1, x2) - 0.5)))
        right = min(width - 1, int(np.ceil(max(x0, x1, x2) - 0.5)))
        top = max(0, int(np.floor(min(y0, y1, y2) - 0.5)))
        bottom = min(height - 1, int(np.ceil(max(y0, y1, y2) - 0.5)))

        for row in range(top, bottom + 1):
            y = row + 0.5
            for column in range(left, right + 1):
                x = column + 0.5
                b0 = ((x1 - x) * (y2 - y) - (x2 - x) * (y1 - y)) / area
                b1 = ((x2 - x) * (y0 - y) - (x0 - x) * (y2 - y)) / area
                b2 = 1.0 - b0 - b1
                if b0 < 0.0 or b1 < 0.0 or b2 < 0.0:
                    continue
                # Nearness is linear on the screen, distance is not.
                near = b0 * k0 + b1 * k1 + b2 * k2
                if near > depth[row, column]:
                    depth[row, column] = near
                    for channel in range(3):
                        image[row, column, channel] = (
                            b0 * colours[face, 0, channel]
                            + b1 * colours[face, 1, channel]
                            + b2 * colours[face, 2, channel]
                        )


def draw_triangles(
    screen: NDArray[np.float64],
    colours: NDArray[np.float32],
    *,
    size: tuple[int, int],
    background: tuple[float, float, float] = (1.0, 1.0, 1.0),
) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Draw triangles, nearest wins, colours blended between the corners.

    Parameters
    ----------
    screen : (n, 3, 3) float64
        Corners as (x, y, nearness): pixels from the left and from the top (pixel centres at half
        integers), and 1/distance from the eye, which is positive; greater is nearer.
    colours : (n, 3, 3) float32
        Red, green, blue of each corner, 0 to 1.
    size : (width, height)
        Pixels.
    background : (3,) float
        Colour where nothing is drawn.

    Returns
    -------
    image : (height, width, 3) float32
        Colours, 0 to 1.
    nearness : (height, width) float64
        1/distance of what was drawn; 0 where nothing was.
    """
    width, height = size
    image = np.empty((height, width, 3), np.float32)
    image[:] = background
    nearness = np.zeros((height, width))
    _fill(
        np.ascontiguousarray(screen, np.float64),
        np.ascontiguousarray(colours, np.float32),
        image,
        nearness,
    )
    return image, nearness


def darken_hollows(
    image: NDArray[np.float32],
    nearness: NDArray[np.float64],
    *,
    radius: int,
    scale: float,
    strength: float = 0.45,
) -> NDArray[np.float32]:
    """Darken what lies farther away than its surroundings on the picture.

    Unsharp masking of the depth buffer (Luft, Colditz and Deussen 2006): a cheap stand-in for the
    shade between leaves, which tells near from far.

    Parameters
    ----------
    image : (height, width, 3) float32
        Colours, 0 to 1.
    nearness : (height, width) float64
        1/distance, 0 where nothing was drawn.
    radius : int
        Half-width of the neighbourhood, pixels.
    scale : float
        Difference of distance that gives the full darkening, in the unit of distance.
    strength : float
        Greatest darkening, 0 to 1.

    Returns
    -------
    (height, width, 3) float32
        Darkened colours; the background stays as it is.
    """
    drawn = nearness > 0.0
    distance = np.where(drawn, 1.0 / np.where(drawn, nearness, 1.0), 0.0)
    weight = _box_sum(drawn.astype(np.float64), radius)
    around = _box_sum(distance, radius) / np.maximum(weight, 1.0)
    hollow = np.clip((distance - around) / scale, 0.0, 1.0) * drawn
    return (image * (1.0 - strength * hollow[:, :, None])).astype(np.float32)


def _box_sum(values: NDArray[np.float64], radius: int) -> NDArray[np.float64]:
    """Sum over a square of 2·radius + 1 pixels; outside the picture counts as 0."""
    from scipy.ndimage import uniform_filter

    side = 2 * radius + 1
    return np.asarray(uniform_filter(values, side, mode="constant") * side**2)
