"""What `check` says of leaves with a cuticle: what it mirrors, where the leaf bounds it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from canopysim.matter.cuticle import below_cuticle, mean_reflectance
from canopysim.matter.optics import leaf_values
from canopysim.units import format_share
from canopysim.world.strips import spectra_of

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene
    from canopysim.world.compile import World

SIDES = ("upper", "lower")


def cuticle_lines(scene: Scene, world: World) -> Iterator[str]:
    """Tell each cuticle's share of even light, and in which bands a leaf reflects less than that.

    Parameters
    ----------
    scene : Scene
        A checked scene.
    world : World
        The same, compiled.
    """
    for name, leaf in scene.leaves.items():
        if leaf.cuticle is None:
            continue
        mean = mean_reflectance(leaf.cuticle.index, leaf.cuticle.spread)
        kept = np.min(
            [
                below_cuticle(leaf_values(leaf, scene.bands, light), mean)[1]
                for light in spectra_of(list(world.strips))
            ],
            axis=0,
        )
        text = f"The cuticle of {name} mirrors {format_share(round(mean, 4))} of even light"
        scaled = [
            f"{low:g}–{high:g} nm ({side} side): {format_share(round(float(share), 3))} of that"
            for side, row in zip(SIDES, kept, strict=True)
            for low, high, share in zip(scene.bands[:-1], scene.bands[1:], row, strict=True)
            if share < 1.0
        ]
        if scaled:
            text += (
                f"; where the whole leaf reflects less, it is scaled down to the leaf's own "
                f"reflectance: {', '.join(scaled)}"
            )
        yield f"{text}.\n"
