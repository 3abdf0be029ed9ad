"""Triangles and names out of the bytes of a mesh file: OBJ, PLY, GLB, STL, OFF.

A file is data: nothing that it names is opened, fetched or run, and what it announces is held
against its size before memory is set aside for it.
"""

from __future__ import annotations

import io
import re
import warnings
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.glb_file import bare_glb
from canopysim.units import shown

FORMATS = ("obj", "ply", "glb", "stl", "off")
MOST_FACES = 5_000_000
MOST_PIECES = 20_000
LONGEST_LINE = 100_000
_PLY_ELEMENT = re.compile(r"element\s+(\S+)\s+(\S+)\s*")
_OFF_COUNTS = re.compile(r"\s*([0-9]+)\s+([0-9]+)")
# Names that the reader makes up for meshes without one.
_MADE_UP = re.compile(r"geometry(_[0-9]+)?")


@dataclass(frozen=True, eq=False)
class Piece:
    """A part of a mesh file that has names of its own.

    Parameters
    ----------
    names : tuple of str
        Its object, group, node or material, those that there are; else the file's stem.
    vertices : (n, 3) float64 ndarray
        In the file's own unit and axes.
    faces : (m, 3) int64 ndarray
        Vertex indices.
    """

    names: tuple[str, ...]
    vertices: NDArray[np.float64]
    faces: NDArray[np.int64]


def read_pieces(data: bytes, form: str, stem: str) -> list[Piece]:
    """Read all triangles of a mesh file.

    Parameters
    ----------
    data : bytes
        The whole file.
    form : str
        One of `FORMATS`.
    stem : str
        Name of a piece that the file gives none.

    Returns
    -------
    list of Piece
        At least one; polygons are cut into fans of triangles. Vertices are finite and every face
        names three of them.

    Raises
    ------
    ValueError
        With what is wrong; what is allowed.
    """
    pieces = _read_obj(data, stem) if form == "obj" else _read_by_trimesh(data, form, stem)
    pieces = [piece for piece in pieces if len(piece.faces)]
    if not pieces:
        raise ValueError("holds no triangles; export it as a mesh with faces")
    if sum(len(piece.faces) for piece in pieces) > MOST_FACES:
        raise ValueError(_too_many(sum(len(piece.faces) for piece in pieces)))
    for piece in pieces:
        _check(piece)
    return pieces


def _too_many(n_face: int) -> str:
    return f"holds {n_face} triangles; at most {MOST_FACES}, export it with fewer"


def _check(piece: Piece) -> None:
    """Refuse numbers that are none and faces that name no vertex."""
    if piece.faces.ndim != 2 or piece.faces.shape[1] != 3:
        raise ValueError("has faces that are not triangles; export it as triangles")
    if piece.faces.min() < 0 or piece.faces.max() >= len(piece.vertices):
        raise ValueError(
            f"has a face in {shown(piece.names[0])} that names a vertex which is not there; the "
            "file is damaged, export it again"
        )
    n_bad = int(np.count_nonzero(~np.isfinite(piece.vertices).all(axis=1)))
    if n_bad:
        raise ValueError(
            f"has {n_bad} {'vertex' if n_bad == 1 else 'vertices'} in {shown(piece.names[0])} "
            "that are not finite numbers; repair the mesh and export it again"
        )


def _read_by_trimesh(data: bytes, form: str, stem: str) -> list[Piece]:
    """Hand bytes to trimesh, with counts held against the file before and after."""
    expected = {"ply": _ply_counts, "off": _off_counts}
    counts = expected[form](data) if form in expected else None
    names: dict[str, tuple[str, ...]] = {}
    if form == "glb":
        data, names = bare_glb(data, MOST_FACES, MOST_PIECES)
    elif form == "off" or (form == "stl" and not _is_binary_stl(data)):
        # Comments and names in another encoding are no reason to refuse numbers.
        data = data.decode("utf-8", errors="replace").encode()
    import trimesh

    try:
        with warnings.catch_warnings():
            # Text that is no number is only warned of by what reads it.
            warnings.simplefilter("error")
            # Only bytes are handed over: without a resolver nothing else can be opened.
            scene: Any = trimesh.load_scene(
                io.BytesIO(data), file_type=form, process=False, skip_materials=True
            )
            pieces = [
                Piece(
                    names[node] or (stem,)
                    if form == "glb"
                    else _names(scene.geometry[geometry], geometry, stem),
                    *_moved(scene.geometry[geometry], matrix),
                )
                for node, matrix, geometry in _instances(scene)
            ]
    except (Exception, MemoryError) as problem:
        reason = " ".join(str(problem).split())[:120]
        raise ValueError(
            f"cannot be read as {form.upper()} ({reason or type(problem).__name__}); the file is "
            "damaged or of another kind, export it again"
        ) from None
    if counts is not None:
        _hold_against(counts, scene, pieces)
    return pieces


def _is_binary_stl(data: bytes) -> bool:
    """Tell a binary STL file by its length: 84 bytes, then 50 for every triangle."""
    return len(data) >= 84 and len(data) == 84 + 50 * int.from_bytes(data[80:84], "little")


def _instances(scene: Any) -> list[tuple[str, NDArray[np.float64], str]]:
    """Node, matrix and geometry of everything with faces, in the order of the file."""
    found = []
    for node in sorted(scene.graph.nodes_geometry, key=_in_order):
        matrix, geometry = scene.graph.get(node)
        if hasattr(scene.geometry[geometry], "faces"):
            found.append((node, np.asarray(matrix, dtype=np.float64), geometry))
    return found


def _in_order(node: str) -> tuple[int, str]:
    """Sort names that end in a number by it."""
    match = re.search(r"([0-9]{1,9})$", node)
    return (int(match[1]) if match else -1, node)


def _names(mesh: Any, geometry: str, stem: str) -> tuple[str, ...]:
    """Take the name that the file gives, or its own."""
    for name in (geometry, mesh.metadata.get("name")):
        if name and _MADE_UP.fullmatch(str(name)) is None:
            return (str(name),)
    return (stem,)


def _moved(mesh: Any, matrix: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Put a mesh where its node has it; untouched, to the bit, where that moves nothing."""
    points = np.array(mesh.vertices, dtype=np.float64)
    faces = np.array(mesh.faces, dtype=np.int64)
    if np.array_equal(matrix, np.eye(4)):
        return points, faces
    if np.linalg.det(matrix[:3, :3]) < 0:
        faces = faces[:, ::-1]  # the upper side of a mirrored leaf stays its upper side
    return points @ matrix[:3, :3].T + matrix[:3, 3], faces


def _plausible(counts: tuple[int, int], size: int) -> tuple[int, int]:
    """Refuse counts of vertices and faces that a file of some bytes cannot hold."""
    if counts[1] > MOST_FACES:
        raise ValueError(_too_many(counts[1]))
    if sum(counts) > size:
        raise ValueError(
            f"says that it holds {counts[0]} vertices and {counts[1]} faces, but has only {size} "
            "bytes; the file is damaged, export it again"
        )
    return counts


def _ply_counts(data: bytes) -> tuple[int, int]:
    """Read how many vertices and faces the header of a PLY file announces."""
    head, end, _ = data[:65536].partition(b"end_header")
    if not head.startswith(b"ply") or not end:
        raise ValueError("is not a PLY file: its header is missing or cut off; export it again")
    counts = {"vertex": 0, "face": 0}
    total = 0
    for line in head.decode("ascii", errors="replace").splitlines():
        match = _PLY_ELEMENT.fullmatch(line)
        if match is None:
            continue
        if not match[2].isdecimal() or len(match[2]) > 18:
            raise ValueError(f"announces {shown(match[2])} of {shown(match[1])}; export it again")
        counts[match[1]] = int(match[2])
        total += int(match[2])
    _plausible((total - counts["face"], counts["face"]), len(data))
    return counts["vertex"], counts["face"]


def _off_counts(data: bytes) -> tuple[int, int]:
    """Read how many vertices and faces an OFF file announces."""
    text = re.sub(r"#[^\n]*", "", data.decode("utf-8", errors="replace")).lstrip()
    match = _OFF_COUNTS.match(text, 4 if text.startswith("COFF") else 3)
    if not text.startswith(("OFF", "COFF")) or match is None or len(match[0]) > 40:
        raise ValueError("is not an OFF file: it does not begin with OFF and its counts")
    return _plausible((int(match[1]), int(match[2])), len(data))


def _hold_against(counts: tuple[int, int], scene: Any, pieces: list[Piece]) -> None:
    """Refuse a file that ends before all that it announces."""
    n_face = sum(len(piece.faces) for piece in pieces)
    n_vertex = sum(len(piece.vertices) for piece in pieces)
    # A polygon becomes several triangles, and a corner with two textures two vertices.
    if n_face < counts[1] or n_vertex < min(counts[0], 1) or _short(scene):
        raise ValueError(
            f"announces {counts[0]} vertices and {counts[1]} faces and ends before them, or its "
            "faces differ in their number of corners; export it again, as triangles"
        )


def _short(scene: Any) -> bool:
    """Tell whether a PLY holds fewer vertices than announced, or lists that were read wrongly."""
    for mesh in scene.geometry.values():
        for element in mesh.metadata.get("_ply_raw", {}).values():
            data = element.get("data")
            if data is None:
                if element["length"]:
                    return True
                continue
            if isinstance(data, dict):
                if any(len(column) < element["length"] for column in data.values()):
                    return True
                continue
            if len(data) < element["length"]:
                return True
            for name in data.dtype.names or ():
                # A list that is longer or shorter than the first one shifts all that follow.
                kind = data.dtype[name]
                if kind.names and (data[name]["f0"] != kind["f1"].shape[0]).any():
                    return True
    return False


def _read_obj(data: bytes, stem: str) -> list[Piece]:
    """Read an OBJ file by its lines, so that objects, groups and materials keep their names.

    Only the lines ``v``, ``f``, ``o``, ``g`` and ``usemtl`` count. Negative indices count back from
    the last vertex before the face, as the format has it.
    """
    vertices: list[tuple[float, float, float]] = []
    faces: dict[tuple[str, ...], list[tuple[int, int, int]]] = {}
    names = {"o": "", "g": "", "usemtl": ""}
    current = faces.setdefault((stem,), [])
    n_face = 0
    text = data.decode("utf-8", errors="replace").replace("\\\r\n", " ").replace("\\\n", " ")
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LONGEST_LINE:
            raise ValueError(f"cannot be read as OBJ: line {number} has {len(line)} characters")
        words = line.split()
        if not words:
            continue
        try:
            if words[0] == "v":
                vertices.append((float(words[1]), float(words[2]), float(words[3])))
            elif words[0] == "f":
                corner = [_corner(word, len(vertices)) for word in words[1:]]
                if len(corner) < 3:
                    raise ValueError
                current += [(corner[0], *pair) for pair in pairwise(corner[1:])]
                n_face += len(corner) - 2
                if n_face > MOST_FACES:
                    raise OverflowError
            elif words[0] in names:
                names[words[0]] = " ".join(words[1:])
                if words[0] == "o":
                    names["g"] = ""
                key = tuple(dict.fromkeys(name for name in names.values() if name)) or (stem,)
                current = faces.setdefault(key, [])
                if len(faces) > MOST_PIECES:
                    raise ValueError(f"has more than {MOST_PIECES} named parts; join some of them")
        except OverflowError:
            raise ValueError(_too_many(n_face)) from None
        except (ValueError, IndexError) as problem:
            if str(problem).startswith("has "):
                raise
            raise ValueError(
                f"cannot be read as OBJ: line {number} is {shown(line.strip())}; the file is "
                "damaged or of another kind, export it again"
            ) from None
    points = np.array(vertices, dtype=np.float64).reshape(-1, 3)
    pieces = []
    for key, rows in faces.items():
        if rows:
            used, corners = np.unique(np.array(rows, dtype=np.int64), return_inverse=True)
            pieces.append(Piece(key, points[used], corners.reshape(-1, 3).astype(np.int64)))
    return pieces


def _corner(word: str, n_vertex: int) -> int:
    """Read one corner of an OBJ face, ``7``, ``7/1/3`` or ``-2``, as an index from 0."""
    index = int(word.split("/", 1)[0])
    index = index - 1 if index > 0 else n_vertex + index
    if not 0 <= index < n_vertex or word.startswith("0"):
        raise ValueError
    return index
