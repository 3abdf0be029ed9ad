"""The mesh file of a drawn room: read, understood, and its size put where a box has its own."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import ValidationError

from canopysim.matter.mesh_file import read_pieces
from canopysim.scene.document import EntryPath
from canopysim.scene.mesh_files import Resolve, mesh_mark, read_mesh
from canopysim.scene.schema_room import RoomMesh
from canopysim.scene.yaml_text import Mapping, Node, Text, plain

if TYPE_CHECKING:
    from canopysim.matter.room import Room

MESH: EntryPath = ("enclosure", "mesh")
SIZES = ("width", "depth", "height")
# What the schema reads where no size came of the mesh; nothing is held against it.
UNKNOWN_M = 100.0


@dataclass(frozen=True, eq=False)
class RoomFile:
    """What came of the mesh of a scene's enclosure.

    Parameters
    ----------
    root : Mapping
        The scene, with the size of the room where it has a mesh.
    room : Room or None
        The room; None for a box, or where something is wrong.
    data : dict of str to bytes
        The file's bytes by the reference as the schema reads it.
    problems : list of (path, message)
        What is wrong with the file and what stands beside it; wrong entries are the schema's.
    """

    root: Mapping
    room: Room | None
    data: dict[str, bytes]
    problems: list[tuple[EntryPath, str]]
    unknown: bool = False
    """Whether there is a mesh of which no size came."""


def read_room(root: Mapping, resolve: Resolve | None, sources: dict[str, str]) -> RoomFile:
    """Read the mesh of a scene's enclosure, if it has one.

    Parameters
    ----------
    root : Mapping
        The scene.
    resolve : callable, optional
        Finds a file from the file that refers to it and the reference as written; None where the
        scene has no folder. It raises ValueError with what is wrong.
    sources : dict of str to str
        Texts that were read, by the name that messages have; a line with the mesh's SHA-256 is
        added.
    """
    place, enclosure = root.entries.get("enclosure", (root.place, None))
    if not isinstance(enclosure, Mapping) or "mesh" not in enclosure.entries:
        return RoomFile(root, None, {}, [])
    problems: list[tuple[EntryPath, str]] = [
        (
            ("enclosure", key),
            "stands beside 'mesh', which has its own walls and size; leave it out",
        )
        for key in (*SIZES, "faces", "repeat")
        if key in enclosure.entries
    ]
    mesh_place, node = enclosure.entries["mesh"]
    room, data, size = None, {}, (UNKNOWN_M,) * 3
    try:
        mesh = RoomMesh.model_validate(plain(node))
    except ValidationError:
        mesh = None  # the schema says what is wrong
    if mesh is not None:
        try:
            content = _content(mesh, node, resolve, sources)
            data = {mesh.file: content}
            room = _understood(mesh, content, problems)
        except ValueError as problem:
            problems.append(((*MESH, "file"), str(problem)))
    if room is not None:
        size = room.size
    entries = {key: entry for key, entry in enclosure.entries.items() if key not in SIZES}
    for key, value in zip(SIZES, size, strict=True):
        own = enclosure.entries.get(key, (mesh_place, node))[0]
        entries[key] = (own, Text(own, f"{Decimal(repr(value)):f} m"))
    whole = Mapping(enclosure.place, entries)
    return RoomFile(Mapping(root.place, {**root.entries, "enclosure": (place, whole)}), room, data,
                    problems, room is None)  # fmt: skip


def _content(mesh: RoomMesh, node: Node, resolve: Resolve | None, sources: dict[str, str]) -> bytes:
    """Read the bytes of the file."""
    if resolve is None:
        raise ValueError("cannot be found for a scene without a folder; load the scene from a file")
    assert isinstance(node, Mapping)
    home = Path(node.entries["file"][0].file)
    content = read_mesh(resolve(home, mesh.file), mesh.file)
    sources[str(home.parent / mesh.file)] = mesh_mark(content)
    return content


def _understood(
    mesh: RoomMesh, content: bytes, problems: list[tuple[EntryPath, str]]
) -> Room | None:
    """Make a room of the file, or say what keeps it from being one."""
    from canopysim.matter.room import RoomProblemsError, understand_room

    name = Path(mesh.file)
    try:
        pieces = read_pieces(content, name.suffix[1:].lower(), name.stem)
    except ValueError as problem:
        raise ValueError(f"{mesh.file} {problem}") from None
    try:
        return understand_room(mesh, pieces)
    except RoomProblemsError as problem:
        problems += [((*MESH, key), text) for key, text in problem.problems]
        return None
