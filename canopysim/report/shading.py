"""How the scene is coloured for a picture: leaves, stems, bodies, luminous strips, floor and edges.

Colours are put on the corners of triangles once, so that every renderer draws the same picture.
Nothing here is light transport: the shading only tells the shapes apart.
"""

from __future__ import annotations

import colorsys
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.edges import edges_of, pairs_of_faces
from canopysim.report.camera import Camera, box_corners

if TYPE_CHECKING:
    from canopysim.light.placing import PlacedStrip
    from canopysim.matter.parts import Part

COLOURS: dict[str, str] = {
    "leaf": "#4f9a3a",
    "stem": "#8c8f4d",
    "fruit": "#c9a24b",
    "green-fruit": "#6f9f3f",
    "red-fruit": "#c8321f",
    "white-petal": "#f6f3ea",
    "yellow-petal": "#e8c531",
    "green-spike": "#7d9a52",
    "pot": "#4b4d50",
    "black-plastic": "#3d3f42",
    "terracotta": "#b5653f",
    "white-film": "#e9e8e4",
    "potting-mix": "#4a382b",
    "peat": "#51402f",
    "coco": "#6b5138",
    "dry-soil": "#94805f",
    "perlite": "#dedbd2",
    "net": "#e3e3df",
    "fixture": "#8d9299",
    "luminous": "#ffd27a",
    "floor": "#d9d4ca",
    "wall": "#f1f0ec",
    "edge": "#55585c",
    "grid": "#bdb7ab",
}

# Corners that bound the edges where cut-away faces meet; these lie in front of everything.
NEAR_EDGES = ((1, 5), (4, 5), (5, 7))

# Cosine of the angle between neighbours from which an edge of a drawn room is shown.
BENT = 0.94

# The shading light comes from the front, above and left, so that the right sides fall off softly.
_LIGHT = np.array([-0.35, -0.45, 0.82]) / np.linalg.norm([-0.35, -0.45, 0.82])


@dataclass(frozen=True)
class Soup:
    """Triangles on the screen: corners (n, 3, 3) as x px, y px, 1/m; colours (n, 3, 3), 0 to 1."""

    screen: NDArray[np.float64]
    colours: NDArray[np.float32]


def rgb(colour: str) -> NDArray[np.float64]:
    """Red, green, blue (3,), 0 to 1, of a colour written as #rrggbb."""
    return np.array([int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)])


def luminous_rectangles(strips: Sequence[PlacedStrip]) -> list[NDArray[np.float64]]:
    """Corners (4, 3), m, in order round the edge, of every strip of a light (not of daylight)."""
    turns = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
    return [
        strip.centre + turns * [strip.length_m, strip.width_m] @ strip.axes[:2]
        for strip in strips
        if strip.light >= 0
    ]


def grid_spacing_m(size: tuple[float, float, float]) -> float:
    """Distance of the lines on the floor, m: 4 to 10 of them along the longer side."""
    longer = max(size[0], size[1])
    steps = (0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 25.0, 50.0)
    return next((step for step in steps if longer / step <= 10.0), 100.0)


def paint(
    parts: Sequence[Part],
    size: tuple[float, float, float],
    colours: Mapping[str, str],
    strips: Sequence[NDArray[np.float64]],
    camera: Camera,
    *,
    drawn_room: bool = False,
    walls: bool = True,
) -> Soup:
    """All triangles of the picture, coloured and projected.

    Parameters
    ----------
    parts : sequence of Part
        Meshes in the world frame, m.
    size : (width, depth, height)
        Inner size of the enclosure, m.
    colours : mapping
        Colour (#rrggbb) by surface or leaf name, or by one of the keys of `COLOURS`.
    strips : sequence of (4, 3) float64
        Corners of luminous rectangles in order round the edge, m. If there are none, the undersides
        of the fixtures are shown luminous.
    camera : Camera
        The view.
    drawn_room : bool
        Whether the parts of kind "wall" are drawn; else the box stands for them.
    walls : bool
        Whether walls and edges are drawn, or the floor alone.

    Returns
    -------
    Soup
    """
    table = {**COLOURS, **colours}
    room = [part for part in parts if part.kind == "wall" and drawn_room]
    pieces = [draw_room(room, table, camera) if room else _box(size, table, camera, walls)]
    leaves = [part for part in parts if part.kind == "leaf" and len(part.faces)]
    heights = np.concatenate([part.vertices[:, 2] for part in leaves]) if leaves else np.zeros(1)
    low, high = float(heights.min()), float(heights.max())
    for part in parts:
        if part.kind == "wall" or len(part.faces) == 0:
            continue
        base = rgb(table.get(part.surface, table.get(part.kind, COLOURS["fixture"])))
        if part.kind == "leaf":
            pieces.append(_leaf(part, base, low, high, camera))
        else:
            luminous = rgb(table["luminous"]) if part.kind == "fixture" and not strips else None
            pieces.append(_solid(part, base, luminous, camera))
    pieces.extend(_strip(corners, rgb(table["luminous"]), size, camera) for corners in strips)
    return Soup(
        np.concatenate([piece.screen for piece in pieces]),
        np.concatenate([piece.colours for piece in pieces]),
    )


def draw_room(walls: Sequence[Part], table: Mapping[str, str], camera: Camera) -> Soup:
    """Walls that look towards the eye, as pale sheets, and the edges at which they bend."""
    pieces = []
    for part in walls:
        corners = np.asarray(part.vertices, np.float64)[part.faces]
        across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        seen = ((camera.eye - corners[:, 0]) * across).sum(axis=1) > 0.0
        corners, normals = corners[seen], _unit(across[seen])
        level = normals[:, 2] > 0.7
        tint = np.where(level[:, None], rgb(table["floor"]), rgb(table["wall"]))
        tint = tint * (1.0 - 0.05 * np.abs(normals[:, :1]))
        colours = np.repeat(np.clip(tint, 0, 1)[:, None, :], 3, axis=1).astype(np.float32)
        pieces.append(Soup(camera.project(corners), colours))
    far, _ = bent_edges(walls, camera)
    if len(far):
        pieces.append(_lines(far, rgb(table["edge"]), 0.0018 * camera.size[0], camera))
    return Soup(
        np.concatenate([piece.screen for piece in pieces]),
        np.concatenate([piece.colours for piece in pieces]),
    )


def bent_edges(
    walls: Sequence[Part], camera: Camera
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Edges (n, 2, 3), m, at which walls bend: behind what stands in the room, and before it."""
    vertices = np.asarray(walls[0].vertices, np.float64)
    faces = np.concatenate([part.faces for part in walls]).astype(np.intp)
    edges = edges_of(faces)
    pairs, _ = pairs_of_faces(edges)
    corners = vertices[faces]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    seen = ((camera.eye - corners[:, 0]) * across).sum(axis=1) > 0.0
    normals = _unit(across)
    bent = (normals[pairs[:, 0]] * normals[pairs[:, 1]]).sum(axis=1) < BENT
    ends = vertices[edges.ends[edges.uses == 2]]
    behind = seen[pairs].any(axis=1)
    return ends[bent & behind], ends[bent & ~behind]


def _unit(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    return np.asarray(vectors / np.maximum(length, 1e-300))


def _leaf(part: Part, base: NDArray[np.float64], low: float, high: float, camera: Camera) -> Soup:
    """Leaves: smooth normals, |n·l|, warmer where light would shine through, darker below."""
    vertices, faces = np.asarray(part.vertices, np.float64), part.faces
    corners = vertices[faces]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals = np.zeros_like(vertices)
    for corner in range(3):
        np.add.at(normals, faces[:, corner], across)
    normals = _unit(normals)
    lit = normals @ _LIGHT
    seen = np.einsum("ij,ij->i", normals, _unit(camera.eye - vertices))
    through = lit * seen < 0.0

    # Every plant in a slightly different green, by its name, so that neighbours can be told apart.
    turn = (zlib.crc32(part.name.encode()) % 1000) / 1000.0 - 0.5
    hue, light, saturation = colorsys.rgb_to_hls(*base)
    body = np.array(colorsys.hls_to_rgb(hue + 0.035 * turn, light * (1 + 0.12 * turn), saturation))
    warm = np.clip(body * np.array([1.25, 1.12, 0.75]), 0.0, 1.0)

    height = (vertices[:, 2] - low) / max(high - low, 1e-9)
    brightness = (0.5 + 0.62 * np.abs(lit)) * (0.66 + 0.34 * np.clip(height, 0.0, 1.0))
    tint = np.where(through[:, None], warm, body) * brightness[:, None]
    return Soup(camera.project(corners), np.clip(tint, 0, 1).astype(np.float32)[faces])


def _solid(
    part: Part,
    base: NDArray[np.float64],
    luminous: NDArray[np.float64] | None,
    camera: Camera,
) -> Soup:
    """Stems and bodies: one shade per face; the undersides of a fixture may be luminous."""
    corners = np.asarray(part.vertices, np.float64)[part.faces]
    normals = _unit(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]))
    brightness = 0.62 + 0.38 * np.clip(normals @ _LIGHT, -0.6, 1.0)
    tint = base * brightness[:, None]
    if luminous is not None:
        tint = np.where(normals[:, 2:] < -0.7, luminous, tint)
    colours = np.repeat(np.clip(tint, 0, 1)[:, None, :], 3, axis=1)
    return Soup(camera.project(corners), colours.astype(np.float32))


def _strip(
    corners: NDArray[np.float64],
    colour: NDArray[np.float64],
    size: tuple[float, float, float],
    camera: Camera,
) -> Soup:
    """Draw a luminous rectangle and its outline, shining through the body above it."""
    quad = np.asarray(corners, np.float64)
    # Drawn as if nearer by a hand's breadth: it faces down, and its body would hide it from above.
    near = 1.0 + 0.03 * float(np.linalg.norm(size)) / float(np.linalg.norm(camera.eye - quad[0]))
    screen = camera.project(quad[[[0, 1, 2], [0, 2, 3]]])
    screen[..., 2] *= near
    filled = Soup(screen, np.tile(colour.astype(np.float32), (2, 3, 1)))
    ends = np.stack([quad, np.roll(quad, -1, axis=0)], axis=1)
    pale = 0.5 + 0.5 * colour
    outline = _lines(ends, pale, 0.0022 * camera.size[0], camera, near * 1.001)
    return Soup(
        np.concatenate([filled.screen, outline.screen]),
        np.concatenate([filled.colours, outline.colours]),
    )


def _lines(
    ends: NDArray[np.float64],
    colour: NDArray[np.float64],
    width_px: float,
    camera: Camera,
    near: float = 1.001,
) -> Soup:
    """Segments (n, 2, 3), m, as thin rectangles on the screen; `near` scales their nearness."""
    screen = camera.project(ends)
    screen[..., 2] *= near
    along = screen[:, 1, :2] - screen[:, 0, :2]
    side = np.stack([-along[:, 1], along[:, 0]], axis=1)
    side = 0.5 * width_px * _unit(side)
    offset = np.concatenate([side, np.zeros((len(side), 1))], axis=1)
    a, b = screen[:, 0], screen[:, 1]
    quads = np.stack([a - offset, b - offset, b + offset, a + offset], axis=1)
    triangles = quads[:, [[0, 1, 2], [0, 2, 3]]].reshape(-1, 3, 3)
    return Soup(triangles, np.broadcast_to(colour.astype(np.float32), triangles.shape))


def _box(
    size: tuple[float, float, float], table: Mapping[str, str], camera: Camera, walls: bool
) -> Soup:
    """Floor with its lines, the walls behind as pale sheets, and the edges at the back."""
    width, depth, _ = size
    corner = box_corners(size)
    sheets = [
        ([0, 1, 3, 2], rgb(table["floor"])),
        ([2, 3, 7, 6], rgb(table["wall"])),
        ([0, 2, 6, 4], rgb(table["wall"]) * 0.97),
    ]
    pieces = []
    for index, colour in sheets if walls else sheets[:1]:
        quad = corner[index][[[0, 1, 2], [0, 2, 3]]]
        tint = np.broadcast_to(colour.astype(np.float32), quad.shape)
        pieces.append(Soup(camera.project(quad), tint))

    step = grid_spacing_m(size)
    across = [[[x, 0, 0], [x, depth, 0]] for x in np.arange(step, width - 1e-9, step)]
    along = [[[0, y, 0], [width, y, 0]] for y in np.arange(step, depth - 1e-9, step)]
    if across or along:
        lines = np.array(across + along, np.float64)
        pieces.append(_lines(lines, rgb(table["grid"]), 0.0010 * camera.size[0], camera))

    pairs = [(i, i | 1 << axis) for axis in range(3) for i in range(8) if not i >> axis & 1]
    far = [pair for pair in pairs if pair not in NEAR_EDGES]
    if walls:
        pieces.append(_lines(corner[far], rgb(table["edge"]), 0.0018 * camera.size[0], camera))
    return Soup(
        np.concatenate([piece.screen for piece in pieces]),
        np.concatenate([piece.colours for piece in pieces]),
    )
