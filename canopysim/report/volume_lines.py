"""What `check` says of volumes filled with leaves: size, leaf area, density, angles, clumping."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from canopysim.matter.turbid.inclination import mean_inclination, projection
from canopysim.units import format_share, in_centimetres
from canopysim.world.clouds import endless_copies

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canopysim.matter.turbid.volume import Volume
    from canopysim.scene.schema import Scene
    from canopysim.world.compile import World

TOUCHING_M = 1e-6
SLANTED = 60.0
"""Zenith angle, degrees, of the slanting light whose extinction is told."""


def volume_lines(scene: Scene, world: World) -> list[str]:
    """Tell of every volume what was read, and how leaves in it stand to the light.

    Parameters
    ----------
    scene, world : Scene, World
        A checked scene and the same compiled.

    Returns
    -------
    list of str
        Sentences; empty without volumes.
    """
    if not world.volumes:
        return []
    assert scene.canopy is not None
    lines = []
    for group in _alike(world.volumes):
        lines += [f"{_name(group)}: {line}" for line in _of_group(scene, group)]
    if scene.canopy.as_volume is not None:
        lines.append(
            "doubt: the leaves of plants are traced as volumes, as if they were small and loose; "
            f"'canopysim simplify' tells what that costs (canopy.as_volume: "
            f"{scene.canopy.as_volume})."
        )
    if _overlap(world.volumes):
        lines.append("Where volumes overlap their densities add.")
    return lines


def _overlap(volumes: Sequence[Volume]) -> bool:
    """Whether the boxes around any two volumes share some space."""
    low = np.array([v.low for v in volumes])
    high = np.array([v.high for v in volumes])
    shared = ((low[:, None] < high - TOUCHING_M) & (low + TOUCHING_M < high[:, None])).all(axis=2)
    return bool(np.count_nonzero(shared) > len(volumes))


def _alike(volumes: Sequence[Volume]) -> list[list[Volume]]:
    """Put volumes together that differ in nothing but their place."""
    groups: dict[tuple[object, ...], list[Volume]] = {}
    for v in volumes:
        key = (
            v.kind, v.leaf, v.clumping, v.half.round(9).tobytes(), round(float(v.centre[2]), 9),
            v.density.tobytes(), v.angles.tobytes(), v.name.rstrip("0123456789"),
        )  # fmt: skip
        groups.setdefault(key, []).append(v)
    return list(groups.values())


def _name(group: Sequence[Volume]) -> str:
    """Name of a group: that of one, or of the first and the last."""
    first, last = group[0].name, group[-1].name
    return first if len(group) == 1 else f"{first} to {last}"


def _of_group(scene: Scene, group: Sequence[Volume]) -> list[str]:
    v = group[0]
    size = " x ".join(in_centimetres(float(2 * half)) for half in v.half)
    heights = " to ".join(in_centimetres(float(z)) for z in (v.low[2], v.high[2]))
    each = " each" if len(group) > 1 else ""
    shape = {"box": "a box", "ellipsoid": "an ellipsoid"}.get(v.kind, f"a {v.kind}")
    mean = v.leaf_area / v.size
    greatest = float(v.density.max())
    level = v.density.argmax() / (len(v.density) - 1)
    at = in_centimetres(float(v.low[2] + level * 2 * v.half[2]))
    uneven = f", {greatest:.3g} at most, at {at} cm" if greatest > 1.001 * mean else ""
    lines = [
        f"{shape} of {size} cm (x, y, height), {heights} cm above the floor, of leaf {v.leaf}; "
        f"one-sided leaf area {v.leaf_area:.4g} m²{each}, {mean:.3g} m²/m³ on the average{uneven}.",
    ]
    down, slanting = projection(v.angles, [1.0, math.cos(math.radians(SLANTED))])
    inclined = math.degrees(mean_inclination(v.angles))
    lines.append(
        f"leaves are inclined by {inclined:.3g} deg on the average; to light from straight above "
        f"they show {format_share(round(float(down), 3))} of their area, to light {SLANTED:g} deg "
        f"from the vertical {format_share(round(float(slanting), 3))}."
    )
    if v.clumping != 1.0:
        lines.append(
            f"clumping: light meets {format_share(v.clumping)} of the density. That describes a "
            "measured fall of light with depth; it does not follow from where leaves stand."
        )
    around = [w.name for w in group if len(endless_copies(scene, w)) > 1]
    if around:
        count = f"{len(around)} of the {len(group)} go" if len(group) > 1 else "it goes"
        count = f"{around[0]} goes" if len(around) == 1 < len(group) else count
        lines.append(f"{count} on at the opposite side, where the room repeats.")
    return lines
