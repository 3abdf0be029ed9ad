"""The faces of the box as places: surfaces, openings, patches; or the same faces as triangles."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from canopysim.errors import CanopysimError
from canopysim.matter.enclosure import FACES, box_mesh
from canopysim.matter.parts import Part
from canopysim.transport.arrays import OPEN, REPEAT
from canopysim.world.optics import OpticsTable
from canopysim.world.sinks import ESCAPE, FACE, PATCH, Places

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene


def face_places(
    scene: Scene, places: Places, optics: OpticsTable
) -> tuple[list[int], list[int], list[list[float]], list[int]]:
    """Places of the six faces; first patch of each face, rectangles and places of patches."""
    face_place, first, rects, patch_place = [], [0], [], []
    for name in FACES:
        face = scene.enclosure.face(name)
        if name in scene.enclosure.repeating:
            face_place.append(places.add(f"repeating {name}", 0, FACE, face=name, kind=REPEAT))
        elif face.open:
            face_place.append(
                places.add(f"escaped through the {name}", 0, ESCAPE, face=name, kind=OPEN)
            )
        else:
            surface = optics.surface(face.surface or scene.enclosure.lining)
            face_place.append(places.add(name, surface, FACE, face=name))
        for number, patch in enumerate(face.patches, 1):
            low = np.minimum(patch.corner, patch.opposite)
            high = np.maximum(patch.corner, patch.opposite)
            rects.append([*low, *high])
            if patch.open or patch.surface is None:
                end = f"escaped through patch {number} of the {name}"
                patch_place.append(places.add(end, 0, ESCAPE, face=name, kind=OPEN))
            else:
                end = f"patch {number} of the {name} ({patch.surface})"
                patch_place.append(places.add(end, optics.surface(patch.surface), PATCH, face=name))
        first.append(len(rects))
    return face_place, first, rects, patch_place


def wall_parts(scene: Scene, n_triangle: int) -> list[Part]:
    """Give the six faces as triangle meshes that belong to the faces' own places."""
    for name in FACES:
        face = scene.enclosure.face(name)
        if face.open or face.patches or name in scene.enclosure.repeating:
            raise CanopysimError(
                f"the {name} is open, repeats or has patches and cannot be given as triangles; "
                "leave wall_triangles out"
            )
    meshes = box_mesh(np.array(scene.enclosure.size), n_triangle)
    return [
        Part(
            name, "wall", vertices, faces,
            scene.enclosure.face(name).surface or scene.enclosure.lining, solid=True,
        )
        for name, (vertices, faces) in meshes.items()
    ]  # fmt: skip


def room_parts(scene: Scene) -> list[Part]:
    """Give the walls of a drawn room as meshes, each called as the books call it; none for a box.

    What is open has the surface "open".
    """
    room = scene.enclosure.room
    if room is None:
        return []
    return [
        Part(walls.label, "wall", room.vertices, walls.faces, walls.part.surface, solid=True)
        for walls in room.walls
    ]


def wall_places(scene: Scene, walls: list[Part], places: Places, optics: OpticsTable) -> list[int]:
    """Places of walls that are meshes, from `wall_parts` or `room_parts`."""
    room = scene.enclosure.room
    roles = {w.label: w.part.role for w in room.walls} if room is not None else {}
    found = []
    for part in walls:
        role = roles.get(part.name, part.name)
        if room is not None and part.surface == "open":
            end = f"escaped through {part.name}"
            found.append(places.add(end, 0, ESCAPE, face=role, kind=OPEN, solid=True))
        else:
            surface = optics.surface(part.surface)
            found.append(places.add(part.name, surface, FACE, face=role, solid=True))
    return found
