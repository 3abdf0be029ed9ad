"""Canopy layers of a scene: heights, leaf area, ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import CanopysimError, SceneError
from canopysim.matter.equal_area import equal_area_edges
from canopysim.matter.layers import area_by_layer, layer_edges
from canopysim.matter.parts import CANOPY, Part
from canopysim.matter.planting import ground_area
from canopysim.matter.turbid.volume import Volume, volume_area_by_layer
from canopysim.scene.schema_layers import EqualLeafArea

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene
    from canopysim.scene.schema_matter import Canopy

Array = NDArray[np.float64]


@dataclass(frozen=True)
class LayerTable:
    """Canopy layers, top first.

    Attributes
    ----------
    z_top, z_bottom : numpy.ndarray (n_layer,)
        Heights above the floor, m.
    leaf_area : numpy.ndarray (n_layer,)
        One-sided leaf area, triangles and volumes clipped to the layer, m².
    ground_area : float
        Planted area, or the floor, m².
    top : float
        Height from which "above canopy" counts, m.
    """

    z_top: Array
    z_bottom: Array
    leaf_area: Array
    ground_area: float
    top: float


def layer_table(scene: Scene, plants: list[Part], volumes: Sequence[Volume]) -> LayerTable | None:
    """Cut the canopy, its meshes and its filled volumes, into layers; None without a canopy."""
    if scene.canopy is None:
        return None
    leaves = [p for p in plants if p.kind == "leaf" and len(p.faces)]
    if not leaves and not volumes:
        raise CanopysimError("the canopy has no leaves; give at least one mesh of kind leaf")
    tops = [float(p.vertices[:, 2].max()) for p in plants if p.kind in CANOPY and len(p.vertices)]
    z_high = max(tops + [float(v.high[2]) for v in volumes])
    bottoms = [float(p.vertices[:, 2].min()) for p in leaves]
    z_low = min(bottoms + [float(v.low[2]) for v in volumes])
    try:
        edges = _edges(scene.canopy, leaves, volumes, z_low, z_high)
    except ValueError as problem:
        raise SceneError([scene.problem(("canopy", "layers"), str(problem))]) from None
    area = sum(
        (area_by_layer(p.vertices, p.faces, edges) for p in leaves), np.zeros(len(edges) - 1)
    )
    area = sum((volume_area_by_layer(v, edges) for v in volumes), area)
    ground = ground_area(scene.canopy, scene.enclosure)
    top = scene.canopy.height if scene.canopy.height is not None else z_high
    return LayerTable(edges[1:][::-1], edges[:-1][::-1], area, ground, top)


def _edges(
    canopy: Canopy, leaves: list[Part], volumes: Sequence[Volume], z_low: float, z_high: float
) -> Array:
    """Heights that part the layers, ascending, m."""
    if not isinstance(canopy.layers, EqualLeafArea):
        return layer_edges(canopy, z_low, z_high)
    corners = np.concatenate([np.zeros((0, 3, 3)), *(p.vertices[p.faces] for p in leaves)])
    return equal_area_edges(corners, canopy.layers.count, z_low, z_high, volumes)
