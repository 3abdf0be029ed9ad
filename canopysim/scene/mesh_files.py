"""The bytes of mesh files that a scene names: bounded, from regular files in its folder."""

from __future__ import annotations

import hashlib
import stat
from collections.abc import Callable
from pathlib import Path

from canopysim.scene.schema_mesh import SUFFIXES
from canopysim.scene.yaml_text import Flaw, Listing, Mapping, Text

LARGEST_MESH = 64 * 1024 * 1024
LARGEST_TOGETHER = 256 * 1024 * 1024
MESH_MARK = "canopysim mesh file; SHA-256 "
"""What stands among a scene's texts instead of a mesh, before its digest."""
Resolve = Callable[[Path, str], Path]


def mesh_bytes(
    root: Mapping, resolve: Resolve | None, sources: dict[str, str], flaws: list[Flaw]
) -> dict[str, bytes]:
    """Read the mesh files of a canopy.

    Parameters
    ----------
    root : Mapping
        The scene.
    resolve : callable, optional
        Finds a file from the file that refers to it and the reference as written; None where the
        scene has no folder. It raises ValueError with what is wrong.
    sources : dict of str to str
        Texts that were read, by the name that messages have; a line with each mesh's SHA-256 is
        added.
    flaws : list of Flaw
        What could not be read; added to.

    Returns
    -------
    dict of str to bytes
        By the reference as the schema reads it.
    """
    canopy = root.entries["canopy"][1] if "canopy" in root.entries else None
    section = canopy.entries.get("meshes") if isinstance(canopy, Mapping) else None
    if section is None or not isinstance(section[1], Listing):
        return {}
    files: dict[str, bytes] = {}
    for number, entry in enumerate(section[1].items, 1):
        place, reference = (
            entry.entries.get("file", (None, None)) if isinstance(entry, Mapping) else (None, None)
        )
        # Anything but a name is refused by the schema.
        if place is None or not isinstance(reference, Text) or not reference.value.strip():
            continue
        name = " ".join(reference.value.split())
        where = f"canopy.meshes[{number}].file: "
        if name in files or not name.lower().endswith(SUFFIXES):
            continue
        if resolve is None:
            what = "cannot be found for a scene without a folder; load the scene from its file"
            flaws.append(Flaw(place, where + what))
            continue
        home = Path(place.file)
        try:
            data = read_mesh(resolve(home, name), name)
            if sum(map(len, files.values())) + len(data) > LARGEST_TOGETHER:
                most = LARGEST_TOGETHER // 2**20
                raise ValueError(f"{name} makes all meshes together larger than {most} MiB")
        except ValueError as problem:
            flaws.append(Flaw(place, f"{where}{problem}"))
            continue
        files[name] = data
        sources[str(home.parent / name)] = mesh_mark(data)
    return files


def mesh_mark(data: bytes) -> str:
    """Give the line that stands for a mesh file among a scene's texts."""
    return f"{MESH_MARK}{hashlib.sha256(data).hexdigest()}\n"


def read_mesh(path: Path, name: str) -> bytes:
    """Read a regular file of bounded size."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise ValueError(f"{name} is not a regular file; name the mesh file itself")
        with path.open("rb") as stream:
            data = stream.read(LARGEST_MESH + 1)
    except OSError as problem:
        raise ValueError(
            f"{name} cannot be read ({problem.strerror}); name a file that can be"
        ) from None
    if len(data) > LARGEST_MESH:
        raise ValueError(f"{name} is too large; at most {LARGEST_MESH // 2**20} MiB")
    if not data:
        raise ValueError(f"{name} is empty; export the mesh again")
    return data
