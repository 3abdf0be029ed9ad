"""The box around all plants and the plants in it: what is counted of a canopy as a body."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.parts import CANOPY
from canopysim.matter.planting import sites
from canopysim.transport.arrays import (
    BY_CORRECTIONS,
    BY_LEAVES,
    BY_OTHERS,
    BY_STEMS,
    CanopyArrays,
)
from canopysim.world.sinks import CHOICE, FRUIT, LEAF, ROULETTE, STEM

if TYPE_CHECKING:
    from canopysim.matter.parts import Part
    from canopysim.matter.turbid.volume import Volume
    from canopysim.scene.schema import Scene
    from canopysim.world.layers import LayerTable
    from canopysim.world.sinks import Sink

# The box is larger than its plants by this share of the enclosure, so that rounding leaves no leaf
# outside; 15 micrometres of 1.5 m.
MARGIN = 1e-5
NOWHERE = 1e30
CORNER, EDGE, INNER = "corner", "edge", "inner"


@dataclass(frozen=True)
class PlantPlace:
    """One plant of the canopy.

    Attributes
    ----------
    name : str
        As its mesh is called, such as ``pepper-03``.
    x, y : float, m
        Foot of its stem; the middle of its leaves where it was drawn.
    where : str
        CORNER, EDGE or INNER: how far around it other plants stand.
    leaf_area : float, m2
        One-sided.
    """

    name: str
    x: float
    y: float
    where: str
    leaf_area: float


@dataclass(frozen=True)
class CanopyPlan:
    """What the kernels need of the canopy's box and plants, and what it means.

    Attributes
    ----------
    box, level, sink_kind, facet_plant
        As in `CanopyArrays`.
    plants : tuple of PlantPlace
        In the order of their bins; empty where they are not told apart.
    """

    box: NDArray[np.float32]
    level: NDArray[np.float32]
    sink_kind: NDArray[np.int32]
    facet_plant: NDArray[np.int32]
    plants: tuple[PlantPlace, ...]

    @property
    def n_layer(self) -> int:
        """Layers of the box; 0 where it is not asked for."""
        return max(0, len(self.level) - 1)

    @property
    def first(self) -> list[int]:
        """First bin of each part of `counted`, then the number of bins."""
        n = self.n_layer
        sizes = (8 * n, 2 * len(self.level), n, 4 * n, len(self.plants))
        return [0, *(int(k) for k in np.cumsum(sizes))]

    def open(self, n_channel: int, n_band: int) -> CanopyArrays:
        """Empty tallies for one thread."""
        return CanopyArrays(
            box=self.box,
            level=self.level,
            sink_kind=self.sink_kind,
            facet_plant=self.facet_plant,
            first=np.array(self.first[:-1], np.int64),
            counted=np.zeros((n_channel, self.first[-1], n_band), np.int64),
            point=np.zeros(3, np.float32),
            cell=np.full(1, -1, np.int64),
        )

    def meta(self) -> dict[str, Any]:
        """Plain values for the result."""
        ends = [None if abs(v) >= NOWHERE else float(v) for v in self.box]
        return {
            "box": ends,
            "levels": [float(z) for z in self.level],
            "first": self.first,
            "plants": [asdict(plant) for plant in self.plants],
        }


def canopy_plan(
    scene: Scene,
    sinks: tuple[Sink, ...],
    layers: LayerTable | None,
    plants: list[Part],
    volumes: Sequence[Volume] = (),
) -> CanopyPlan | None:
    """Settle what is counted of the canopy as a body; None where nothing is asked for.

    Parameters
    ----------
    scene : Scene
        Its `also_count` says what.
    sinks : tuple of Sink
        Rows of the books.
    layers : LayerTable or None
        None without a canopy.
    plants : list of Part
        Their triangles are the first of the world.
    volumes : sequence of Volume
        Filled with leaves: they stand in the box, and are no plants.
    """
    asked = scene.also_count
    if layers is None or not (asked.canopy_sides or asked.each_plant):
        return None
    box, level = _box(scene, layers, plants, volumes) if asked.canopy_sides else _no_box()
    places, facet_plant = _plants(scene, plants) if asked.each_plant else _no_plants()
    kinds = {
        LEAF: BY_LEAVES,
        STEM: BY_STEMS,
        FRUIT: BY_STEMS,
        ROULETTE: BY_CORRECTIONS,
        CHOICE: BY_CORRECTIONS,
    }
    return CanopyPlan(
        box=box,
        level=level,
        sink_kind=np.array([kinds.get(sink.kind, BY_OTHERS) for sink in sinks], np.int32),
        facet_plant=facet_plant,
        plants=places,
    )


def _no_box() -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    return np.zeros(4, np.float32), np.zeros(0, np.float32)


def _no_plants() -> tuple[tuple[PlantPlace, ...], NDArray[np.int32]]:
    return (), np.zeros(0, np.int32)


def _box(
    scene: Scene, layers: LayerTable, plants: list[Part], volumes: Sequence[Volume]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Sides of the box around all leaves, stems and fruit, and levels of its layers.

    Between its ends the levels are the very floors by which leaves are booked. Where the
    enclosure's sides repeat the canopy goes on, and has no sides there.
    """
    margin = MARGIN * max(scene.enclosure.size)
    meshes = [p.vertices for p in plants if p.kind in CANOPY and len(p.vertices)]
    low = np.min([*(m.min(0) for m in meshes), *(v.low for v in volumes)], 0) - margin
    high = np.max([*(m.max(0) for m in meshes), *(v.high for v in volumes)], 0) + margin
    repeating = scene.enclosure.repeating
    for axis, face in enumerate(("left", "front")):
        if face in repeating:
            low[axis], high[axis] = -NOWHERE, NOWHERE
    box = np.array([low[0], high[0], low[1], high[1]], np.float32)
    level = np.array([layers.z_top[0], *layers.z_bottom], np.float32)
    level[0] = max(float(level[0]), float(high[2])) + margin
    level[-1] -= np.float32(margin)
    return box, level


def _plants(scene: Scene, plants: list[Part]) -> tuple[tuple[PlantPlace, ...], NDArray[np.int32]]:
    """Plants by name, and the plant of every triangle."""
    stems = {site.name: (site.x, site.y) for site in sites(scene)}
    names = list(dict.fromkeys(p.name for p in plants if p.kind == "leaf"))
    if not names:
        return _no_plants()
    owner = [
        np.full(len(p.faces), names.index(p.name) if p.kind == "leaf" else -1, np.int32)
        for p in plants
    ]
    spots = np.array([stems.get(name) or _middle(plants, name) for name in names])
    where = places_among(spots, scene.enclosure.size, scene.enclosure.repeating)
    return (
        tuple(
            PlantPlace(name, float(x), float(y), place, _leaf_area(plants, name))
            for name, (x, y), place in zip(names, spots, where, strict=True)
        ),
        np.concatenate(owner) if owner else np.zeros(0, np.int32),
    )


def _middle(plants: list[Part], name: str) -> tuple[float, float]:
    points = np.concatenate([p.vertices for p in plants if p.name == name and p.kind == "leaf"])
    x, y, _ = 0.5 * (points.min(0) + points.max(0))
    return float(x), float(y)


def _leaf_area(plants: list[Part], name: str) -> float:
    area = 0.0
    for part in plants:
        if part.name == name and part.kind == "leaf":
            a, b, c = (part.vertices[part.faces[:, k]] for k in range(3))
            area += 0.5 * float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum())
    return area


def places_among(
    spots: NDArray[np.float64], size: tuple[float, float, float], repeating: Any
) -> list[str]:
    """Tell corner, edge and inner plants apart by the widest angle in which no other stands.

    Parameters
    ----------
    spots : numpy.ndarray (n_plant, 2), m
        Where they stand.
    size : (width, depth, height), m
        Of the enclosure.
    repeating : collection of str
        Faces of the enclosure that repeat: the plants beyond them count.

    Returns
    -------
    list of str
        On a rectangular grid that angle is 270° at a corner, 180° along an edge, and at most 90°
        inside; what lies between is parted at 225° and 150°. The ends of a single row are corners,
        the others edges.
    """
    shifts_x = (-size[0], 0.0, size[0]) if "left" in repeating else (0.0,)
    shifts_y = (-size[1], 0.0, size[1]) if "front" in repeating else (0.0,)
    shifts = np.array([(x, y) for x in shifts_x for y in shifts_y])
    everyone = (spots[None] + shifts[:, None]).reshape(-1, 2)
    found = []
    for spot in spots:
        away = everyone - spot
        away = away[np.abs(away).max(1) > 1e-9]
        gap = 360.0
        if len(away):
            turns = np.sort(np.degrees(np.arctan2(away[:, 1], away[:, 0])))
            gap = float(np.diff(turns, append=turns[0] + 360.0).max())
        found.append(CORNER if gap > 225.0 else EDGE if gap > 150.0 else INNER)
    return found
