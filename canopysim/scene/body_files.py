"""Mesh files of fixtures' bodies: read, understood, their size put where a box has its own."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from pydantic import ValidationError

from canopysim.matter.mesh_file import read_pieces
from canopysim.scene.document import EntryPath
from canopysim.scene.mesh_files import Resolve, mesh_mark, read_mesh
from canopysim.scene.schema_mesh import MeshFile
from canopysim.scene.yaml_text import Mapping, Text, plain

if TYPE_CHECKING:
    from canopysim.matter.body_mesh import DrawnBody

SIZES = ("length", "width", "height")
# What the schema reads where no size came of a mesh; nothing comes of such a scene.
_UNKNOWN_M = 0.1


@dataclass(eq=False)
class BodyFiles:
    """What came of the meshes of fixtures' bodies.

    Parameters
    ----------
    root : Mapping
        The scene, with the sizes of bodies that are meshes.
    bodies : dict of str to DrawnBody
        By the fixture's name.
    data : dict of str to bytes
        The files, by a name of their own.
    problems : list of (path, message)
        What is wrong with the files and what stands beside them.
    """

    root: Mapping
    bodies: dict[str, DrawnBody] = field(default_factory=dict)
    data: dict[str, bytes] = field(default_factory=dict)
    problems: list[tuple[EntryPath, str]] = field(default_factory=list)


def read_bodies(root: Mapping, resolve: Resolve | None, sources: dict[str, str]) -> BodyFiles:
    """Read the meshes of all fixtures' bodies.

    Parameters
    ----------
    root : Mapping
        The scene, with the contents of fixtures' own files in their places.
    resolve : callable, optional
        As for `read_room`.
    sources : dict of str to str
        Texts that were read; a line with each mesh's SHA-256 is added.
    """
    found = BodyFiles(root)
    place, section = root.entries.get("fixtures", (root.place, None))
    if not isinstance(section, Mapping):
        return found
    fixtures = dict(section.entries)
    for name, (key_place, node) in section.entries.items():
        body = node.entries.get("body", (None, None))[1] if isinstance(node, Mapping) else None
        if not isinstance(node, Mapping) or not isinstance(body, Mapping):
            continue
        if "mesh" in body.entries:
            whole = _with_size(name, body, resolve, sources, found)
            entries = {**node.entries, "body": (node.entries["body"][0], whole)}
            fixtures[name] = (key_place, Mapping(node.place, entries))
    found.root = Mapping(
        root.place, {**root.entries, "fixtures": (place, Mapping(section.place, fixtures))}
    ) if fixtures != section.entries else root  # fmt: skip
    return found


def _with_size(
    name: str, body: Mapping, resolve: Resolve | None, sources: dict[str, str], found: BodyFiles
) -> Mapping:
    """Read one body; give its node with the size of its mesh."""
    path: EntryPath = ("fixtures", name, "body")
    found.problems += [
        ((*path, key), "stands beside 'mesh', which has its own size and place; leave it out")
        for key in (*SIZES, "standoff")
        if key in body.entries
    ]
    place, node = body.entries["mesh"]
    size = (_UNKNOWN_M,) * 3
    try:
        mesh = MeshFile.model_validate(plain(node))
    except ValidationError:
        mesh = None  # the schema says what is wrong
    if mesh is not None and isinstance(node, Mapping):
        try:
            if resolve is None:
                raise ValueError(
                    "cannot be found for a scene without a folder; load it from a file"
                )
            home = Path(node.entries["file"][0].file)
            content = read_mesh(resolve(home, mesh.file), mesh.file)
            sources[str(home.parent / mesh.file)] = mesh_mark(content)
            found.data[f"fixtures.{name}.body: {mesh.file}"] = content
            drawn = _understood(mesh, content)
            found.bodies[name] = drawn
            length, width, height = (float(max(v, 1e-5)) for v in drawn.high - drawn.low)
            size = (length, width, height)
        except ValueError as problem:
            found.problems.append(((*path, "mesh", "file"), str(problem)))
    entries = {key: entry for key, entry in body.entries.items() if key not in (*SIZES, "standoff")}
    for key, value in zip(SIZES, size, strict=True):
        own = body.entries.get(key, (place, node))[0]
        entries[key] = (own, Text(own, f"{Decimal(repr(round(value, 9))):f} m"))
    return Mapping(body.place, entries)


def _understood(mesh: MeshFile, content: bytes) -> DrawnBody:
    """Make a body of a file; every problem begins with the file's name."""
    from canopysim.matter.body_mesh import understand_body

    name = Path(mesh.file)
    try:
        return understand_body(mesh, read_pieces(content, name.suffix[1:].lower(), name.stem))
    except ValueError as problem:
        raise ValueError(f"{mesh.file} {problem}") from None
