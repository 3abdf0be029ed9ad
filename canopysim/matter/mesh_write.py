"""Named meshes as files that other programs open: PLY (one coloured mesh) and GLB (named parts)."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.parts import Part

Colour = NDArray[np.float64]


def ply_bytes(parts: Sequence[Part], colours: Mapping[str, Colour], comment: str) -> bytes:
    """One binary PLY mesh of all parts.

    Parameters
    ----------
    parts : sequence of Part
        World frame, m, z up.
    colours : mapping of str to (3,) ndarray
        Red, green, blue, 0 to 1, by the name of a part.
    comment : str
        One line of ASCII for the file's head.

    Returns
    -------
    bytes
        PLY 1.0, little endian; the colour of every face says to which part it belongs.
    """
    vertices = np.concatenate([part.vertices for part in parts]).astype("<f4")
    first = np.cumsum([0, *(len(part.vertices) for part in parts[:-1])])
    n_face = sum(len(part.faces) for part in parts)
    row = np.dtype([("n", "u1"), ("corner", "<i4", 3), ("colour", "u1", 3)])
    faces = np.empty(n_face, row)
    faces["n"] = 3
    faces["corner"] = np.concatenate([p.faces + n for p, n in zip(parts, first, strict=True)])
    faces["colour"] = np.concatenate(
        [np.tile(_eight_bit(colours[part.name]), (len(part.faces), 1)) for part in parts]
    )
    head = [
        "ply",
        "format binary_little_endian 1.0",
        f"comment {comment.encode('ascii', 'replace').decode()}",
        "comment unit: m, z up",
        f"element vertex {len(vertices)}",
        *(f"property float {axis}" for axis in "xyz"),
        f"element face {n_face}",
        "property list uchar int vertex_indices",
        *(f"property uchar {colour}" for colour in ("red", "green", "blue")),
        "end_header\n",
    ]
    return "\n".join(head).encode("ascii") + vertices.tobytes() + faces.tobytes()


def glb_bytes(parts: Sequence[Part], colours: Mapping[str, Colour], comment: str) -> bytes:
    """One GLB file with a named node for each part.

    Parameters
    ----------
    parts, colours, comment
        As for `ply_bytes`; the comment may be any text.

    Returns
    -------
    bytes
        Binary glTF 2.0, m. glTF has y up, so z becomes y and y becomes -z; a scene reads it back
        with ``unit: m`` and ``up: y``, its parts by their names.
    """
    blob = b""
    views: list[dict[str, Any]] = []
    accessors: list[dict[str, Any]] = []
    meshes: list[dict[str, Any]] = []

    def add(array: NDArray[Any], target: int, **accessor: Any) -> int:
        nonlocal blob
        views.append(
            {"buffer": 0, "byteOffset": len(blob), "byteLength": array.nbytes, "target": target}
        )
        blob += array.tobytes()  # items of four bytes: every view starts at a multiple of four
        accessors.append({"bufferView": len(views) - 1, "count": array.size, **accessor})
        return len(accessors) - 1

    for number, part in enumerate(parts):
        x, y, z = part.vertices.astype("<f4").T
        points = np.ascontiguousarray(np.stack((x, z, -y), axis=1))
        place = add(points, 34962, componentType=5126, type="VEC3")
        accessors[place] |= {
            "count": len(points),
            "min": points.min(axis=0).tolist(),
            "max": points.max(axis=0).tolist(),
        }
        corner = add(part.faces.astype("<u4").ravel(), 34963, componentType=5125, type="SCALAR")
        primitive = {"attributes": {"POSITION": place}, "indices": corner, "material": number}
        meshes.append({"name": part.name, "primitives": [primitive]})
    tree = {
        "asset": {"version": "2.0", "generator": "canopysim", "extras": {"comment": comment}},
        "scene": 0,
        "scenes": [{"nodes": list(range(len(parts)))}],
        "nodes": [{"name": part.name, "mesh": k} for k, part in enumerate(parts)],
        "meshes": meshes,
        "materials": [
            {
                "name": part.surface,
                "doubleSided": True,
                "pbrMetallicRoughness": {
                    "baseColorFactor": [*(float(v) for v in colours[part.name]), 1.0],
                    "metallicFactor": 0.0,
                    "roughnessFactor": 0.9,
                },
            }
            for part in parts
        ],
        "accessors": accessors,
        "bufferViews": views,
        "buffers": [{"byteLength": len(blob)}],
    }
    text = json.dumps(tree, ensure_ascii=False).encode("utf-8")
    text += b" " * (-len(text) % 4)
    length = 12 + 8 + len(text) + 8 + len(blob)
    return b"".join(
        (
            struct.pack("<4s2I", b"glTF", 2, length),
            struct.pack("<I4s", len(text), b"JSON"),
            text,
            struct.pack("<I4s", len(blob), b"BIN\0"),
            blob,
        )
    )


def _eight_bit(colour: Colour) -> NDArray[np.uint8]:
    return np.round(255.0 * np.clip(colour, 0.0, 1.0)).astype(np.uint8)
