"""A drawn room: from the triangles of a mesh file to closed walls whose normals point inwards."""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.blade import triangle_areas
from canopysim.matter.edges import Indices, edges_of, flat_faces, near_corners, same_corners
from canopysim.matter.leaks import find_leaks, named
from canopysim.matter.shells import ShellProblemError, turn_inwards
from canopysim.units import format_length, shown

if TYPE_CHECKING:
    from canopysim.matter.mesh_file import Piece
    from canopysim.scene.schema_room import RoomMesh, RoomPart

Floats = NDArray[np.float64]
Faces = NDArray[np.int32]

SMALLEST_M, LARGEST_M = 0.01, 100.0
MOST_TOLD = 6
"""Leaks that are told one by one."""
# Ends that the books have whatever the room is like.
TAKEN = ("leaves", "stems", "fixture bodies", "untraced", "roulette", "choice", "beyond the walls")
# What is chosen by a pattern that is nothing but stars.
EVERYTHING = {"wall": "walls", "floor": "floor", "ceiling": "ceiling"}


@dataclass(frozen=True, eq=False)
class Walls:
    """Faces of a room that one pattern of names chose.

    Parameters
    ----------
    label : str
        What the books call them: the pattern without its stars.
    pattern : str
        As the scene has it.
    part : RoomPart
        What they are, and of which surface.
    names : tuple of str
        First names of the pieces in them.
    faces : (m, 3) int32 ndarray
        Into the room's vertices, normals into the room.
    piece : (m,) int ndarray
        Which of the names each face has.
    area : float
        m2.
    """

    label: str
    pattern: str
    part: RoomPart
    names: tuple[str, ...]
    faces: Faces
    piece: Indices
    area: float


@dataclass(frozen=True, eq=False)
class Room:
    """A room as it was understood.

    Parameters
    ----------
    vertices : (n, 3) float64 ndarray, m
        World frame: the lowest corner of the box round the room is the origin.
    walls : tuple of Walls
        In the order of the scene's patterns; those that fit nothing are left out.
    idle : tuple of str
        Patterns that fit nothing.
    size : (3,) tuple of float, m
        Of the box round it.
    moved : (3,) ndarray, m
        From the file's origin to the room's.
    floor_area : float
        Of the parts that are floor, seen from above, m2.
    volume : float
        m3, without the bodies that stand in it.
    n_body : int
        Closed bodies that stand in it.
    n_degenerate, n_duplicate, n_turned, n_welded : int
        Faces without area and faces lying exactly on others, both left out; faces that were turned
        round; corners that were moved onto others within the rounding of a file.
    """

    vertices: Floats
    walls: tuple[Walls, ...]
    idle: tuple[str, ...]
    size: tuple[float, float, float]
    moved: Floats
    floor_area: float
    volume: float
    n_body: int
    n_degenerate: int
    n_duplicate: int
    n_turned: int
    n_welded: int

    @property
    def faces(self) -> Faces:
        """Of all walls, one after the other."""
        return np.concatenate([walls.faces for walls in self.walls])


class RoomProblemsError(ValueError):
    """What is wrong with a room: sentences by the entry of `RoomMesh` that they belong to."""

    def __init__(self, problems: list[tuple[str, str]]) -> None:
        super().__init__(problems[0][1])
        self.problems = problems


def understand_room(mesh: RoomMesh, pieces: list[Piece]) -> Room:
    """Make a room of the pieces of its file.

    Parameters
    ----------
    mesh : RoomMesh
        Unit, axis and parts, as the scene states them.
    pieces : list of Piece
        What its file holds.

    Raises
    ------
    RoomProblemsError
        For parts of no known matter, a wrong size, no floor, and everything that is not closed,
        with its place.
    """
    size = max(float(np.ptp(np.concatenate([p.vertices[p.faces].reshape(-1, 3) for p in pieces]),
                            axis=0).max()), 0.0) * mesh.metres  # fmt: skip
    if not SMALLEST_M <= size <= LARGEST_M:
        text = (
            f"{mesh.file} is {format_length(size)} large if 1 in it is 1 {mesh.unit}; allowed is "
            f"{format_length(SMALLEST_M)} to {format_length(LARGEST_M)}: mend 'unit' or 'scale'"
        )
        raise RoomProblemsError([("unit", text)])
    chosen, idle = _chosen(mesh, pieces)
    soup = _Soup.of(mesh, pieces, chosen)
    problems = [] if any(p.role == "floor" for p in soup.parts) else [
        ("parts", f"no part of {mesh.file} is the floor; say which is, as in '{{floor: tray}}'")
    ]  # fmt: skip
    soup, n_degenerate, n_duplicate, n_welded = _cleaned(mesh, soup)
    edges = edges_of(soup.faces)
    leaks = find_leaks(soup.vertices, edges, [soup.names[k] for k in soup.piece])
    for leak in leaks[:MOST_TOLD]:
        problems.append(("file", f"{mesh.file} is not closed {leak.text}"))
    if len(leaks) > MOST_TOLD:
        problems.append(("file", f"{mesh.file} is not closed in {len(leaks) - MOST_TOLD} more "
                                 "places; mend these first"))  # fmt: skip
    if problems:
        raise RoomProblemsError(problems)
    try:
        shells = turn_inwards(soup.vertices, soup.faces, edges)
    except ShellProblemError as problem:
        raise RoomProblemsError([("file", f"{mesh.file} {problem}")]) from None
    faces = np.where(shells.turned[:, None], soup.faces[:, ::-1], soup.faces)
    return _room(mesh, soup, faces.astype(np.int32), idle, shells.volume, shells.n_body,
                 (n_degenerate, n_duplicate, int(shells.turned.sum()), n_welded))  # fmt: skip


def _chosen(mesh: RoomMesh, pieces: list[Piece]) -> tuple[list[str], tuple[str, ...]]:
    """Pattern of each piece, and the patterns that fit nothing."""
    found: list[str | None] = [
        next((p for p in mesh.parts if any(fnmatchcase(n, p) for n in piece.names)), None)
        for piece in pieces
    ]
    homeless = tuple(dict.fromkeys(
        "/".join(piece.names) for piece, pattern in zip(pieces, found, strict=True)
        if pattern is None
    ))  # fmt: skip
    if homeless:
        text = (
            f"no pattern fits {named(homeless, 12)} of {mesh.file}; say what they are, as in "
            "'wall*: {wall: film}'"
        )
        raise RoomProblemsError([("parts", text)])
    return [p for p in found if p is not None], tuple(p for p in mesh.parts if p not in found)


@dataclass(frozen=True, eq=False)
class _Soup:
    """All faces of a room with the piece that each is of; pieces in the order of the patterns."""

    vertices: Floats
    faces: Indices
    piece: Indices  # (m,)
    names: tuple[str, ...]  # of each piece
    patterns: tuple[str, ...]  # of each piece
    parts: tuple[RoomPart, ...]  # of each piece
    moved: Floats

    @staticmethod
    def of(mesh: RoomMesh, pieces: list[Piece], chosen: list[str]) -> _Soup:
        """Bring the pieces to metres, z up and the corner of the box round them."""
        rank = {pattern: k for k, pattern in enumerate(mesh.parts)}
        order = sorted(range(len(pieces)), key=lambda k: rank[chosen[k]])
        pieces, chosen = [pieces[k] for k in order], [chosen[k] for k in order]
        first = np.cumsum([0, *(len(piece.vertices) for piece in pieces[:-1])])
        vertices = np.concatenate([piece.vertices for piece in pieces]) * mesh.metres
        if mesh.up == "y":
            vertices = np.stack((vertices[:, 0], -vertices[:, 2], vertices[:, 1]), axis=1)
        faces = np.concatenate([p.faces + n for p, n in zip(pieces, first, strict=True)])
        low = vertices[np.unique(faces)].min(axis=0)
        return _Soup(
            vertices=vertices - low,
            faces=faces,
            piece=np.repeat(np.arange(len(pieces)), [len(p.faces) for p in pieces]),
            names=tuple(piece.names[0] for piece in pieces),
            patterns=tuple(chosen),
            parts=tuple(mesh.parts[pattern] for pattern in chosen),
            moved=-low + 0.0,
        )

    def kept(self, faces: Indices, keep: NDArray[np.bool_]) -> _Soup:
        """Take other corners, and leave some faces out."""
        return _Soup(self.vertices, faces[keep], self.piece[keep], self.names, self.patterns,
                     self.parts, self.moved)  # fmt: skip


def _cleaned(mesh: RoomMesh, soup: _Soup) -> tuple[_Soup, int, int, int]:
    """Make corners in one place one, and leave out faces without area and repeated ones.

    Returns the soup, and how many faces had no area, how many lay on others, and how many corners
    were moved by a rounding.
    """
    faces = same_corners(soup.vertices)[soup.faces]
    n_welded = 0
    if (edges_of(faces).uses == 1).any():
        near = near_corners(soup.vertices)[faces]
        n_welded = len(np.unique(faces[near != faces]))
        faces = near
    flat = flat_faces(soup.vertices, faces)
    soup = soup.kept(faces, ~flat)
    _, first, which = np.unique(
        np.sort(soup.faces, axis=1), axis=0, return_index=True, return_inverse=True
    )
    original = first[which.ravel()]
    repeated = original != np.arange(len(original))
    foreign = [
        (soup.names[soup.piece[original[k]]], soup.names[soup.piece[k]], k)
        for k in np.flatnonzero(repeated)
        if soup.parts[soup.piece[original[k]]] != soup.parts[soup.piece[k]]
    ]
    if foreign:
        one, other, k = foreign[0]
        where = soup.vertices[soup.faces[k]].mean(axis=0)
        at = ", ".join(f"{a} {v:.4g} m" for a, v in zip("xyz", where, strict=True))
        text = (
            f"{len(foreign)} faces of {shown(one)} and {shown(other)} of {mesh.file} lie exactly "
            f"on each other, as at {at}; delete those of one"
        )
        raise RoomProblemsError([("file", text)])
    return soup.kept(soup.faces, ~repeated), int(flat.sum()), int(repeated.sum()), n_welded


def _room(
    mesh: RoomMesh,
    soup: _Soup,
    faces: Faces,
    idle: tuple[str, ...],
    volume: float,
    n_body: int,
    counts: tuple[int, int, int, int],
) -> Room:
    """Sort the faces by pattern, and measure."""
    labels = room_labels(mesh.parts)
    walls = []
    floor_area = 0.0
    for pattern, part in mesh.parts.items():
        mine = [k for k, p in enumerate(soup.patterns) if p == pattern]
        own = np.flatnonzero(np.isin(soup.piece, mine))
        if not len(own):
            continue
        area = triangle_areas(soup.vertices, faces[own])
        if part.role == "floor":
            a, b, c = (soup.vertices[faces[own, k]] for k in range(3))
            floor_area += float(np.abs(np.cross(b - a, c - a)[:, 2]).sum()) / 2
        names = tuple(dict.fromkeys(soup.names[k] for k in mine))
        index = np.array([names.index(soup.names[k]) for k in range(mine[0], mine[-1] + 1)])
        walls.append(
            Walls(labels[pattern], pattern, part, names, faces[own],
                  index[soup.piece[own] - mine[0]], float(area.sum()))
        )  # fmt: skip
    used = soup.vertices[np.unique(faces)]
    # Nanometres are rounding: 240 cm are 2.4 m.
    width, depth, height = (round(float(v), 9) for v in used.max(axis=0))
    return Room(soup.vertices, tuple(walls), idle, (width, depth, height), soup.moved,
                floor_area, volume, n_body, *counts)  # fmt: skip


def room_labels(parts: dict[str, RoomPart]) -> dict[str, str]:
    """Name the parts of each pattern as the books do: short where that is clear."""
    short = {p: p.strip("*?-_. ") or EVERYTHING[part.role] for p, part in parts.items()}
    seen = list(short.values())
    return {
        pattern: label
        if seen.count(label) == 1 and label not in TAKEN
        else f"{EVERYTHING[parts[pattern].role]} {pattern}"
        for pattern, label in short.items()
    }
