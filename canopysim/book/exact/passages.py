"""Parallel light through a box cut into layers: where it goes in and out, flight by flight."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Passages:
    """Shares of the light, layers from the top.

    Attributes
    ----------
    inward, outward : (n_layer, 4) ndarray
        Through each layer's left, right, front and back side.
    down, up : (n_layer + 1,) ndarray
        Through the top, and the bottom of each layer.
    begun : (n_layer,) ndarray
        Sent out inside.
    """

    inward: Array
    outward: Array
    down: Array
    up: Array
    begun: Array


def passages(
    low: Sequence[float], high: Sequence[float], cuts: Sequence[float], starts: Array, way: Array,
    size: Sequence[float],
) -> Passages:  # fmt: skip
    """Follow flights straight to the walls of a room.

    Parameters
    ----------
    low, high : (x, y)
        Of the box, m.
    cuts : sequence of float
        Heights of its levels, from the top down, m.
    starts : (n, 3) ndarray
        Where the flights begin, m.
    way : (3,) ndarray
        Their common direction, no component zero.
    size : (3,) float
        Of the room, m.
    """
    n_layer, last = len(cuts) - 1, np.inf
    for axis in range(3):
        end = size[axis] if way[axis] > 0 else 0.0
        last = np.minimum(last, (end - starts[:, axis]) / way[axis])

    def layer(z: Array) -> NDArray[np.intp]:
        """Give the layer of heights, -1 above and n_layer below."""
        return np.asarray(np.searchsorted(-np.asarray(cuts), -z) - 1)

    inward, outward = np.zeros((n_layer, 4)), np.zeros((n_layer, 4))
    for side in range(4):
        axis, other = side // 2, 1 - side // 2
        wall = (low, high)[side % 2][axis]
        t = (wall - starts[:, axis]) / way[axis]
        at = starts + t[:, None] * way
        k = layer(at[:, 2])
        crosses = (t > 0) & (t < last) & (at[:, other] > low[other]) & (at[:, other] < high[other])
        crosses &= (k >= 0) & (k < n_layer)
        enters = (way[axis] > 0) == (side % 2 == 0)
        (inward if enters else outward)[:, side] = np.bincount(k[crosses], minlength=n_layer)
    through = np.zeros(n_layer + 1)
    for n, height in enumerate(cuts):
        t = (height - starts[:, 2]) / way[2]
        at = starts + t[:, None] * way
        inside = (at[:, :2] > low).all(1) & (at[:, :2] < high).all(1)
        through[n] = (inside & (t > 0) & (t < last)).sum()
    k = layer(starts[:, 2])
    inside = (starts[:, :2] > low).all(1) & (starts[:, :2] < high).all(1)
    begun = np.bincount(k[inside & (k >= 0) & (k < n_layer)], minlength=n_layer)
    n_all, none = len(starts), np.zeros(n_layer + 1)
    down, up = (through, none) if way[2] < 0 else (none, through)
    return Passages(inward / n_all, outward / n_all, down / n_all, up / n_all, begun / n_all)
