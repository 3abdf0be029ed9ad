"""Checks of leaf area: it is stated in one way."""

from collections.abc import Iterator

from canopysim.scene.draft import Problem
from canopysim.scene.schema_matter import Canopy


def check_leaf_area(canopy: Canopy) -> Iterator[Problem]:
    """Check that a canopy's leaf area is stated once: for the ground, all plants or a planting."""
    whole = [key for key in ("leaf_area_index", "leaf_area") if getattr(canopy, key) is not None]
    if len(whole) == 2:
        yield (
            ("canopy", "leaf_area"),
            "stands beside 'leaf_area_index'; write the area of a plant or the index, not both",
        )
    for number, planting in enumerate(canopy.plantings):
        if planting.leaf_area is not None and whole:
            yield (
                ("canopy", "plantings", number, "leaf_area"),
                f"stands under a canopy with '{whole[0]}', which scales all blades; write one of "
                "the two",
            )
