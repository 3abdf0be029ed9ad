"""From mesh files of a scene to leaf and stem meshes in their places, and what is wrong with them.

Areas are those of the file, in its unit and at its scale: nothing is bent, moved or smoothed.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import SceneError
from canopysim.matter.blade import triangle_areas
from canopysim.matter.clearance import CLEARANCE
from canopysim.matter.mesh_file import Piece, read_pieces
from canopysim.matter.parts import Part, PartKind
from canopysim.matter.planting import ground_area, sites
from canopysim.units import format_length, in_centimetres, shown

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene
    from canopysim.scene.schema_matter import Canopy
    from canopysim.scene.schema_mesh import MeshPlanting

Floats = NDArray[np.float64]
Faces = NDArray[np.int32]

MOST_TRIANGLES = 20_000_000
MOST_NAMED = 12
FARTHEST_M = 100.0
"""Of a vertex from the file's origin: no enclosure is larger."""
SLACK_M = 1e-9
SLIVER = 1e-12
"""Twice the area over the square of the longest side, below which a face is a line or a point."""
KIND_OF_WORD: dict[str, PartKind] = {
    "leaf": "leaf", "stem": "stem", "flower": "fruit", "pot": "pot", "surface": "stem",
}  # fmt: skip
SIDES = (("left wall", "right wall"), ("front", "back"), ("floor", "ceiling"))


@dataclass(frozen=True, eq=False)
class DrawnPart:
    """Some of a mesh, of one matter.

    Parameters
    ----------
    pattern : str
        The pattern of names that chose it.
    word : str
        What it is: "leaf", "stem", "flower", "pot" or "surface".
    surface : str
        A name in ``scene.leaves`` for leaves, else in ``scene.surfaces``.
    names : tuple of str
        First names of the pieces that it is made of.
    vertices, faces : (n, 3) float64 ndarray, m, and (m, 3) int32 ndarray
        About the file's origin, z up.
    """

    pattern: str
    word: str
    surface: str
    names: tuple[str, ...]
    vertices: Floats
    faces: Faces

    @property
    def area(self) -> float:
        """One-sided area, m2."""
        return float(triangle_areas(self.vertices, self.faces).sum())


@dataclass(frozen=True, eq=False)
class Drawn:
    """A mesh file as it was understood.

    Parameters
    ----------
    parts : tuple of DrawnPart
        In the order of the scene's patterns; those that fit nothing are left out.
    idle : tuple of str
        Patterns that fit nothing.
    size : (3,) ndarray, m
        Extent along x, y and z.
    n_degenerate : int
        Faces without area, which were dropped.
    n_duplicate : int
        Faces whose corners lie exactly on those of an earlier face.
    n_boundary : int
        Edges that belong to one face only.
    """

    parts: tuple[DrawnPart, ...]
    idle: tuple[str, ...]
    size: Floats
    n_degenerate: int
    n_duplicate: int
    n_boundary: int


def draw_mesh(scene: Scene, index: int) -> Drawn:
    """Read one mesh of a scene's canopy.

    Parameters
    ----------
    scene : Scene
        Loaded from a file.
    index : int
        Which of ``canopy.meshes``.

    Returns
    -------
    Drawn
        About its own origin, in m, z up.

    Raises
    ------
    SceneError
        If the file cannot be read, or a part of it is of no known matter.
    """
    assert scene.canopy is not None
    mesh = scene.canopy.meshes[index]
    path = ("canopy", "meshes", index)
    name = Path(mesh.file)
    try:
        pieces = read_pieces(scene.mesh_bytes(mesh.file), name.suffix[1:].lower(), name.stem)
    except ValueError as problem:
        raise SceneError([scene.problem((*path, "file"), f"{mesh.file} {problem}")]) from None
    reach = max(float(np.abs(p.vertices).max()) for p in pieces)
    if reach > FARTHEST_M / mesh.metres:
        text = (
            f"{mesh.file} reaches {reach:.4g} from its origin, which 'unit: {mesh.unit}' "
            f"makes more than the {FARTHEST_M:g} m that an enclosure may have; mend 'unit' or "
            "'scale', or the mesh"
        )
        raise SceneError([scene.problem((*path, "unit"), text)])
    chosen: dict[str, list[Piece]] = {pattern: [] for pattern in mesh.parts}
    homeless: list[str] = []
    for piece in pieces:
        pattern = next((p for p in mesh.parts if _fits(piece, p)), None)
        if pattern is None:
            homeless.append("/".join(piece.names))
        else:
            chosen[pattern].append(piece)
    if homeless:
        each = list(dict.fromkeys(homeless))
        more = f" and {len(each) - MOST_NAMED} more" if len(each) > MOST_NAMED else ""
        listed = ", ".join(shown(one) for one in each[:MOST_NAMED])
        text = f"no pattern fits {listed}{more} of {mesh.file}; say what they are, as in "
        text += "'stem*: {stem: green}'"
        raise SceneError([scene.problem((*path, "parts"), text)])
    return _understood(mesh, chosen)


def _fits(piece: Piece, pattern: str) -> bool:
    return any(fnmatchcase(name, pattern) for name in piece.names)


def _understood(mesh: MeshPlanting, chosen: dict[str, list[Piece]]) -> Drawn:
    """Bring pieces to metres and z up, drop what has no area, and count what is doubtful."""
    parts: list[DrawnPart] = []
    n_degenerate = 0
    for pattern, pieces in chosen.items():
        if not pieces:
            continue
        first = np.cumsum([0, *(len(piece.vertices) for piece in pieces[:-1])])
        vertices = np.concatenate([piece.vertices for piece in pieces]) * mesh.metres
        if mesh.up == "y":
            vertices = np.stack((vertices[:, 0], -vertices[:, 2], vertices[:, 1]), axis=1)
        joined = [p.faces + n for p, n in zip(pieces, first, strict=True)]
        faces = np.concatenate(joined).astype(np.int32)
        flat = _degenerate(vertices, faces)
        n_degenerate += int(flat.sum())
        ((word, surface),) = mesh.parts[pattern].stated.items()
        names = tuple(dict.fromkeys(piece.names[0] for piece in pieces))
        # What no face uses would still count as a canopy's top.
        used, corner = np.unique(faces[~flat], return_inverse=True)
        kept: Faces = corner.reshape(-1, 3).astype(np.int32)
        parts.append(DrawnPart(pattern, word, surface, names, vertices[used], kept))
    corners = np.concatenate([part.vertices[part.faces] for part in parts])
    n_duplicate, n_boundary = _neighbours(corners)
    reach = corners.reshape(-1, 3)
    size = np.ptp(reach, axis=0) if len(reach) else np.zeros(3)
    idle = tuple(pattern for pattern, pieces in chosen.items() if not pieces)
    return Drawn(tuple(parts), idle, size, n_degenerate, n_duplicate, n_boundary)


def _degenerate(vertices: Floats, faces: Faces) -> NDArray[np.bool_]:
    """Mark faces that are a line or a point."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    longest = np.max([((p - q) ** 2).sum(1) for p, q in ((a, b), (b, c), (c, a))], axis=0)
    flat: NDArray[np.bool_] = 2.0 * triangle_areas(vertices, faces) <= SLIVER * longest
    return flat


def _neighbours(corners: Floats) -> tuple[int, int]:
    """Count faces that lie exactly on others, and edges of one face; corners (n, 3, 3)."""
    if len(corners) == 0:
        return 0, 0
    _, index = np.unique(corners.reshape(-1, 3) + 0.0, axis=0, return_inverse=True)
    faces = np.sort(index.reshape(-1, 3), axis=1)
    n_duplicate = len(faces) - len(np.unique(faces, axis=0))
    edges = np.concatenate((faces[:, :2], faces[:, 1:], faces[:, ::2]))
    _, uses = np.unique(edges, axis=0, return_counts=True)
    return n_duplicate, int(np.count_nonzero(uses == 1))


def place_meshes(scene: Scene) -> list[Part]:
    """Put all meshes of a scene's canopy where they stand.

    Parameters
    ----------
    scene : Scene
        With a canopy.

    Returns
    -------
    list of Part
        For each place the leaf parts, one for each kind of leaf and all called after the file and
        a running number such as ``plant-03``, then the others such as ``plant-03-stem``. All are
        shells: light may come in where a mesh is not closed.

    Raises
    ------
    SceneError
        For files that cannot be read, parts of no known matter, more than `MOST_TRIANGLES`, and
        plants that stick out of the enclosure, with the place and by how much.
    """
    canopy = scene.canopy
    assert canopy is not None
    box = np.array([scene.enclosure.width, scene.enclosure.depth, scene.enclosure.height])
    count = Counter(site.kind for site in sites(scene))  # no mesh is called as a grown plant is
    parts: list[Part] = []
    problems: list[str] = []
    n_triangle = 0
    for index, mesh in enumerate(canopy.meshes):
        path = ("canopy", "meshes", index)
        try:
            drawn = draw_mesh(scene, index)
        except SceneError as problem:
            problems += problem.problems
            continue
        n_triangle += sum(len(part.faces) for part in drawn.parts) * len(mesh.positions)
        if n_triangle > MOST_TRIANGLES:
            text = f"makes {n_triangle} triangles; at most {MOST_TRIANGLES}: plant fewer"
            problems.append(scene.problem((*path, "positions"), text))
            break
        turns = mesh.turn * len(mesh.positions) if len(mesh.turn) == 1 else mesh.turn
        stem = Path(mesh.file).stem
        for spot, (place, turn) in enumerate(zip(mesh.positions, turns, strict=True)):
            count[stem] += 1
            name = f"{stem}-{count[stem]:02d}"
            placed = [_placed(part, place, turn, mesh.base) for part in drawn.parts]
            complaint = _outside(name, place, placed, drawn, box)
            if complaint is not None:
                problems.append(scene.problem((*path, "positions", spot), complaint))
                continue
            parts += _merged(name, drawn.parts, placed)
    if problems:
        raise SceneError(problems)
    return parts


def without_meshes(scene: Scene, meshes: list[Part], volume_area: float = 0.0) -> Canopy:
    """Leave to the grown plants what meshes and volumes leave of a stated leaf area index.

    Parameters
    ----------
    scene : Scene
        With a canopy.
    meshes : list of Part
        From `place_meshes`; their area counts and stays as it is.
    volume_area : float, m2
        Leaf area of filled volumes, which counts likewise.

    Returns
    -------
    Canopy
        The scene's, with the index that is left for grown plants.

    Raises
    ------
    SceneError
        If nothing is left for them.
    """
    canopy = scene.canopy
    assert canopy is not None
    if canopy.leaf_area_index is None:
        return canopy
    leaves = [part for part in meshes if part.kind == "leaf"]
    area = sum(float(triangle_areas(part.vertices, part.faces).sum()) for part in leaves)
    area += volume_area
    index = area / ground_area(canopy, scene.enclosure)
    if index >= canopy.leaf_area_index:
        kept = " and ".join(
            name for name, some in (("meshes", leaves), ("volumes", canopy.volumes)) if some
        )
        text = (
            f"{canopy.leaf_area_index:g} leaves nothing for the grown plants: the {kept} alone, "
            f"which keep their leaf area, make {index:.3g}; write more, or leave it out"
        )
        raise SceneError([scene.problem(("canopy", "leaf_area_index"), text)])
    return canopy.model_copy(update={"leaf_area_index": canopy.leaf_area_index - index})


def _placed(part: DrawnPart, place: tuple[float, float], turn: float, base: float) -> Floats:
    """Turn a part about the vertical, then put its origin in its place."""
    x, y, z = part.vertices.T
    cos, sin = math.cos(turn), math.sin(turn)
    return np.stack((cos * x - sin * y + place[0], sin * x + cos * y + place[1], z + base), axis=1)


def _merged(name: str, drawn: tuple[DrawnPart, ...], placed: list[Floats]) -> list[Part]:
    """Join what is of one matter; leaves first."""
    groups: dict[tuple[PartKind, str], list[tuple[Floats, Faces]]] = {}
    for part, vertices in zip(drawn, placed, strict=True):
        if len(part.faces):
            key = (KIND_OF_WORD[part.word], part.surface)
            groups.setdefault(key, []).append((vertices, part.faces))
    parts = []
    for (kind, surface), meshes in sorted(groups.items(), key=lambda item: item[0][0] != "leaf"):
        first = np.cumsum([0, *(len(vertices) for vertices, _ in meshes[:-1])])
        vertices = np.concatenate([vertices for vertices, _ in meshes])
        faces = np.concatenate([f + n for (_, f), n in zip(meshes, first, strict=True)])
        called = name if kind == "leaf" else f"{name}-{kind}"
        parts.append(Part(called, kind, vertices, faces.astype(np.int32), surface, False))
    return parts


def _outside(
    name: str, place: tuple[float, float], placed: list[Floats], drawn: Drawn, box: Floats
) -> str | None:
    """Say where a plant sticks out of the enclosure, and by how much."""
    used = [v[p.faces].reshape(-1, 3) for v, p in zip(placed, drawn.parts, strict=True)]
    reach = np.concatenate(used)
    if len(reach) == 0:
        return None
    low, high = reach.min(axis=0), reach.max(axis=0)
    found = []
    for axis, sides in enumerate(SIDES):
        for side, room in zip(sides, (low[axis], box[axis] - high[axis]), strict=True):
            if room < 0:
                found.append(f"sticks {format_length(float(-room))} out through the {side}")
            elif room < CLEARANCE - SLACK_M:
                found.append(
                    f"comes within {format_length(float(room))} of the {side}, where "
                    f"{format_length(CLEARANCE)} must be free"
                )
    if not found:
        return None
    size = " x ".join(in_centimetres(float(v)) for v in drawn.size)
    spot = f"{format_length(place[0])}, {format_length(place[1])}"
    return (
        f"{name} at {spot} {' and '.join(found)}; it is {size} cm large: if that is right, move "
        "it, turn it, or write 'base' or 'scale'; if not, mend 'unit' or 'up'"
    )
