"""Canopy layers of a scene: heights, leaf area, ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import CanopysimError, SceneError
from canopysim.matter.layers import area_by_layer, layer_edges
from canopysim.matter.parts import CANOPY, Part
from canopysim.matter.planting import ground_area

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene

Array = NDArray[np.float64]


@dataclass(frozen=True)
class LayerTable:
    """Canopy layers, top first.

    Attributes
    ----------
    z_top, z_bottom : numpy.ndarray (n_layer,)
        Heights above the floor, m.
    leaf_area : numpy.ndarray (n_layer,)
        One-sided leaf area, triangles clipped to the layer, m².
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


def layer_table(scene: Scene, plants: list[Part]) -> LayerTable | None:
    """Cut the canopy into layers; None without a canopy."""
    if scene.canopy is None:
        return None
    leaves = [p for p in plants if p.kind == "leaf" and len(p.faces)]
    if not leaves:
        raise CanopysimError("the canopy has no leaves; give at least one mesh of kind leaf")
    z_high = max(float(p.vertices[:, 2].max()) for p in plants if p.kind in CANOPY)
    z_low = min(float(p.vertices[:, 2].min()) for p in leaves)
    try:
        edges = layer_edges(scene.canopy, z_low, z_high)
    except ValueError as problem:
        raise SceneError([scene.problem(("canopy", "layers"), str(problem))]) from None
    area = sum(
        (area_by_layer(p.vertices, p.faces, edges) for p in leaves), np.zeros(len(edges) - 1)
    )
    ground = ground_area(scene.canopy, scene.enclosure)
    top = scene.canopy.height if scene.canopy.height is not None else z_high
    return LayerTable(edges[1:][::-1], edges[:-1][::-1], area, ground, top)
