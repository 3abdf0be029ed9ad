"""What leaves do within the scene's bands: their albedo in steps of 10 nm, as each light has it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from canopysim.light.spectrum.averages import narrow_edges
from canopysim.matter.optics import leaf_values

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene
    from canopysim.world.compile import World

STEP_NM = 10.0


def narrow_optics(scene: Scene, world: World, step_nm: float = STEP_NM) -> dict[str, Any]:
    """Divide each channel's photons and its leaves' albedo over narrow bands, nothing traced.

    Parameters
    ----------
    scene, world : Scene, World
        A checked scene and the same compiled.
    step_nm : float
        Width of the narrow bands; edges of the scene's bands cut them.

    Returns
    -------
    dict
        Plain values: ``step_nm``; ``wide``, the band of the scene that each narrow one is part of;
        ``shares`` and ``albedo``, a list for each channel: its photons in each narrow band, and
        the share of them that a leaf reflects or transmits, mean over leaf area and both sides.
        Leaves of meshes and of volumes count alike. Empty without leaves.
    """
    area: dict[str, float] = {}
    for part in world.parts:
        if part.kind == "leaf" and len(part.faces):
            a, b, c = (part.vertices[part.faces[:, k]] for k in range(3))
            size = 0.5 * float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())
            area[part.surface] = area.get(part.surface, 0.0) + size
    for volume in world.volumes:
        area[volume.leaf] = area.get(volume.leaf, 0.0) + volume.leaf_area
    if not sum(area.values()) > 0.0:
        return {}
    edges = narrow_edges(world.edges, step_nm).tolist()
    channel_light = dict(zip(world.arrays.strip_channel.tolist(), world.strips, strict=True))
    shares, albedo = [], []
    for channel in range(len(world.channels)):
        light = channel_light[channel].spectrum
        shares.append(light.divide(edges).scaled().tolist())
        each = np.array(
            [leaf_values(scene.leaves[name], edges, light).sum(1).mean(0) for name in area]
        )
        albedo.append(np.average(each, axis=0, weights=list(area.values())).tolist())
    wide = np.searchsorted(world.edges, edges[:-1], side="right") - 1
    return {"step_nm": step_nm, "wide": wide.tolist(), "shares": shares, "albedo": albedo}
