"""Leaf area as stated: by how much the blades of each plant are enlarged to meet it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from canopysim.matter.planting import ground_area

if TYPE_CHECKING:
    from canopysim.matter.growth import Growth
    from canopysim.scene.schema_enclosure import Enclosure
    from canopysim.scene.schema_matter import Canopy


def enlargements(canopy: Canopy, enclosure: Enclosure, plants: Sequence[Growth]) -> list[float]:
    """Factor of every plant's blade lengths and widths.

    Parameters
    ----------
    canopy : Canopy
        With a leaf area index, with a mean leaf area per plant for all of it or for some plantings,
        or with neither.
    enclosure : Enclosure
        Its floor is the ground where no planted area is stated.
    plants : sequence of Growth
        As they grow by their stated lengths.

    Returns
    -------
    list of float
        One for each plant, equal for all plants that a stated area counts, so that what makes one
        plant larger than another is kept and the stated sum is met exactly; 1 where none is stated.
    """
    if canopy.leaf_area_index is not None:
        wanted = canopy.leaf_area_index * ground_area(canopy, enclosure)
        return [_factor(wanted, plants)] * len(plants)
    if canopy.leaf_area is not None:
        return [_factor(canopy.leaf_area * len(plants), plants)] * len(plants)
    of_planting: dict[int, float] = {}
    for number, planting in enumerate(canopy.plantings):
        if planting.leaf_area is not None:
            its = [plant for plant in plants if plant.site.planting == number]
            of_planting[number] = _factor(planting.leaf_area * len(its), its)
    return [of_planting.get(plant.site.planting, 1.0) for plant in plants]


def _factor(wanted: float, plants: Sequence[Growth]) -> float:
    """Enlargement with which plants have a wanted leaf area together, m2."""
    return float(np.sqrt(wanted / sum(plant.leaf_area() for plant in plants)))
