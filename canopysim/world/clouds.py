"""Volumes filled with leaves as arrays: shapes, densities, angles."""

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

F = np.float32
Floats = NDArray[np.float32]
TOUCHING_M = 1e-9
KINDS = {
    "box": CLOUD_BOX,
    "ellipsoid": CLOUD_ELLIPSOID,
    "row along x": CLOUD_ROW_X,
    "row along y": CLOUD_ROW_Y,
}


class CloudArrays(NamedTuple):
    """The fields of `WorldArrays` of these names."""

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
            np.zeros(0, np.int32), np.zeros((0, 6), F), np.zeros((0, N_HEIGHT), F),
            np.zeros((0, N_STEP + 1), F), np.zeros(0, F), np.zeros(0, np.int32),
        )  # fmt: skip
    each = [copy for copy, _ in copies]
    density = np.array([v.density * v.clumping for v in each], F)
    return CloudArrays(
        cloud_kind=np.array([KINDS[v.kind] for v in each], np.int32),
        cloud_shape=np.array([[*v.centre, *v.half] for v in each], F),
        cloud_density=density,
        cloud_cosine=np.array([v.angles for v in each], F),
        cloud_rate=density.max(1),
        cloud_place=np.array([place for _, place in copies], np.int32),
    )


def endless_copies(scene: Scene, volume: Volume) -> list[Volume]:
    """Give a volume, and those of its copies in the next bays that reach into this one."""
    shifts: list[list[float]] = []
    for axis, side in enumerate(("left", "front")):
        period = scene.enclosure.size[axis]
        repeats = side in scene.enclosure.repeating
        shifts.append([0.0])
        if repeats and volume.low[axis] < -TOUCHING_M:
            shifts[axis].append(period)
        if repeats and volume.high[axis] > period + TOUCHING_M:
            shifts[axis].append(-period)
    return [
        volume if x == y == 0.0 else replace(volume, centre=volume.centre + np.array([x, y, 0.0]))
        for x in shifts[0]
        for y in shifts[1]
    ]
