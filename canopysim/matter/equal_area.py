"""Heights that cut a canopy into layers of equal leaf area."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.blade import triangle_areas
from canopysim.matter.layers import share_below
from canopysim.matter.turbid.volume import Volume, area_below

Floats = NDArray[np.float64]
# A layer may hold so much more or less than its share; more is leaves that lie level at the cut.
MOST_OFF = 1e-6


def equal_area_edges(
    corners: Floats, count: int, low: float, high: float, volumes: Sequence[Volume] = ()
) -> Floats:
    """Heights that part layers of equal leaf area, from the bottom to the top.

    Parameters
    ----------
    corners : (n_face, 3, 3) ndarray, m
        Corners of all leaf triangles, world frame, z up.
    count : int
        Layers.
    low, high : float, m
        Lower end of the lowest and upper end of the highest layer; no leaf lies beyond them.
    volumes : sequence of Volume
        Filled with more leaves.

    Returns
    -------
    (count + 1,) ndarray, m
        Ascending. Triangles are clipped, so the areas between the heights are equal to rounding.

    Raises
    ------
    ValueError
        Where leaves that lie level at one height hold what should be parted there.
    """
    flat = corners.reshape(-1, 3)
    areas = triangle_areas(flat, np.arange(len(flat), dtype=np.int32).reshape(-1, 3))
    heights = np.ascontiguousarray(np.sort(corners[:, :, 2], axis=1).T)
    total = float(areas.sum()) + sum(volume.leaf_area for volume in volumes)
    wanted = [total * k / count for k in range(1, count)]
    if volumes:
        cuts = [_cut(heights, areas, area, low, high, volumes) for area in wanted]
    else:
        cuts = _cuts(heights, areas, wanted)
    edges = np.array([low, *cuts, high])
    below = np.array([0.0, *(_area_below(heights, areas, cut, volumes) for cut in cuts), total])
    off = np.abs(np.diff(below) * count / total - 1.0)
    if off.max() > MOST_OFF or np.any(np.diff(edges) <= 0.0):
        worst = edges[1 + int(np.argmax(off[:-1]))] if count > 1 else low
        raise ValueError(
            f"leaves lie level at {100.0 * worst:.4g} cm, so no height parts their area there into "
            f"{count} equal layers; choose fewer layers, or give their boundary heights"
        )
    return edges


def _area_below(
    heights: Floats, areas: Floats, level: float, volumes: Sequence[Volume] = ()
) -> float:
    """Leaf area below a level, level triangles in it too; heights (3, n_face) ascend."""
    cut = (heights[0] < level) & (heights[2] > level)
    whole = float(areas[heights[2] <= level].sum())
    whole += sum(float(area_below(volume, [level])[0]) for volume in volumes)
    return whole + float(areas[cut] @ share_below(heights[:, cut].T, level))


def _cuts(heights: Floats, areas: Floats, wanted: list[float]) -> list[float]:
    """Heights below which given areas lie.

    Below a height lies no less than all triangles that end by there, and no more than all that have
    begun: that brackets each cut, and few triangles reach into its bracket.
    """
    begins, ends = np.argsort(heights[0]), np.argsort(heights[2])
    begun, ended = np.cumsum(areas[begins]), np.cumsum(areas[ends])
    last = len(areas) - 1
    cuts = []
    for area in wanted:
        low = heights[0, begins[min(int(np.searchsorted(begun, area)), last)]]
        high = heights[2, ends[min(int(np.searchsorted(ended, area)), last)]]
        first = int(np.searchsorted(heights[2, ends], low, side="left"))
        passed = float(ended[first - 1]) if first else 0.0
        reach = (heights[2] >= low) & (heights[0] < high)
        # A level triangle in the lower end counts below it: begin one step under it.
        low = float(np.nextafter(low, -np.inf))
        cuts.append(_cut(heights[:, reach], areas[reach], area - passed, low, float(high)))
    return cuts


def _cut(
    heights: Floats,
    areas: Floats,
    wanted: float,
    low: float,
    high: float,
    volumes: Sequence[Volume] = (),
) -> float:
    """Height below which an area lies, by halving a bracket down to two neighbouring numbers.

    The area below a level grows with it, so the bracket always holds the answer; triangles that no
    longer reach into it are left out.
    """
    while True:
        middle = 0.5 * (low + high)
        if not low < middle < high:
            return high
        if _area_below(heights, areas, middle, volumes) < wanted:
            low = middle
            reach = heights[2] > low
            wanted -= float(areas[~reach].sum())
        else:
            high = middle
            reach = heights[0] < high
        heights, areas = heights[:, reach], areas[reach]
