"""What can be traced and is yet worth a second look: one sentence each, with its place."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.parts import CANOPY, Part
from canopysim.matter.planting import sites
from canopysim.matter.stage import grown_shares
from canopysim.matter.turbid.volume import inside
from canopysim.world.overlap import Boxes, box_pairs, triangles_in_box

if TYPE_CHECKING:
    from canopysim.light.placing import PlacedStrip
    from canopysim.scene.document import EntryPath
    from canopysim.scene.schema import Scene
    from canopysim.scene.schema_light import Body
    from canopysim.world.compile import World

Array = NDArray[np.float64]
Caution = tuple["EntryPath", str]

CLOSE_M = 0.02
"""A body in front of a strip by less than this covers it closely."""
FEWEST_TRIANGLES = 12
"""Of a leaf, for its outline and bend to be more than hinted at."""
FEWEST_A_WAVE = 24
"""Of a rippled leaf, for each wave of its margin (benchmarks/facets.py)."""
MOST_NAMED = 3
POINTS_ALONG = 9
"""Points along each edge of a body that are held against volumes of leaves."""
MANY_TURNED = 0.1
"""Share of a planting's leaves that the walls may turn without a word."""


def cautions(scene: Scene, world: World) -> list[str]:
    """Look for what is probably not meant, though it can be traced.

    Parameters
    ----------
    scene : Scene
        A checked scene.
    world : World
        The same, compiled.

    Returns
    -------
    list of str
        One line each, ``file:line:column  path: what is so; what may be done``, as errors have it.
    """
    lights = _light_of_body(scene)
    # Drawn bodies are of any shape: these cautions hold boxes against each other.
    bodies = [
        part
        for part, boxed in zip(
            (part for part in world.parts if part.kind == "fixture"), _boxed(scene), strict=True
        )
        if boxed
    ]
    boxes = _boxes(bodies)
    found = [
        *_bodies_in_each_other(lights, bodies, boxes),
        *_plants_in_bodies(world, lights, bodies, boxes),
        *_volumes_in_bodies(world, lights, bodies, boxes),
        *_covered_strips(scene, world.strips, lights, boxes),
        *_turned_leaves(scene, world),
        *_coarse_leaves(scene),
    ]
    # Equal sentences at one place are one caution.
    return list(dict.fromkeys(scene.problem(path, text) for path, text in found))


def _boxed(scene: Scene) -> list[bool]:
    """Tell of each fixture body whether it is a box, in the order of the world's parts."""
    return [
        body.mesh is None
        for light in scene.lights
        if (body := scene.fixtures[light.fixture].body) is not None
        for _ in range(light.row.count if light.row is not None else 1)
    ]


def _is_box(body: Body | None) -> bool:
    return body is not None and body.mesh is None


def _light_of_body(scene: Scene) -> list[int]:
    """Index of the light that each box of a fixture belongs to, in the order of the parts."""
    return [
        index
        for index, light in enumerate(scene.lights)
        if _is_box(scene.fixtures[light.fixture].body)
        for _ in range(light.row.count if light.row is not None else 1)
    ]


def _boxes(bodies: list[Part]) -> Boxes:
    """Read the boxes off the corners of fixture bodies: x runs fastest, z slowest."""
    corners = np.array([part.vertices for part in bodies]).reshape(-1, 8, 3)
    edges = corners[:, [1, 2, 4]] - corners[:, :1]
    size = np.linalg.norm(edges, axis=2)
    return Boxes(corners.mean(axis=1), edges / size[:, :, None], size / 2)


def _bodies_in_each_other(lights: list[int], bodies: list[Part], boxes: Boxes) -> Iterator[Caution]:
    for one, other in box_pairs(boxes, boxes):
        if one < other:
            yield (
                ("lights", lights[other]),
                f"the body of {bodies[other].name} reaches into that of {bodies[one].name} "
                f"(lights[{lights[one] + 1}]); hang one of them elsewhere",
            )


def _plants_in_bodies(
    world: World, lights: list[int], bodies: list[Part], boxes: Boxes
) -> Iterator[Caution]:
    plants = [part for part in world.parts if part.kind in CANOPY and len(part.faces)]
    if not plants or not bodies:
        return
    corners, owner = _triangles_near(plants, boxes)
    least, most = corners.min(axis=1), corners.max(axis=1)
    for body, (low, high) in enumerate(zip(*boxes.bounds, strict=True)):
        close = np.flatnonzero(((least <= high) & (most >= low)).all(axis=1))
        inside = triangles_in_box(corners[close], boxes, body)
        if not inside.any():
            continue
        names = [
            plants[part].name.removesuffix(f"-{plants[part].surface}").removesuffix("-stem")
            for part in np.unique(owner[close][inside])
        ]
        yield (
            ("lights", lights[body]),
            f"leaves or stems of {_listed(names)} reach into the body of {bodies[body].name}; "
            "hang it elsewhere, or move the plants away",
        )


def _volumes_in_bodies(
    world: World, lights: list[int], bodies: list[Part], boxes: Boxes
) -> Iterator[Caution]:
    """Look whether points all over a body lie in a volume of leaves."""
    grid = np.linspace(-1.0, 1.0, POINTS_ALONG)
    points = np.stack(np.meshgrid(grid, grid, grid), axis=-1).reshape(-1, 3)
    for body in range(len(bodies)):
        at = boxes.centre[body] + (points * boxes.half[body]) @ boxes.axes[body]
        names = [volume.name for volume in world.volumes if inside(volume, at).any()]
        if names:
            yield (
                ("lights", lights[body]),
                f"the body of {bodies[body].name} hangs among the leaves of {_listed(names)}; "
                "hang it elsewhere, or move the leaves away",
            )


def _triangles_near(parts: list[Part], boxes: Boxes) -> tuple[Array, NDArray[np.intp]]:
    """Corners (n, 3, 3) of the triangles that may reach into a box, and the part of each."""
    low, high = boxes.bounds
    corners, owner = [np.empty((0, 3, 3))], [np.empty(0, dtype=np.intp)]
    for number, part in enumerate(parts):
        near = (part.vertices.min(axis=0) <= high) & (part.vertices.max(axis=0) >= low)
        nearby = near.all(axis=1)
        if not nearby.any():
            continue
        mesh = part.vertices[part.faces]
        least, most = low[nearby].min(axis=0), high[nearby].max(axis=0)
        kept = ((mesh.min(axis=1) <= most) & (mesh.max(axis=1) >= least)).all(axis=1)
        corners.append(mesh[kept])
        owner.append(np.full(np.count_nonzero(kept), number))
    return np.concatenate(corners), np.concatenate(owner)


def _covered_strips(
    scene: Scene, strips: tuple[PlacedStrip, ...], lights: list[int], boxes: Boxes
) -> Iterator[Caution]:
    """Hold the space just in front of each strip against the bodies of other fixtures."""
    placed = [strip for strip in strips if strip.light >= 0]
    if not placed or not lights:
        return
    axes = np.array([strip.axes for strip in placed])
    middle = np.array([strip.centre for strip in placed]) - CLOSE_M / 2 * axes[:, 2]
    half = [[strip.length_m / 2, strip.width_m / 2, CLOSE_M / 2] for strip in placed]
    fronts = Boxes(middle, axes, np.array(half))
    own = _body_of_strip(scene)
    for strip, body in box_pairs(fronts, boxes):
        if own[strip] != body:
            yield (
                ("lights", placed[strip].light),
                f"a body of lights[{lights[body] + 1}] stands less than {CLOSE_M * 100:g} cm in "
                "front of a luminous strip and covers it at least in part; hang one of them "
                "elsewhere",
            )


def _body_of_strip(scene: Scene) -> list[int]:
    """Index of the body that each strip hangs on, or -1, in the order of the world's strips."""
    owners: list[int] = []
    body = 0
    for light in scene.lights:
        fixture = scene.fixtures[light.fixture]
        for _ in range(light.row.count if light.row is not None else 1):
            has_body = _is_box(fixture.body)
            owners += [body if has_body else -1] * len(fixture.strips)
            body += has_body
    return owners


def _turned_leaves(scene: Scene, world: World) -> Iterator[Caution]:
    if scene.canopy is None:
        return
    planting_of = {site.name: site.planting for site in sites(scene)}
    count: dict[int, tuple[int, int]] = {}
    grown: dict[int, int] = {}
    for part in world.parts:
        if part.name in planting_of:
            planting = planting_of[part.name]
            plant = scene.plants[scene.canopy.plantings[planting].plant]
            grown[planting] = (
                grown.get(planting, 0)
                + len(grown_shares(plant)) * plant.branches * plant.leaves_per_node
            )
        if part.n_turned > 0 and part.name in planting_of:
            n_leaf, n_plant = count.get(planting_of[part.name], (0, 0))
            count[planting_of[part.name]] = (n_leaf + part.n_turned, n_plant + 1)
    for planting, (n_leaf, n_plant) in sorted(count.items()):
        if n_leaf < MANY_TURNED * grown[planting]:
            continue
        name = scene.canopy.plantings[planting].plant
        leaves = "1 leaf was" if n_leaf == 1 else f"{n_leaf} leaves were"
        plants = "1 plant" if n_plant == 1 else f"{n_plant} plants"
        yield (
            ("canopy", "plantings", planting),
            f"{leaves} turned about the stem to clear the walls, in {plants} of {name}; "
            "leave more room if yours do not grow so",
        )


def _coarse_leaves(scene: Scene) -> Iterator[Caution]:
    planted = scene.canopy.plantings if scene.canopy is not None else ()
    for name in dict.fromkeys(planting.plant for planting in planted):
        n_triangle = scene.plants[name].triangles_per_leaf
        if n_triangle < FEWEST_TRIANGLES:
            yield (
                ("plants", name, "triangles_per_leaf"),
                f"leaves of {n_triangle} triangles show their outline and bend coarsely, which "
                "moves up to some 2 % of the light between layers; "
                f"write {FEWEST_TRIANGLES} or more",
            )
        ripple = scene.plants[name].ripple
        if ripple is not None and n_triangle < FEWEST_A_WAVE * ripple.waves:
            yield (
                ("plants", name, "triangles_per_leaf"),
                f"leaves of {n_triangle} triangles cannot follow {ripple.waves} waves of their "
                "margin, which moves up to some 9 % of the light between layers; write "
                f"{FEWEST_A_WAVE * ripple.waves} or more, or fewer waves",
            )


def _listed(names: Iterable[str]) -> str:
    """Join the first few names; the rest are counted."""
    each = list(dict.fromkeys(names))
    shown = each if len(each) <= MOST_NAMED + 1 else each[:MOST_NAMED]
    more = [f"{len(each) - len(shown)} more"] if len(each) > len(shown) else []
    *first, last = [*shown, *more]
    return f"{', '.join(first)} and {last}" if first else last
