"""The one door from a checked scene to the flat arrays that photons meet."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import CanopysimError, SceneError
from canopysim.light.placing import PlacedStrip, place_lights
from canopysim.matter.enclosure import FACES, box_mesh
from canopysim.matter.layers import area_by_layer, layer_edges
from canopysim.matter.parts import Part
from canopysim.matter.plants import grow_canopy
from canopysim.transport.arrays import LEAK, OPEN, WorldArrays
from canopysim.transport.build import build_tree
from canopysim.world.optics import OpticsTable
from canopysim.world.sinks import Places, Sink
from canopysim.world.strips import Channel, daylight_strips, launch_tables

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene

Array = NDArray[np.float64]
END_OF_PART = {"leaf": "leaves", "stem": "stems", "fixture": "fixture bodies", "wall": "walls"}


@dataclass(frozen=True)
class LayerTable:
    """Canopy layers, top first.

    Attributes
    ----------
    z_top, z_bottom : numpy.ndarray (n_layer,)
        Heights above the floor, m.
    leaf_area : numpy.ndarray (n_layer,)
        One-sided leaf area, triangles clipped to the layer, m².
    ground_area : float
        Planted area, or the floor, m².
    top : float
        Height from which "above canopy" counts, m.
    """

    z_top: Array
    z_bottom: Array
    leaf_area: Array
    ground_area: float
    top: float


@dataclass(frozen=True)
class PlaneTable:
    """One counting plane: its height, rectangle and grid."""

    name: str
    height: float
    low: tuple[float, float]
    high: tuple[float, float]
    cells: tuple[int, int]
    first_bin: int

    @property
    def cell_m(self) -> tuple[float, float]:
        """Extent of a cell in x and y, m."""
        return (
            (self.high[0] - self.low[0]) / self.cells[0],
            (self.high[1] - self.low[1]) / self.cells[1],
        )


@dataclass(frozen=True)
class World:
    """A compiled scene: arrays for the kernels, and names for the labels.

    Attributes
    ----------
    arrays : WorldArrays
        What photons meet.
    strip_first : numpy.ndarray of int64 (n_strip + 1,)
        First packet of each strip in a batch, then the packets in a batch.
    depth : int
        Stack entries that a walk through the tree can need.
    edges : tuple of float
        Band edges, nm.
    sinks : tuple of Sink
        Rows of the books.
    places : tuple of str
        Name of each place.
    channels : tuple of Channel
        Rows of every tally.
    layers : LayerTable or None
        None without a canopy.
    planes : tuple of PlaneTable
        Counting planes.
    parts : tuple of Part
        Named meshes, for pictures and checks.
    strips : tuple of PlacedStrip
        Luminous rectangles, for pictures and checks.
    digest : str
        Of all arrays: equal digest, seed and batch count give equal tallies.
    """

    arrays: WorldArrays
    strip_first: NDArray[np.int64]
    depth: int
    edges: tuple[float, ...]
    sinks: tuple[Sink, ...]
    places: tuple[str, ...]
    channels: tuple[Channel, ...]
    layers: LayerTable | None
    planes: tuple[PlaneTable, ...]
    parts: tuple[Part, ...]
    strips: tuple[PlacedStrip, ...]
    digest: str

    @property
    def n_triangle(self) -> int:
        """Triangles that photons can meet."""
        return int((self.arrays.triangle_id >= 0).sum())

    @property
    def batch_packets(self) -> int:
        """Packets in one batch."""
        return int(self.strip_first[-1])


def layer_table(scene: Scene, plants: list[Part]) -> LayerTable | None:
    """Cut the canopy into layers; None without a canopy."""
    if scene.canopy is None:
        return None
    leaves = [p for p in plants if p.kind == "leaf"]
    z_high = max(float(p.vertices[:, 2].max()) for p in plants)
    z_low = min(float(p.vertices[:, 2].min()) for p in leaves)
    edges = layer_edges(scene.canopy, z_low, z_high)
    area = sum(
        (area_by_layer(p.vertices, p.faces, edges) for p in leaves), np.zeros(len(edges) - 1)
    )
    planted = scene.canopy.planted
    if planted is None:
        ground = scene.enclosure.width * scene.enclosure.depth
    else:
        ground = float(abs(np.prod(np.subtract(planted.opposite, planted.corner))))
    top = scene.canopy.height if scene.canopy.height is not None else z_high
    return LayerTable(edges[1:][::-1], edges[:-1][::-1], area, ground, top)


def _faces(
    scene: Scene, places: Places, optics: OpticsTable
) -> tuple[list[int], list[int], list[list[float]], list[int]]:
    """Places of the six faces; first patch of each face, rectangles and places of patches."""
    face_place, first, rects, patch_place = [], [0], [], []
    for name in FACES:
        face = scene.enclosure.face(name)
        if face.open:
            face_place.append(places.add(f"escaped through the {name}", 0, kind=OPEN))
        else:
            surface = optics.surface(face.surface or scene.enclosure.lining)
            face_place.append(places.add(name, surface))
        for number, patch in enumerate(face.patches, 1):
            low = np.minimum(patch.corner, patch.opposite)
            high = np.maximum(patch.corner, patch.opposite)
            rects.append([*low, *high])
            if patch.open or patch.surface is None:
                end = f"escaped through patch {number} of the {name}"
                patch_place.append(places.add(end, 0, kind=OPEN))
            else:
                end = f"patch {number} of the {name} ({patch.surface})"
                patch_place.append(places.add(end, optics.surface(patch.surface)))
        first.append(len(rects))
    return face_place, first, rects, patch_place


def _planes(scene: Scene, canopy_top: float) -> list[PlaneTable]:
    """Settle counting planes: heights, rectangles and bins."""
    tables, first = [], 0
    width, depth, _ = scene.enclosure.size
    for plane in scene.planes:
        height = plane.height
        if height is None:
            height = canopy_top + (plane.above_canopy or 0.0)
        corner, opposite = plane.corner or (0.0, 0.0), plane.opposite or (width, depth)
        low = (min(corner[0], opposite[0]), min(corner[1], opposite[1]))
        high = (max(corner[0], opposite[0]), max(corner[1], opposite[1]))
        nx = max(1, round((high[0] - low[0]) / plane.cell))
        ny = max(1, round((high[1] - low[1]) / plane.cell))
        tables.append(PlaneTable(plane.name, height, low, high, (nx, ny), first))
        first += 2 * nx * ny
    return tables


def _plane_arrays(
    planes: list[PlaneTable], size: tuple[float, float, float]
) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """Rows for the kernels. Rims on a wall are closed, a plane in the ceiling reads what falls up.

    Crossing is half-open (above means strictly above), so a plane that lies in the ceiling is moved
    down by one float32 step.
    """
    rows, cells = [], []
    for plane in planes:
        height = np.float32(plane.height)
        if height >= np.float32(size[2]):
            height = np.nextafter(np.float32(size[2]), np.float32(0))
        ends = [
            np.nextafter(np.float32(h), np.float32(np.inf)) if np.float32(h) >= np.float32(s) else h
            for h, s in zip(plane.high, size, strict=False)
        ]
        cell = plane.cell_m
        rows.append([height, *plane.low, *ends, 1 / cell[0], 1 / cell[1]])
        cells.append([*plane.cells, plane.first_bin])
    return (
        np.array(rows, np.float32).reshape(-1, 7),
        np.array(cells, np.int64).reshape(-1, 3),
    )


def _wall_parts(scene: Scene, n_triangle: int) -> list[Part]:
    """Give the six faces as triangle meshes that belong to the faces' own places."""
    for name in FACES:
        face = scene.enclosure.face(name)
        if face.open or face.patches:
            raise CanopysimError(
                f"the {name} is open or has patches and cannot be given as triangles; "
                "leave wall_triangles out"
            )
    meshes = box_mesh(np.array(scene.enclosure.size), n_triangle)
    return [
        Part(
            name, "wall", vertices, faces,
            scene.enclosure.face(name).surface or scene.enclosure.lining, solid=True,
        )
        for name, (vertices, faces) in meshes.items()
    ]  # fmt: skip


def _soup(parts: list[Part], place_of: list[int]) -> tuple[NDArray[np.float32], NDArray[np.int32]]:
    """Corners of all triangles (9 n,) and the place of each; degenerate ones carry no area."""
    corners = [p.vertices[p.faces].reshape(-1, 9).astype(np.float32) for p in parts]
    places = [np.full(len(p.faces), n, np.int32) for p, n in zip(parts, place_of, strict=True)]
    if not corners:
        return np.zeros((0, 9), np.float32), np.zeros(0, np.int32)
    flat = np.concatenate(corners)
    if not np.isfinite(flat).all():
        bad = next(p.name for p in parts if not np.isfinite(p.vertices).all())
        raise CanopysimError(f"the mesh of {bad} has a vertex that is not a finite number")
    return flat, np.concatenate(places)


def _drop_empty(flat: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Mark triangles whose normal can be computed in float32."""
    a, b, c = flat[:, 0:3], flat[:, 3:6], flat[:, 6:9]
    normal = np.cross(b - a, c - a)
    keep: NDArray[np.bool_] = (normal * normal).sum(1) > np.finfo(np.float32).tiny
    return keep


def _by_slot(values: NDArray[np.int32], slots: NDArray[np.int64]) -> NDArray[np.int32]:
    """Values of triangles in the order of their slots; -1 in empty lanes."""
    return np.where(slots >= 0, np.append(values, np.int32(-1))[slots], np.int32(-1))


def compile_world(
    scene: Scene, *, wall_triangles: int | None = None, plants: list[Part] | None = None
) -> World:
    """Turn a checked scene into a world.

    Parameters
    ----------
    scene : Scene
        From `canopysim.load`.
    wall_triangles : int, optional
        Give the enclosure as about so many triangles instead of an analytic box; for tests and for
        comparing the two.
    plants : list of Part, optional
        Leaf and stem meshes that stand in for the plants which the scene would grow; the scene
        still says how they are cut into layers.

    Returns
    -------
    World
        Arrays in SI units and names for the labels.

    Raises
    ------
    SceneError
        For things that stick out of the enclosure.
    CanopysimError
        For a mesh with vertices that are not finite.
    """
    if plants is None:
        plants = grow_canopy(scene) if scene.canopy is not None else []
    elif scene.canopy is None:
        raise CanopysimError("plants were given, but the scene has no canopy to tell their layers")
    layers = layer_table(scene, plants)
    canopy_top = layers.top if layers is not None else 0.0
    placed, bodies = place_lights(scene, canopy_top)
    strips = placed + daylight_strips(scene)
    planes = _planes(scene, canopy_top)
    _refuse_high_planes(scene, planes)
    size = scene.enclosure.size

    optics = OpticsTable(scene)
    places = Places(n_layer=0 if layers is None else len(layers.leaf_area))
    part_place = []
    for part in plants + bodies:
        leaf = part.kind == "leaf"
        row = optics.leaf(part.surface) if leaf else optics.surface(part.surface)
        end = END_OF_PART[part.kind]
        layered = part.kind in ("leaf", "stem")
        part_place.append(places.add(end, row, layered=layered, solid=part.solid))
    walls = _wall_parts(scene, wall_triangles) if wall_triangles else []
    if walls:
        for part in walls:
            part_place.append(places.add(part.name, optics.surface(part.surface), solid=True))
        leak = places.add("beyond the walls", 0, kind=LEAK)
        face_place, first = [leak] * 6, [0] * 7
        rects: list[list[float]] = []
        patch_place: list[int] = []
        margin = max(size) / 64
    else:
        face_place, first, rects, patch_place = _faces(scene, places, optics)
        margin = 0.0
    sinks = places.close()

    flat, triangle_place = _soup(plants + bodies + walls, part_place)
    keep = _drop_empty(flat)
    ids = np.flatnonzero(keep).astype(np.int32)
    corners = np.ascontiguousarray(flat[keep])
    nodes, triangles, slots, depth = build_tree(corners.ravel(), max(size) + margin)
    table = launch_tables(strips, scene.tracing.batch)
    absorb, ways, way_open = optics.arrays()
    plane, plane_cells = _plane_arrays(planes, size)
    floors = layers.z_bottom if layers is not None else np.zeros(1)
    arrays = WorldArrays(
        box=np.array([-margin] * 3 + [s + margin for s in size], np.float32),
        face_place=np.array(face_place, np.int32),
        patch_first=np.array(first, np.int32),
        patch_rect=np.array(rects, np.float32).ravel(),
        patch_place=np.array(patch_place, np.int32),
        nodes=nodes,
        children=nodes.view(np.uint32),
        triangles=triangles,
        triangle_id=_by_slot(ids, slots),
        triangle_place=_by_slot(triangle_place[keep], slots),
        place_kind=np.array(places.kind, np.int32),
        place_surface=np.array(places.surface, np.int32),
        place_sink=np.array(places.first_sink, np.int32),
        place_layered=np.array(places.layered, np.int32),
        place_solid=np.array(places.solid, np.int32),
        absorb=absorb,
        ways=ways,
        way_open=way_open,
        layer_floor=floors.astype(np.float32),
        plane=plane,
        plane_cells=plane_cells,
        strip=table.strip,
        strip_lens=table.lens,
        strip_channel=table.channel,
        strip_quanta=table.quanta,
        sizes=np.array(
            [len(table.channels), len(sinks), len(scene.bands) - 1,
             sum(2 * p.cells[0] * p.cells[1] for p in planes)], np.int64,
        ),
    )  # fmt: skip
    return World(
        arrays=arrays,
        strip_first=table.first,
        depth=depth,
        edges=tuple(scene.bands),
        sinks=sinks,
        places=tuple(places.name),
        channels=table.channels,
        layers=layers,
        planes=tuple(planes),
        parts=tuple(plants + bodies + walls),
        strips=tuple(strips),
        digest=_digest(arrays),
    )


def _digest(arrays: WorldArrays) -> str:
    """SHA-256 over names, types, shapes and bytes of all arrays."""
    digest = hashlib.sha256()
    for name in arrays._fields:
        array = getattr(arrays, name)
        digest.update(f"{name} {array.dtype} {array.shape}".encode())
        digest.update(np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()


def _refuse_high_planes(scene: Scene, planes: list[PlaneTable]) -> None:
    """Raise for planes that lie outside the enclosure once the canopy's height is known."""
    problems = []
    for index, plane in enumerate(planes):
        if not 0 <= plane.height <= scene.enclosure.height:
            message = (
                f"lies at {plane.height * 100:.4g} cm above the floor; allowed is 0 cm to "
                f"{scene.enclosure.height * 100:.4g} cm"
            )
            problems.append(scene.problem(("planes", index), message))
    if problems:
        raise SceneError(problems)
