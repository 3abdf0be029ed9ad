"""The volumes that a scene describes, in their places, with their leaf area."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.planting import ground_area
from canopysim.matter.turbid.heights import beta_heights, even_heights, listed_heights
from canopysim.matter.turbid.inclination import class_angles, ellipsoid_angles, named_angles
from canopysim.matter.turbid.volume import Kind, Volume
from canopysim.scene.schema_volume import Beta

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene
    from canopysim.scene.schema_volume import FilledVolume

Floats = NDArray[np.float64]


def scene_volumes(scene: Scene) -> list[Volume]:
    """All volumes that a scene's canopy describes.

    Parameters
    ----------
    scene : Scene
        A checked one.

    Returns
    -------
    list of Volume
        In the order of the file; several of one entry are called ``box-01``, ``box-02``. The leaf
        area that is stated is met exactly.
    """
    if scene.canopy is None:
        return []
    canopy, enclosure = scene.canopy, scene.enclosure
    ground = ground_area(canopy, enclosure)
    floor = (0.0, 0.0, enclosure.width, enclosure.depth)
    bounds = floor if canopy.planted is None else canopy.planted.bounds
    count: Counter[str] = Counter()
    found: list[Volume] = []
    for entry in canopy.volumes:
        angles = volume_angles(entry)
        places = entry.places(bounds)
        for x, y in places:
            count[entry.shape] += 1
            half = np.array(
                [
                    entry.extent(0, bounds),
                    entry.extent(1, bounds),
                    entry.top - entry.bottom,
                ],
                np.float64,
            )
            half /= 2
            bare = Volume(
                f"{entry.shape}-{count[entry.shape]:02d}", _kind(entry),
                np.array([x, y, (entry.bottom + entry.top) / 2]), half, relative_density(entry),
                angles, entry.leaf, entry.clumping,
            )  # fmt: skip
            if entry.leaf_area is not None:
                wanted = entry.leaf_area
            elif entry.leaf_area_index is not None:
                wanted = entry.leaf_area_index * ground / len(places)
            else:
                assert entry.density is not None
                wanted = entry.density * bare.size
            found.append(filled(bare, wanted))
    return found


def filled(volume: Volume, leaf_area: float) -> Volume:
    """Scale a volume's density so that it holds a leaf area, m2."""
    return replace(volume, density=volume.density * (leaf_area / volume.leaf_area))


def relative_density(entry: FilledVolume) -> Floats:
    """Density of an entry at the heights of a volume, relative to the greatest."""
    if isinstance(entry.by_height, str):
        return even_heights()
    if isinstance(entry.by_height, Beta):
        return beta_heights(entry.by_height.p, entry.by_height.q)
    return listed_heights(entry.by_height)


def volume_angles(entry: FilledVolume) -> Floats:
    """Quantiles of leaf inclination of an entry."""
    if isinstance(entry.angles, str):
        return named_angles(entry.angles)
    if isinstance(entry.angles, float):
        return ellipsoid_angles(entry.angles)
    return class_angles(entry.angles)


def _kind(entry: FilledVolume) -> Kind:
    """Shape of an entry as the kernels know it; a slab is a box."""
    if entry.shape == "row":
        return "row along x" if entry.direction == "width" else "row along y"
    return "ellipsoid" if entry.shape == "ellipsoid" else "box"
