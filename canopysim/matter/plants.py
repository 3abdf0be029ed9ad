"""From a scene's canopy to leaf and stem meshes: exact leaf area, all of it inside the box."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import SceneError
from canopysim.matter.bearing import bear
from canopysim.matter.clearance import (
    CLEARANCE,
    grow_inside,
    inside,
    leaves_at,
    room_of,
    settle,
    stems_inside,
)
from canopysim.matter.growth import Growth
from canopysim.matter.leaf_area import enlargements
from canopysim.matter.parts import Part
from canopysim.matter.placing import stalk_mesh
from canopysim.matter.planting import sites
from canopysim.matter.stalks import Faces, join, repeat_faces
from canopysim.matter.stand import place_pots, stretch_nets
from canopysim.matter.turbid.placing import scene_volumes
from canopysim.matter.user_mesh import place_meshes, without_meshes
from canopysim.matter.wrap import wrap_part
from canopysim.units import format_length

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene

Floats = NDArray[np.float64]


def grow_canopy(scene: Scene) -> list[Part]:
    """Grow all plants of a scene.

    Parameters
    ----------
    scene : Scene
        Its canopy, plants and enclosure are read.

    Returns
    -------
    list of Part
        For each plant a leaf part such as ``pepper-03`` and a stem part ``pepper-03-stem`` (stems
        and petioles), then its flowers and fruit by surface, such as ``pepper-03-red-fruit``; pots
        and nets after all plants. Empty if the scene has no canopy. With a stated leaf area index,
        one factor enlarges all blades about their bases so that their one-sided area is that index
        times the ground area; a stated leaf area per plant is met likewise. Last those of meshes,
        which count to the index and keep their area.

    Raises
    ------
    SceneError
        If a stem does not stand inside the enclosure, or a leaf fits at no azimuth.
    """
    canopy = scene.canopy
    if canopy is None:
        return []
    box = np.array([scene.enclosure.width, scene.enclosure.depth, scene.enclosure.height])
    room, repeat = room_of(scene), scene.enclosure.repeat
    plants = [
        grow_inside(site, scene.plants[site.kind], canopy.seed, room) for site in sites(scene)
    ]
    drawn = place_meshes(scene)
    canopy = without_meshes(scene, drawn, sum(v.leaf_area for v in scene_volumes(scene)))
    factors = enlargements(canopy, scene.enclosure, plants)
    aim = "leaf area" if canopy.leaf_area_index is None else "leaf area index"

    parts: list[Part] = []
    problems: list[str] = []
    for plant, factor in zip(plants, factors, strict=True):
        if len(plant.azimuth) == 0:
            where = ("canopy", "plantings", plant.site.planting, "pruned_below")
            problems.append(scene.problem(where, f"leaves no leaf on {_place(plant)}; write less"))
            continue
        settled = settle(plant, factor, room)
        plant, azimuth = settled.growth, settled.azimuth
        borne = bear(plant, azimuth, canopy.seed, room)
        stalks, stalk_faces = join([stalk_mesh(plant, azimuth, factor), *borne.stalks])
        complaint = (
            _stem_outside(plant, room, box)
            or _leaf_outside(plant, settled.stuck, factor, aim, box)
            or _fruit_outside(plant, borne.n_stuck)
            or _petiole_outside(stalks, room, plant)
        )
        if complaint is not None:
            path = ("canopy", "plantings", plant.site.planting)
            problems.append(scene.problem(path, complaint))
            continue
        blades = leaves_at(plant, np.arange(len(azimuth)), azimuth, factor)
        name = plant.site.name
        n_leaf, n_vertex = blades.shape[:2]
        faces = repeat_faces(plant.grid.faces, n_leaf, n_vertex)
        kind = plant.plant
        vertices, n_turned = blades.reshape(-1, 3), len(settled.walled)
        parts.append(Part(name, "leaf", vertices, faces, kind.leaf, False, n_turned))
        # Closed prisms that run into each other. Light that meets the edge at which one turns away
        # may count as inside, by rounding: it is flown again, or a white stem would keep it.
        parts.append(Part(f"{name}-stem", "stem", stalks, stalk_faces, kind.stem, True))
        for surface, borne_here in _by_surface(borne.solids).items():
            solids, solid_faces = join(borne_here)
            its = f"{name}-{surface}"
            parts.append(Part(its, "fruit", solids, solid_faces, surface, True))
    if problems:
        raise SceneError(problems)
    parts += [*place_pots(scene), *stretch_nets(scene)]
    if canopy.wrap:
        axes = tuple(k for k, side in enumerate(("width", "depth")) if side in repeat)
        parts = [wrap_part(part, scene.enclosure.size, axes) for part in parts]
    return parts + drawn


def _stem_outside(plant: Growth, room: Floats, box: Floats) -> str | None:
    """Say what is wrong when a plant's stems do not stand inside the enclosure."""
    if stems_inside(plant, room):
        return None
    stems = np.concatenate([vertices for vertices, _ in plant.stems])
    low, high = stems.min(axis=0), stems.max(axis=0)
    if high[2] > box[2] - CLEARANCE:
        return (
            f"{_place(plant)}: its stem reaches {format_length(high[2])} above the floor and the "
            f"ceiling is at {format_length(box[2])}; lower base, nodes or internode"
        )
    x, y = (f"{format_length(low[k])} to {format_length(high[k])}" for k in range(2))
    return (
        f"{_place(plant)}: its stems take x {x} and y {y} of a floor of {format_length(box[0])} by "
        f"{format_length(box[1])}; move the plant away from the wall or lessen branch_angle"
    )


def _leaf_outside(
    plant: Growth, stuck: NDArray[np.intp], factor: float, aim: str, box: Floats
) -> str | None:
    """Say what is wrong when some leaves of a plant fit nowhere, told by the first of them."""
    if len(stuck) == 0:
        return None
    leaf = stuck[0]
    everywhere = plant.azimuth[leaf] + np.deg2rad(np.arange(360.0))
    vertices = leaves_at(plant, np.full(360, leaf), everywhere, factor)
    others = f" (and {len(stuck) - 1} more of its leaves)" if len(stuck) > 1 else ""
    grown = f", enlarged {factor:.2f} times for the {aim}," if factor > 1.005 else ""
    which = f"{_place(plant)}: leaf {leaf + 1}{others}{grown}"
    lowest, highest = vertices[..., 2].min(), vertices[..., 2].max()
    if lowest < CLEARANCE:
        return (
            f"{which} hangs down to {format_length(lowest)} above the floor, at least "
            f"{format_length(CLEARANCE)} is needed; raise base or first_leaf_height, or lessen "
            "blade_angle, curvature or blade_length"
        )
    if highest > box[2] - CLEARANCE:
        return (
            f"{which} reaches {format_length(highest)} above the floor and the ceiling is at "
            f"{format_length(box[2])}; lower base, nodes or internode"
        )
    reach = np.linalg.norm(vertices[0, :, :2] - plant.node[leaf, :2], axis=1).max()
    return (
        f"{which} reaches {format_length(reach)} from its stem, and no way of turning it keeps it "
        "off the walls; move the plant inwards, or lessen petiole_length, blade_length or "
        f"{aim.replace(' ', '_')}"
    )


def _petiole_outside(stalks: Floats, room: Floats, plant: Growth) -> str | None:
    """Say what is wrong when a petiole that leads to a leaf with room has none itself."""
    if inside(stalks[None], room)[0]:
        return None
    return (
        f"{_place(plant)}: a petiole meets a wall, the floor or the ceiling; move the plant, raise "
        "first_leaf_height or shorten petiole_length"
    )


def _fruit_outside(plant: Growth, n_stuck: int) -> str | None:
    """Say what is wrong when flowers or fruit have no room."""
    if n_stuck == 0:
        return None
    what = "stalk" if n_stuck == 1 else "stalks"
    return (
        f"{_place(plant)}: {n_stuck} {what} with flowers or fruit have no room, however turned; "
        "move the plant inwards, or shorten 'stalk_length'"
    )


def _by_surface(
    solids: list[tuple[str, tuple[Floats, Faces]]],
) -> dict[str, list[tuple[Floats, Faces]]]:
    """Bring together what is of one surface."""
    found: dict[str, list[tuple[Floats, Faces]]] = {}
    for surface, mesh in solids:
        found.setdefault(surface, []).append(mesh)
    return found


def _place(plant: Growth) -> str:
    """Name a plant and where it stands."""
    return f"{plant.site.name} at {format_length(plant.site.x)}, {format_length(plant.site.y)}"
