"""A GLB file stripped to its triangles: nothing is left in it that refers, compresses or draws."""

from __future__ import annotations

import json
import struct
from typing import Any

from canopysim.units import shown

_MAGIC, _JSON, _BINARY = 0x46546C67, 0x4E4F534A, 0x004E4942
# Numbers in an item, and bytes of a number by its type: indices are counts, positions are floats.
_ITEMS = {"SCALAR": (1, {5121: 1, 5123: 2, 5125: 4}), "VEC3": (3, {5126: 4})}
_TRIANGLES, _STRIP, _FAN = 4, 5, 6
LARGEST_TREE = 8 * 1024 * 1024
MOST_NODES = 20_000
DEEPEST = 64
# What may be required without changing where triangles are.
_HARMLESS = {"KHR_materials_unlit", "KHR_texture_transform"}


def bare_glb(
    data: bytes, most_faces: int, most_pieces: int
) -> tuple[bytes, dict[str, tuple[str, ...]]]:
    """Rewrite a GLB file so that one node draws one mesh of one primitive.

    Parameters
    ----------
    data : bytes
        The whole file.
    most_faces, most_pieces : int
        Most triangles and named parts, over all nodes that draw a mesh.

    Returns
    -------
    data : bytes
        A GLB file with positions and indices only; its nodes are called ``n0``, ``n1``, ...
    names : dict of str to tuple of str
        For every drawing node the names that the file gave to node, mesh and material, if any.

    Raises
    ------
    ValueError
        With what is wrong; what is allowed.
    """
    tree, blob = _chunks(data)
    try:
        return _rewritten(tree, blob, most_faces, most_pieces)
    except (KeyError, IndexError, TypeError, AttributeError, OverflowError):
        raise ValueError(
            "cannot be read as GLB: its description contradicts itself; export it again"
        ) from None


def _chunks(data: bytes) -> tuple[dict[str, Any], bytes]:
    """Part a file into its description and its numbers."""
    if len(data) < 20 or struct.unpack_from("<I", data)[0] != _MAGIC:
        raise ValueError("is not a GLB file; export it as binary glTF 2.0")
    _, version, length, size, kind = struct.unpack_from("<5I", data)
    if version != 2 or kind != _JSON:
        raise ValueError("is not a GLB file of version 2; export it as binary glTF 2.0")
    if length > len(data) or 20 + size > len(data):
        raise ValueError(
            f"is cut off: it says that it has {max(length, 20 + size)} bytes and has {len(data)}"
        )
    if size > LARGEST_TREE:
        raise ValueError(
            f"has a description of {size} bytes; at most {LARGEST_TREE // 2**20} MiB, join some of "
            "its parts"
        )
    try:
        tree = json.loads(data[20 : 20 + size])
    except (ValueError, RecursionError):
        raise ValueError("cannot be read as GLB: its description is not JSON") from None
    if not isinstance(tree, dict):
        raise ValueError("cannot be read as GLB: its description is not a mapping")
    blob = b""
    if len(data) >= 28 + size:
        n_byte, kind = struct.unpack_from("<2I", data, 20 + size)
        if kind == _BINARY:
            blob = data[28 + size : 28 + size + n_byte]
            if len(blob) < n_byte:
                raise ValueError(f"is cut off: {n_byte} bytes of numbers are announced")
    return tree, blob


def _rewritten(
    tree: dict[str, Any], blob: bytes, most_faces: int, most_pieces: int
) -> tuple[bytes, dict[str, tuple[str, ...]]]:
    required = set(tree.get("extensionsRequired", ())) - _HARMLESS
    if required:
        raise ValueError(
            f"needs {shown(sorted(map(str, required))[0])}, which is not read; export it without "
            "compression"
        )
    buffers = tree.get("buffers", [])
    if len(buffers) > 1 or any("uri" in buffer for buffer in buffers):
        raise ValueError("keeps its numbers in other files; export it as one GLB file")
    nodes, meshes = tree.get("nodes", []), tree.get("meshes", [])
    order = _walk(tree, nodes)
    accessors: list[dict[str, Any]] = []
    views: list[dict[str, Any]] = []
    kept: dict[int, int] = {}

    def keep(number: int, width: str) -> int:
        """Carry an accessor over, once, with its own view."""
        if number not in kept:
            accessor, view = _sound(tree, number, width, len(blob))
            kept[number] = len(accessors)
            accessors.append({**accessor, "bufferView": len(views)})
            views.append(view)
        return kept[number]

    new_meshes: list[dict[str, Any]] = []
    primitives: dict[int, list[tuple[int, int, str]]] = {}
    for number in dict.fromkeys(_index(nodes[n]["mesh"]) for n in order if "mesh" in nodes[n]):
        primitives[number] = []
        for primitive in meshes[number]["primitives"]:
            mode = primitive.get("mode", _TRIANGLES)
            if mode == _FAN:
                raise ValueError("has triangle fans, which are not read; export it as triangles")
            if mode not in (_TRIANGLES, _STRIP):
                continue  # points and lines meet no light
            position = keep(primitive["attributes"]["POSITION"], "VEC3")
            entry = {"attributes": {"POSITION": position}, "mode": mode}
            corners = accessors[position]["count"]
            if "indices" in primitive:
                index = keep(primitive["indices"], "SCALAR")
                entry["indices"] = index
                corners = accessors[index]["count"]
            material = primitive.get("material")
            name = "" if material is None else tree["materials"][_index(material)].get("name", "")
            faces = corners // 3 if mode == _TRIANGLES else max(corners - 2, 0)
            primitives[number].append((len(new_meshes), faces, str(name)))
            new_meshes.append({"primitives": [entry]})

    new_nodes: list[dict[str, Any]] = []
    names: dict[str, tuple[str, ...]] = {}
    n_face = 0
    for number, node in enumerate(nodes):
        keys = ("matrix", "translation", "rotation", "scale", "children")
        new_nodes.append({"name": f"n{number}"} | {k: node[k] for k in keys if k in node})
    for number in order:
        if "mesh" not in nodes[number]:
            continue
        drawn = _index(nodes[number]["mesh"])
        for mesh, faces, material in primitives[drawn]:
            n_face += faces
            given = (nodes[number].get("name"), meshes[drawn].get("name"), material)
            name = f"n{len(new_nodes)}"
            names[name] = tuple(dict.fromkeys(str(g) for g in given if g))
            here = new_nodes[number]
            here["children"] = [*here.get("children", []), len(new_nodes)]
            new_nodes.append({"name": name, "mesh": mesh})
    if n_face > most_faces:
        raise ValueError(f"holds {n_face} triangles; at most {most_faces}, export it with fewer")
    if len(names) > most_pieces:
        raise ValueError(f"has {len(names)} named parts; at most {most_pieces}, join some of them")
    if not names:
        raise ValueError("holds no triangles; export it as a mesh with faces")
    bare = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": _roots(tree, nodes)}],
        "nodes": new_nodes,
        "meshes": new_meshes,
        "accessors": accessors,
        "bufferViews": views,
        "buffers": [{"byteLength": len(blob)}],
    }
    return _packed(bare, blob), names


def _index(value: Any) -> int:
    """Refuse what is no index: Python would count a negative one from the end."""
    if type(value) is not int or value < 0:
        raise IndexError
    return value


def _roots(tree: dict[str, Any], nodes: list[dict[str, Any]]) -> list[int]:
    """Nodes that the scene begins with; all that hang from none where it has no scene."""
    if tree.get("scenes"):
        return [_index(n) for n in tree["scenes"][_index(tree.get("scene", 0))].get("nodes", [])]
    below = {child for node in nodes for child in node.get("children", ())}
    return [number for number in range(len(nodes)) if number not in below]


def _walk(tree: dict[str, Any], nodes: list[dict[str, Any]]) -> list[int]:
    """All nodes of the scene in the order in which they are written, each with one parent."""
    if len(nodes) > MOST_NODES:
        raise ValueError(f"has {len(nodes)} nodes; at most {MOST_NODES}, join some of them")
    seen: set[int] = set()
    level = _roots(tree, nodes)
    for _ in range(DEEPEST):
        if len(level) != len(set(level)) or seen.intersection(level):
            raise ValueError("has a node that hangs in two places; export it again")
        seen.update(level)
        level = [_index(child) for number in level for child in nodes[number].get("children", ())]
        if not level:
            return sorted(seen)
    raise ValueError(f"has nodes that are nested more than {DEEPEST} deep; flatten it")


def _sound(
    tree: dict[str, Any], number: int, width: str, n_byte: int
) -> tuple[dict[str, Any], dict[str, Any]]:
    """Hold an accessor against the numbers that there are."""
    accessor = tree["accessors"][_index(number)]
    if "sparse" in accessor or "bufferView" not in accessor:
        raise ValueError("is compressed or sparse, which is not read; export it without that")
    if accessor["type"] != width:
        raise KeyError
    view = tree["bufferViews"][_index(accessor["bufferView"])]
    count = _index(accessor["count"])
    if count < 1:
        raise ValueError("has a mesh without vertices; export it again")
    n_number, n_byte_of = _ITEMS[width]
    size = n_byte_of[accessor["componentType"]] * n_number
    first, start = _index(view.get("byteOffset", 0)), _index(accessor.get("byteOffset", 0))
    stride = _index(view.get("byteStride", size))
    length = _index(view["byteLength"])
    # A stride below the size of an item would let a few bytes stand for many items.
    end = start + (count - 1) * stride + size
    if stride < size or end > length or first + length > n_byte:
        raise ValueError(
            f"announces {count} items where there is no room for them; the file is damaged, "
            "export it again"
        )
    kept = {
        k: accessor[k] for k in ("count", "componentType", "type", "byteOffset") if k in accessor
    }
    part = {"buffer": 0, "byteOffset": first, "byteLength": length}
    return kept, part | ({"byteStride": stride} if "byteStride" in view else {})


def _packed(tree: dict[str, Any], blob: bytes) -> bytes:
    """Write a GLB file."""
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    blob += b"\0" * (-len(blob) % 4)
    body = struct.pack("<2I", len(text), _JSON) + text
    body += struct.pack("<2I", len(blob), _BINARY) + blob
    return struct.pack("<3I", _MAGIC, 2, 12 + len(body)) + body
