"""Refuse what does not lie in a drawn room: plants, leaves, fixtures, probes, by name and place."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import SceneError
from canopysim.light.placing import luminous_corners
from canopysim.matter.edges import edges_of, pairs_of_faces
from canopysim.matter.leaks import place_text
from canopysim.matter.planting import sites
from canopysim.matter.turbid.shell import volume_shell
from canopysim.units import format_length, shown
from canopysim.world.sight import Sight

if TYPE_CHECKING:
    from collections.abc import Sequence

    from canopysim.light.placing import PlacedStrip
    from canopysim.matter.parts import Part
    from canopysim.matter.room import Room
    from canopysim.matter.turbid.volume import Volume
    from canopysim.scene.document import EntryPath
    from canopysim.scene.schema import Scene
    from canopysim.world.probes import ProbeTable

Floats = NDArray[np.float64]

TOUCH_M = 1e-6
"""Bodies that share less depth than this with a wall only touch it."""
MOST_TOLD = 20
_SQUARE = np.array([[0, 1], [1, 2], [2, 3], [3, 0], [0, 2]])


def refuse_outside_room(
    scene: Scene,
    plants: list[Part],
    bodies: list[Part],
    strips: list[PlacedStrip],
    probes: tuple[ProbeTable, ...],
    volumes: Sequence[Volume] = (),
) -> None:
    """Raise for everything that is not wholly in the drawn room of a scene.

    Parameters
    ----------
    scene : Scene
        Nothing is looked at where its enclosure is a box.
    plants, bodies : list of Part
        In the world's frame.
    strips : list of PlacedStrip
        Luminous rectangles, those of lights.
    probes : tuple of ProbeTable
        Balls, all of which has to be in the room.
    volumes : sequence of Volume
        Filled with leaves.

    Raises
    ------
    SceneError
        With a sentence for each light, planting and probe.
    """
    room = scene.enclosure.room
    if room is None:
        return
    check = _Check(room, bool(plants or volumes))
    found: dict[EntryPath, str] = {}
    at = {**_plantings(scene), **_meshes(scene)}
    for part in plants:
        name = part.name
        while name not in at and "-" in name:
            name = name.rpartition("-")[0]
        name, path = (name, at[name]) if name in at else (part.name, ("canopy",))
        if path not in found and len(part.faces):
            complaint = check.part(part.vertices, part.faces)
            if complaint:
                found[path] = f"{name} {complaint}; move it, or leave more room"
    entries = _volumes(scene)
    for number, volume in enumerate(volumes):
        path = entries[number] if number < len(entries) else ("canopy", "as_volume")
        complaint = check.part(*volume_shell(volume, TOUCH_M))
        if complaint:
            found.setdefault(
                path, f"{volume.name} {complaint}; move it, or fill a smaller volume with leaves"
            )
    owner = _light_of_body(scene)
    for part, light in zip(bodies, owner, strict=True):
        complaint = check.part(_shrunk(part.vertices), part.faces)
        if complaint:
            found.setdefault(
                ("lights", light), f"the body of {part.name} {complaint}; hang it elsewhere"
            )
    for strip in strips:
        corners = _shrunk(luminous_corners(strip))
        complaint = check.lines(corners, _SQUARE)
        if complaint:
            found.setdefault(
                ("lights", strip.light), f"a luminous strip {complaint}; hang it elsewhere"
            )
    for number, probe in enumerate(probes):
        complaint = check.ball(probe.centre, probe.radius)
        if complaint:
            found[("probes", number)] = f"{complaint}; move it inwards or give it a smaller radius"
    if found:
        lines = [scene.problem(path, text) for path, text in found.items()]
        more = len(lines) - MOST_TOLD
        raise SceneError(lines[:MOST_TOLD] + ([f"and {more} more"] if more > 0 else []))


def _volumes(scene: Scene) -> list[EntryPath]:
    """Entry of every volume that the canopy describes, in their order."""
    if scene.canopy is None:
        return []
    return [
        ("canopy", "volumes", index)
        for index, entry in enumerate(scene.canopy.volumes)
        for _ in entry.places((0.0, 0.0, 1.0, 1.0))
    ]


class _Check:
    """Holds things against the walls of a room."""

    def __init__(self, room: Room, ridges: bool) -> None:
        self._corners = room.vertices[room.faces]
        self._name = [walls.names[k] for walls in room.walls for k in walls.piece]
        self._size = max(room.size)
        self._sight = Sight(self._corners, self._size)
        self._ridges = _ridges(room) if ridges else np.empty((0, 2, 3))

    def lines(self, points: Floats, pairs: NDArray[np.intp]) -> str | None:
        """Say what is wrong with lines between points, which should all be in the room."""
        hit, place = self._sight.between(points[pairs[:, 0]], points[pairs[:, 1]])
        met = np.flatnonzero(hit >= 0)
        if len(met):
            wall = shown(self._name[int(hit[met[0]])])
            return f"reaches through {wall} of the room at {place_text(place[met[0]])}"
        out = np.flatnonzero(~self._sight.inside(points))
        if len(out):
            return f"is outside of the room at {place_text(points[out[0]])}"
        return None

    def part(self, vertices: Floats, faces: NDArray[np.int32]) -> str | None:
        """Say what is wrong with a mesh, which should all be in the room."""
        pairs = edges_of(faces.astype(np.intp)).ends
        used, inverse = np.unique(pairs, return_inverse=True)
        complaint = self.lines(vertices[used], inverse.reshape(-1, 2))
        if complaint or not len(self._ridges):
            return complaint
        # An edge of the walls that points into the room may pass through a face.
        low, high = vertices[used].min(axis=0), vertices[used].max(axis=0)
        near = (self._ridges.min(axis=1) <= high) & (self._ridges.max(axis=1) >= low)
        ridges = self._ridges[near.all(axis=1)]
        if not len(ridges):
            return None
        hit, place = Sight(vertices[faces], self._size).between(ridges[:, 0], ridges[:, 1])
        met = np.flatnonzero(hit >= 0)
        if not len(met):
            return None
        return f"is pierced by an edge of the room's walls at {place_text(place[met[0]])}"

    def ball(self, centre: Floats, radius: float) -> str | None:
        """Say what is wrong with a ball, which should all be in the room."""
        if not self._sight.inside(centre[None])[0]:
            return f"its centre is outside of the room at {place_text(centre)}"
        distance = distance_to_triangles(centre, self._corners)
        nearest = int(distance.argmin())
        beyond = radius - float(distance[nearest])
        if beyond > 1e-9:
            return f"its ball reaches {format_length(beyond)} into {shown(self._name[nearest])}"
        return None


def _ridges(room: Room) -> Floats:
    """Edges at which the walls point into the room, (n, 2, 3) m."""
    faces = room.faces.astype(np.intp)
    edges = edges_of(faces)
    pairs, _ = pairs_of_faces(edges)
    corners = room.vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    between = corners.mean(axis=1)
    # Seen from one face, the other one falls away behind it.
    behind = ((between[pairs[:, 1]] - between[pairs[:, 0]]) * normal[pairs[:, 0]]).sum(axis=1)
    ridges: Floats = room.vertices[edges.ends[edges.uses == 2][behind < -1e-9]]
    return ridges


def _shrunk(points: Floats) -> Floats:
    """Bring points a little towards their middle."""
    middle = points.mean(axis=0)
    away = points - middle
    length = np.linalg.norm(away, axis=1, keepdims=True)
    shrunk: Floats = points - away * np.minimum(1.0, 2 * TOUCH_M / np.maximum(length, 1e-30))
    return shrunk


def _plantings(scene: Scene) -> dict[str, EntryPath]:
    """Entry of every grown plant, by its name."""
    if scene.canopy is None:
        return {}
    return {site.name: ("canopy", "plantings", site.planting) for site in sites(scene)}


def _meshes(scene: Scene) -> dict[str, EntryPath]:
    """Entry of every drawn plant, by its name: counted on from the grown ones of the same name."""
    if scene.canopy is None:
        return {}
    count = Counter(site.kind for site in sites(scene))
    found: dict[str, EntryPath] = {}
    for index, mesh in enumerate(scene.canopy.meshes):
        stem = Path(mesh.file).stem
        for spot in range(len(mesh.positions)):
            count[stem] += 1
            found[f"{stem}-{count[stem]:02d}"] = ("canopy", "meshes", index, "positions", spot)
    return found


def _light_of_body(scene: Scene) -> list[int]:
    """Index of the light that each fixture body belongs to, in the order of the bodies."""
    return [
        index
        for index, light in enumerate(scene.lights)
        if scene.fixtures[light.fixture].body is not None
        for _ in range(light.row.count if light.row is not None else 1)
    ]


def distance_to_triangles(point: Floats, corners: Floats) -> Floats:
    """Distance of a point to each of some triangles (n, 3, 3), m.

    Notes
    -----
    Either the foot on the triangle's plane lies in the triangle, or the nearest point is on one of
    its sides.
    """
    best = np.full(len(corners), np.inf)
    for k in range(3):
        start, along = corners[:, k], corners[:, (k + 1) % 3] - corners[:, k]
        share = ((point - start) * along).sum(axis=1) / (along * along).sum(axis=1)
        foot = start + np.clip(share, 0.0, 1.0)[:, None] * along
        best = np.minimum(best, np.linalg.norm(foot - point, axis=1))
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    height = ((point - corners[:, 0]) * normal).sum(axis=1)
    foot = point - height[:, None] * normal
    over = np.ones(len(corners), dtype=np.bool_)
    for k in range(3):
        side = corners[:, (k + 1) % 3] - corners[:, k]
        over &= (np.cross(side, foot - corners[:, k]) * normal).sum(axis=1) >= 0
    distance: Floats = np.where(over, np.abs(height), best)
    return distance
