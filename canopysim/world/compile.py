"""The one door from a checked scene to the flat arrays that photons meet."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.errors import CanopysimError
from canopysim.light.placing import PlacedStrip, place_lights
from canopysim.matter.parts import IN_CANOPY, Part
from canopysim.matter.plants import grow_canopy
from canopysim.matter.turbid.measured import as_volumes
from canopysim.matter.turbid.placing import scene_volumes
from canopysim.matter.turbid.volume import Volume
from canopysim.transport.arrays import HISTORY_VERSION, LEAK, SURFACE, WITH_FILM, WorldArrays
from canopysim.transport.build import build_tree
from canopysim.world.canopy_box import canopy_plan
from canopysim.world.clouds import cloud_arrays
from canopysim.world.faces import face_places, room_parts, wall_parts, wall_places
from canopysim.world.in_room import refuse_outside_room
from canopysim.world.layers import LayerTable, layer_table
from canopysim.world.meshes import by_slot, check_parts, has_area, soup
from canopysim.world.optics import OpticsTable
from canopysim.world.planes import (
    PlaneTable,
    level_tables,
    plane_arrays,
    plane_tables,
    refuse_high_planes,
)
from canopysim.world.probes import ProbeTable, probe_arrays, probe_tables
from canopysim.world.replicates import mean_world, replicate_scenes, replicates_of
from canopysim.world.sinks import (
    BODY,
    FRUIT,
    LEAF,
    NET,
    POT,
    STEM,
    UNTRACED,
    Places,
    Sink,
)
from canopysim.world.splits import SplitPlan, split_plan
from canopysim.world.strips import Channel, daylight_strips, launch_tables, spectra_of

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene

Array = NDArray[np.float64]
# What a person reads, and what it is, for each kind of part.
END_OF_PART = {
    "leaf": ("leaves", LEAF),
    "stem": ("stems", STEM),
    "fruit": ("flowers and fruit", FRUIT),
    "pot": ("pots and soil", POT),
    "net": ("nets", NET),
    "fixture": ("fixture bodies", BODY),
}


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
        Counting planes; last the boundaries between layers, where they are asked for.
    probes : tuple of ProbeTable
        Points with meters.
    parts : tuple of Part
        Named meshes, for pictures and checks.
    volumes : tuple of Volume
        Filled with leaves, for pictures and checks.
    strips : tuple of PlacedStrip
        Luminous rectangles, for pictures and checks.
    strip_spectrum : tuple of int
        Number of each strip's spectrum, as the optics count them.
    splits : SplitPlan or None
        What tallies are told apart by, if by anything; no part of the digest.
    digest : str
        Of all arrays: equal digest, seed and batch count give equal tallies.
    replicates : tuple of World
        The worlds of replicate canopies, of which this is the mean; empty for a canopy alone.
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
    probes: tuple[ProbeTable, ...]
    parts: tuple[Part, ...]
    volumes: tuple[Volume, ...]
    strips: tuple[PlacedStrip, ...]
    strip_spectrum: tuple[int, ...]
    splits: SplitPlan | None
    digest: str
    replicates: tuple[World, ...] = ()

    @property
    def n_triangle(self) -> int:
        """Triangles that photons can meet."""
        return int((self.arrays.triangle_id >= 0).sum())

    @property
    def batch_packets(self) -> int:
        """Packets in one batch."""
        return int(self.strip_first[-1])


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
        For meshes that cannot be traced.
    """
    # Plants that are given do not hang on a seed: there is one canopy of them.
    if replicates_of(scene) == 1 or plants is not None:
        return _compile_one(scene, wall_triangles, plants)
    return mean_world([_compile_one(one, wall_triangles) for one in replicate_scenes(scene)])


def _compile_one(
    scene: Scene, wall_triangles: int | None = None, plants: list[Part] | None = None
) -> World:
    """Do as `compile_world` with one canopy."""
    if plants is None:
        plants = grow_canopy(scene) if scene.canopy is not None else []
    elif scene.canopy is None:
        raise CanopysimError("plants were given, but the scene has no canopy to tell their layers")
    check_parts(scene, plants)
    volumes = scene_volumes(scene)
    if scene.canopy is not None and scene.canopy.as_volume is not None:
        volumes += as_volumes(scene, plants)
        plants = [part for part in plants if part.kind != "leaf"]
    layers = layer_table(scene, plants, volumes)
    canopy_top = layers.top if layers is not None else 0.0
    placed, bodies = place_lights(scene, canopy_top)
    strips = placed + daylight_strips(scene)
    probes = probe_tables(scene, canopy_top, spectra_of(strips))
    refuse_outside_room(scene, plants, bodies, placed, probes, volumes)
    planes = plane_tables(scene, canopy_top)
    refuse_high_planes(scene, planes)
    planes += level_tables(scene, layers, sum(2 * p.cells[0] * p.cells[1] for p in planes))
    size = scene.enclosure.size

    optics = OpticsTable(scene, spectra_of(strips))
    places = Places(n_layer=0 if layers is None else len(layers.leaf_area))
    part_place = []
    ignored = {strip.ghost_body for strip in strips}
    for number, part in enumerate(plants + bodies, -len(plants)):
        leaf = part.kind == "leaf"
        row = optics.leaf(part.surface) if leaf else optics.surface(part.surface)
        end, what = END_OF_PART[part.kind]
        layered = part.kind in IN_CANOPY and (part.kind != "net" or _in_layers(part, layers))
        part_place.append(
            places.add(
                end, row, what, layered=layered, solid=part.solid,
                kind=leaf_kind(scene, part.surface) if leaf else SURFACE,
                own=number if part.kind == "fixture" and number in ignored else -1,
            )
        )  # fmt: skip
    end, what = END_OF_PART["leaf"]
    volume_place = [
        places.add(
            end, optics.leaf(v.leaf), what, layered=True, kind=leaf_kind(scene, v.leaf)
        )
        for v in volumes
    ]  # fmt: skip
    walls = room_parts(scene)
    if wall_triangles and walls:
        raise CanopysimError("a drawn room has its own triangles; leave wall_triangles out")
    walls = walls or (wall_parts(scene, wall_triangles) if wall_triangles else [])
    if walls:
        part_place += wall_places(scene, walls, places, optics)
        leak = places.add("beyond the walls", 0, UNTRACED, kind=LEAK)
        face_place, first = [leak] * 6, [0] * 7
        rects: list[list[float]] = []
        patch_place: list[int] = []
        margin = max(size) / 64
    else:
        face_place, first, rects, patch_place = face_places(scene, places, optics)
        margin = 0.0
    sinks = places.close()

    flat, triangle_place = soup(plants + bodies + walls, part_place)
    keep = has_area(flat)
    ids = np.flatnonzero(keep).astype(np.int32)
    corners = np.ascontiguousarray(flat[keep])
    nodes, triangles, slots, depth = build_tree(corners.ravel(), max(size) + margin)
    table = launch_tables(strips, scene.tracing.batch)
    absorb, ways, way_open = optics.arrays()
    film, film_index, film_mean = optics.films()
    plane, plane_cells = plane_arrays(planes, size)
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
        triangle_id=by_slot(ids, slots),
        triangle_place=by_slot(triangle_place[keep], slots),
        place_kind=np.array(places.kind, np.int32),
        place_surface=np.array(places.surface, np.int32),
        place_sink=np.array(places.first_sink, np.int32),
        place_layered=np.array(places.layered, np.int32),
        place_solid=np.array(places.solid, np.int32),
        absorb=absorb,
        ways=ways,
        way_open=way_open,
        rough=optics.rough,
        layer_floor=floors.astype(np.float32),
        plane=plane,
        plane_cells=plane_cells,
        strip=table.strip,
        strip_lens=table.lens,
        strip_table=table.table,
        strip_ignores=np.array(
            [-1 if k < 0 else part_place[len(plants) + k] for k in table.body], np.int64
        ),
        lens_numbers=table.lens_numbers,
        strip_channel=table.channel,
        strip_optics=table.spectrum * np.int32(len(optics.names)),
        strip_quanta=table.quanta,
        film=film,
        film_index=film_index,
        film_mean=film_mean,
        **cloud_arrays(scene, volumes, volume_place)._asdict(),
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
        volumes=tuple(volumes),
        probes=probes,
        strips=tuple(strips),
        strip_spectrum=tuple(int(k) for k in table.spectrum),
        splits=split_plan(
            scene,
            places,
            optics,
            plants,
            len(strips),
            probe_arrays(scene, canopy_top),
            canopy_plan(scene, sinks, layers, plants, volumes),
        ),
        digest=_digest(arrays),
    )


def leaf_kind(scene: Scene, name: str) -> int:
    """Kind of the places of a leaf: with a cuticle or without."""
    return SURFACE if scene.leaves[name].cuticle is None else WITH_FILM


def _in_layers(net: Part, layers: LayerTable | None) -> bool:
    """Whether a level net hangs between the canopy's top and the bottom of its lowest layer."""
    height = float(net.vertices[0, 2])
    return layers is not None and float(layers.z_bottom[-1]) < height <= float(layers.z_top[0])


def _digest(arrays: WorldArrays) -> str:
    """SHA-256 over the version of histories, then names, types, shapes and bytes of all arrays."""
    digest = hashlib.sha256(f"histories {HISTORY_VERSION}".encode())
    for name in arrays._fields:
        array = getattr(arrays, name)
        if name.startswith(("film", "cloud_")) and array.size == 0:
            # A scene without cuticles or volumes has the digest that it had before there were any.
            continue
        digest.update(f"{name} {array.dtype} {array.shape}".encode())
        digest.update(np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()
