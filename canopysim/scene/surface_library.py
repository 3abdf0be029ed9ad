"""Surfaces of the library that a scene's plants, pots and nets name without defining them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from canopysim.library.surfaces import SURFACE_NAMES, library_surfaces
from canopysim.scene.schema_enclosure import Surface

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene


def library_surfaces_of(scene: Scene) -> dict[str, Surface]:
    """Surfaces of the library that a scene needs.

    Parameters
    ----------
    scene : Scene
        Its own surfaces win over those of the library.

    Returns
    -------
    dict of str to Surface
        By name; empty where the scene defines all that it names.
    """
    named: list[str] = []
    for plant in scene.plants.values():
        named += [plant.stem, *(bearing.surface for bearing in plant.bears)]
    if scene.canopy is not None:
        for planting in scene.canopy.plantings:
            if planting.pot is not None:
                named += [planting.pot.surface, planting.pot.soil]
        named += [net.surface for net in scene.canopy.nets]
        drawn = (part for mesh in scene.canopy.meshes for part in mesh.parts.values())
        named += [name for part in drawn for word, name in part.stated.items() if word != "leaf"]
    wanted = [n for n in dict.fromkeys(named) if n in SURFACE_NAMES and n not in scene.surfaces]
    return {
        name: Surface.model_validate(
            {"diffuse": library_surfaces()[name].diffuse, "specular": "0 %", "spread": "0 deg"}
        )
        for name in wanted
    }
