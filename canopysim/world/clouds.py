"""Volumes filled with leaves as arrays: shapes, densities, angles, and a bound of the density.

A photon flies to tentative meetings, which come as often as leaves would where they stand most
densely; each is a meeting in proportion to the density that is there. The nearer the bound is to
the greatest density, the fewer of them are in vain.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.turbid.heights import N_HEIGHT
from canopysim.matter.turbid.inclination import N_STEP
from canopysim.transport.arrays import CLOUD_BOX, CLOUD_ELLIPSOID, CLOUD_ROW_X, CLOUD_ROW_Y

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canopysim.matter.turbid.volume import Volume
    from canopysim.scene.schema import Scene

Floats = NDArray[np.float64]
KINDS = {
    "box": CLOUD_BOX,
    "ellipsoid": CLOUD_ELLIPSOID,
    "row along x": CLOUD_ROW_X,
    "row along y": CLOUD_ROW_Y,
}
N_SLICE = 256
"""Level slices in which the greatest density is looked for."""
ROUNDING = 1 + 2.0**-20
"""The bound is raised so far above the sums that it bounds: more than a float32 rounds."""


class CloudArrays(NamedTuple):
    """The fields of `WorldArrays` of these names."""

    cloud_box: Floats
    cloud_kind: NDArray[np.int32]
    cloud_shape: Floats
    cloud_density: Floats
    cloud_cosine: Floats
    cloud_rate: Floats
    cloud_place: NDArray[np.int32]


def cloud_arrays(scene: Scene, volumes: Sequence[Volume], place_of: Sequence[int]) -> CloudArrays:
    """Turn volumes into what photons meet.

    Parameters
    ----------
    scene : Scene
        Where its sides repeat, what sticks out of one side comes in at the other.
    volumes : sequence of Volume
        Any number.
    place_of : sequence of int
        Place of each.

    Returns
    -------
    CloudArrays
        All of length 0 without volumes.
    """
    copies = [
        (copy, place)
        for volume, place in zip(volumes, place_of, strict=True)
        for copy in endless_copies(scene, volume)
    ]
    if not copies:
        return CloudArrays(
            np.zeros((0, 3)), np.zeros(0, np.int32), np.zeros((0, 6)), np.zeros((0, N_HEIGHT)),
            np.zeros((0, N_STEP + 1)), np.zeros(0), np.zeros(0, np.int32),
        )  # fmt: skip
    each = [copy for copy, _ in copies]
    size = np.array(scene.enclosure.size)
    box = np.array([np.min([v.low for v in each], 0), np.max([v.high for v in each], 0)])
    return CloudArrays(
        cloud_box=np.clip(box, 0.0, size),
        cloud_kind=np.array([KINDS[v.kind] for v in each], np.int32),
        cloud_shape=np.array([[*v.centre, *v.half] for v in each]),
        cloud_density=np.array([v.density * v.clumping for v in each]),
        cloud_cosine=np.array([v.angles for v in each]),
        cloud_rate=np.array([greatest_density(each)]),
        cloud_place=np.array([place for _, place in copies], np.int32),
    )


def endless_copies(scene: Scene, volume: Volume) -> list[Volume]:
    """Give a volume, and those of its copies in the next bays that reach into this one."""
    shifts: list[list[float]] = []
    for axis, side in enumerate(("left", "front")):
        period = scene.enclosure.size[axis]
        repeats = side in scene.enclosure.repeating
        shifts.append([0.0])
        if repeats and volume.low[axis] < 0.0:
            shifts[axis].append(period)
        if repeats and volume.high[axis] > period:
            shifts[axis].append(-period)
    return [
        volume if x == y == 0.0 else replace(volume, centre=volume.centre + np.array([x, y, 0.0]))
        for x in shifts[0]
        for y in shifts[1]
    ]


def greatest_density(volumes: Sequence[Volume]) -> float:
    """Bound the sum of the densities that light meets, wherever volumes overlap, from above.

    Parameters
    ----------
    volumes : sequence of Volume
        At least one.

    Returns
    -------
    float
        1/m. In each of many level slices every volume counts with its greatest density there, and
        within the rectangle around its widest section there; the greatest sum over rectangles that
        share a point is attained at the left edge of one and the front edge of one.
    """
    low = np.array([v.low for v in volumes])
    high = np.array([v.high for v in volumes])
    edges = np.linspace(low[:, 2].min(), high[:, 2].max(), N_SLICE + 1)
    peaks = np.array([_peaks(v, edges) for v in volumes]).T
    best = 0.0
    for peak, bottom, top in sorted(
        zip(peaks, edges[:-1], edges[1:], strict=True), key=lambda s: -float(s[0].sum())
    ):
        if peak.sum() <= best:
            break
        there = np.flatnonzero(peak > 0)
        best = max(best, _deepest(*_sections(volumes, there, bottom, top), peak[there]))
    return float(best * ROUNDING)


def _peaks(volume: Volume, edges: Floats) -> Floats:
    """Greatest density that light meets in each slice, 1/m."""
    heights = np.linspace(volume.low[2], volume.high[2], len(volume.density))
    # Straight between heights: the greatest is at an end of the slice or at a height within it.
    at_edges = volume.at_height(edges)
    peaks = np.maximum(at_edges[:-1], at_edges[1:])
    # A height on the edge of two slices counts in both; rounding may put it into either.
    for side in (-1e-9, 1e-9):
        slot = np.searchsorted(edges, heights + side, side="right") - 1
        ok = (slot >= 0) & (slot < len(peaks))
        np.maximum.at(peaks, slot[ok], volume.density[ok])
    return np.asarray(peaks * volume.clumping)


def _sections(
    volumes: Sequence[Volume], there: NDArray[np.intp], bottom: float, top: float
) -> tuple[Floats, Floats]:
    """Lowest and highest x and y, (n, 2) each, m, of volumes in a slice."""
    low, high = [], []
    for number in there:
        volume = volumes[number]
        nearest = min(max(volume.centre[2], bottom), top) - volume.centre[2]
        part = np.sqrt(max(0.0, 1.0 - (nearest / volume.half[2]) ** 2))
        narrowed = {
            "box": (1.0, 1.0), "ellipsoid": (part, part), "row along x": (1.0, part),
            "row along y": (part, 1.0),
        }[volume.kind]  # fmt: skip
        reach = volume.half[:2] * np.array(narrowed) + 1e-9
        low.append(volume.centre[:2] - reach)
        high.append(volume.centre[:2] + reach)
    return np.array(low), np.array(high)


def _deepest(low: Floats, high: Floats, weight: Floats) -> float:
    """Greatest sum of the weights of rectangles that share a point."""
    best = 0.0
    for x in np.unique(low[:, 0]):
        over = np.flatnonzero((low[:, 0] <= x) & (high[:, 0] >= x))
        if weight[over].sum() <= best:
            continue
        # Along y: what begins adds its weight, what has ended takes it off; beginnings first.
        at = np.concatenate([low[over, 1], high[over, 1]])
        change = np.concatenate([weight[over], -weight[over]])
        order = np.lexsort((-change, at))
        best = max(best, float(np.cumsum(change[order]).max()))
    return best
