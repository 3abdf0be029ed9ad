"""How a plant is built: main stems, nodes, and a leaf at every node, not yet in its place."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.blade import BladeGrid, bend_blades, blade_grid, triangle_areas
from canopysim.matter.leaflets import RACHIS_RADIUS, bend_leaflets, compound_grid
from canopysim.matter.planting import Site, draws
from canopysim.matter.stage import at_stage, grown_shares
from canopysim.matter.stalks import Faces, join, prisms, tube

if TYPE_CHECKING:
    from canopysim.scene.schema_matter import Plant

Floats = NDArray[np.float64]

STEM_SIDES, PETIOLE_SIDES = 6, 4
LIFT = 1e-3
"""m; least height of a stem's foot above the floor, so that no two faces lie in one another."""
_shared_grid = lru_cache(maxsize=64)(blade_grid)  # plants of one kind have one layout
_shared_compound = lru_cache(maxsize=64)(compound_grid)
N_DRAW = 8
"""Random numbers that each leaf owns, used or not: a new use shifts nothing."""
LEAST_SIZE = 0.05
"""Share of the stated size below which no leaf falls: with 100 % variation none vanishes."""


@dataclass(frozen=True, eq=False)
class Growth:
    """One plant before its leaves are turned clear of the walls. Rows are leaves, stem by stem.

    Parameters
    ----------
    site : Site
        Where it stands.
    plant : Plant
        What the scene says of its kind, with the stalks of its stage.
    grid : BladeGrid
        Layout of its blades.
    axes : list of (n_point, 3) ndarray, m
        Lines along the stems, world frame.
    stems : list of (vertices, faces)
        Closed tubes round them.
    node, upward : (n_leaf, 3) ndarray, m and unit vectors
        Where each leaf leaves its stem's axis, and the stem's direction there.
    azimuth : (n_leaf,) ndarray, rad
        Direction in which each leaf would like to grow, from +x towards +y.
    petiole_angle, petiole_length : (n_leaf,) ndarray, rad and m
    blades : (n_leaf, n_vertex, 3) ndarray, m
        In the leaf frame (see `canopysim.matter.blade`); of compound leaves all leaflets.
    rachis : (n_leaf, 3) ndarray, m, or None
        End of each compound leaf's rachis, in the leaf frame.
    """

    site: Site
    plant: Plant
    grid: BladeGrid
    axes: list[Floats]
    stems: list[tuple[Floats, Faces]]
    node: Floats
    upward: Floats
    azimuth: Floats
    petiole_angle: Floats
    petiole_length: Floats
    blades: Floats
    rachis: Floats | None = None

    def leaf_area(self) -> float:
        """One-sided area of all blades, m2."""
        return float(triangle_areas(self.blades, self.grid.faces).sum())


def grow(site: Site, plant: Plant, seed: int, turn: float = 0.0) -> Growth:
    """Build one plant at its place.

    Parameters
    ----------
    site : Site
        Where it stands.
    plant : Plant
        Its kind, with its stage. Within ± ``variation``, evenly spread: the plant's leaf size, each
        leaf's size, petiole angle and curvature as shares of what is stated; each blade's
        inclination by that share of a right angle; each azimuth by that share of the spiral's step.
    seed : int
        The canopy's seed.
    turn : float, rad
        Turns the whole plant beyond its random heading.

    Returns
    -------
    Growth
    """
    grown = grown_shares(plant)
    plant, n_leaf = at_stage(plant, grown), len(grown)
    shared = draws(seed, site, 0, 1, 2)[0]
    plant_turn = turn + 2.0 * np.pi * shared[0]
    plant_size = 1.0 + plant.variation * (2.0 * shared[1] - 1.0)

    axes: list[Floats] = []
    stems: list[tuple[Floats, Faces]] = []
    nodes, upwards, azimuths, chance = [], [], [], []
    for number, (axis, node, upward, sideways) in enumerate(
        _main_stems(site, plant, grown, plant_turn)
    ):
        axes.append(axis)
        stems.append(tube(axis, plant.stem_radius, sideways, STEM_SIDES))
        if len(node) == 0:
            continue  # the foot below the fork
        u = draws(seed, site, number + 1, n_leaf, N_DRAW)
        start = plant_turn + (2.0 * np.pi * u[0, 7] if plant.branches > 1 else 0.0)
        nodes.append(node)
        upwards.append(upward)
        azimuths.append(start + plant.spiral * np.arange(n_leaf))
        chance.append(u)

    # From here on a row is a leaf.
    vary = plant.variation * (2.0 * np.concatenate(chance) - 1.0)
    rank = np.linspace(0.0, 1.0, plant.nodes) if plant.nodes > 1 else np.array([0.5])
    profile = np.linspace(0.0, 1.0, len(plant.size_by_node))
    by_node = np.tile(np.interp(rank[:n_leaf], profile, plant.size_by_node), plant.branches)
    size = np.maximum(by_node * plant_size * (1.0 + vary[:, 0]), LEAST_SIZE)
    size *= np.tile(grown, plant.branches)
    grid = _shared_grid(plant.outline, plant.triangles_per_leaf)
    length, width = plant.blade_length * size, plant.blade_width * size
    inclination = plant.blade_angle + 0.5 * np.pi * vary[:, 1]
    curvature = plant.curvature * (1.0 + vary[:, 2])
    rachis: Floats | None = None
    if plant.leaflets is None:
        blades = bend_blades(
            grid,
            length=length,
            width=width,
            inclination=inclination,
            curvature=curvature,
            fold=plant.fold,
        )
    else:
        blades, rachis = bend_leaflets(
            grid,
            plant.leaflets,
            length=length,
            width=width,
            rachis=plant.leaflets.rachis_length * size,
            inclination=inclination,
            curvature=curvature,
            fold=plant.fold,
        )
        grid = _shared_compound(grid, plant.leaflets.pairs)
    return Growth(
        site=site,
        plant=plant,
        grid=grid,
        axes=axes,
        stems=stems,
        node=np.concatenate(nodes),
        upward=np.concatenate(upwards),
        azimuth=np.concatenate(azimuths) + plant.spiral * vary[:, 3],
        petiole_angle=plant.petiole_angle * (1.0 + vary[:, 4]),
        petiole_length=plant.petiole_length * size,
        blades=blades,
        rachis=rachis,
    )


def _main_stems(
    site: Site, plant: Plant, grown: Floats, turn: float
) -> list[tuple[Floats, Floats, Floats, Floats]]:
    """Axis points, nodes, upward directions at the nodes, and the sideways vector, stem by stem.

    One stem stands upright, with its first leaf at ``first_leaf_height``. Several leave the foot at
    that height by ``branch_angle`` from the vertical, evenly all round, and straighten to upright
    at their tips, as stems in a stand do; their first leaf is one internode above the fork. Each
    internode has the share `grown` of its length that the leaf above it has of its size.
    """
    foot = np.array([site.x, site.y, max(site.z, LIFT)])
    fork = np.array([site.x, site.y, max(site.z + plant.first_leaf_height, foot[2])])
    up, aside = np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0])
    tip = plant.stem_radius  # the last petiole leaves from inside the stem
    count = np.arange(len(grown))
    if plant.branches == 1:
        above_first = np.concatenate(([0.0], np.cumsum(grown[1:])))
        node = fork + plant.internode * above_first[:, None] * up
        axis = np.stack((foot, node[-1] + tip * up))
        return [(axis, node, np.tile(up, (len(grown), 1)), aside)]

    stems = [(np.stack((foot, fork + tip * up)), np.empty((0, 3)), np.empty((0, 3)), aside)]
    for branch in range(plant.branches):
        heading = turn + 2.0 * np.pi * branch / plant.branches
        outwards = np.array([np.cos(heading), np.sin(heading), 0.0])
        lean = plant.branch_angle * (1.0 - (count + 0.5) / plant.nodes)
        pieces = np.sin(lean)[:, None] * outwards + np.cos(lean)[:, None] * up
        node = fork + plant.internode * np.cumsum(grown[:, None] * pieces, axis=0)
        axis = np.concatenate((fork[None], node, node[-1:] + tip * pieces[-1:]))
        lean = plant.branch_angle * (1.0 - (count + 1.0) / plant.nodes)
        upward = np.sin(lean)[:, None] * outwards + np.cos(lean)[:, None] * up
        stems.append((axis, node, upward, np.cross(up, outwards)))
    return stems


def petiole_ends(growth: Growth, leaf: NDArray[np.intp], azimuth: Floats) -> tuple[Floats, Floats]:
    """Both ends of petioles at given azimuths.

    Parameters
    ----------
    growth : Growth
        The plant.
    leaf : (n,) int ndarray
        Which leaves; may repeat.
    azimuth : (n,) ndarray, rad
        Where each points, from +x towards +y.

    Returns
    -------
    start, end : (n, 3) ndarray, m
        `start` lies inside the stem; the part outside, from the stem's surface to the blade's base
        at `end`, has the stated length and the stated angle from the stem's upward direction.
    """
    up = growth.upward[leaf]
    outwards = np.stack((np.cos(azimuth), np.sin(azimuth), np.zeros_like(azimuth)), axis=-1)
    outwards = outwards - (outwards * up).sum(axis=1, keepdims=True) * up
    outwards /= np.linalg.norm(outwards, axis=1, keepdims=True)
    angle = growth.petiole_angle[leaf][:, None]
    direction = np.cos(angle) * up + np.sin(angle) * outwards
    surface = growth.node[leaf] + growth.plant.stem_radius * outwards
    # Half-way to the axis, but never far along a stem that a steep petiole hugs.
    sunk = 0.5 * growth.plant.stem_radius / np.maximum(np.abs(np.sin(angle)), 0.5)
    end = surface + growth.petiole_length[leaf][:, None] * direction
    return surface - sunk * direction, end


def place_blades(
    growth: Growth, leaf: NDArray[np.intp], azimuth: Floats, base: Floats, factor: float
) -> Floats:
    """Blades in the world frame.

    Parameters
    ----------
    growth : Growth
        The plant.
    leaf : (n,) int ndarray
        Which leaves; may repeat.
    azimuth : (n,) ndarray, rad
        Where each points.
    base : (n, 3) ndarray, m
        End of its petiole.
    factor : float
        Enlarges the blade about its base.

    Returns
    -------
    (n, n_vertex, 3) ndarray, m
    """
    placed: Floats = _turned(growth.blades[leaf] * factor, azimuth) + base[:, None, :]
    return placed


def stalk_mesh(growth: Growth, azimuth: Floats, factor: float = 1.0) -> tuple[Floats, Faces]:
    """All stems, petioles and rachises of a plant as one mesh of closed pieces, world frame.

    A rachis is enlarged by `factor` as the blades along it are.
    """
    meshes = list(growth.stems)
    if growth.plant.petiole_length > 0.0:
        start, end = petiole_ends(growth, np.arange(len(azimuth)), azimuth)
        radius = np.full(len(start), growth.plant.petiole_radius)
        meshes.append(prisms(start, end, radius, PETIOLE_SIDES))
        if growth.rachis is not None:
            tip = end + _turned(growth.rachis[:, None] * factor, azimuth)[:, 0]
            meshes.append(prisms(end, tip, RACHIS_RADIUS * radius, PETIOLE_SIDES))
    return join(meshes)


def _turned(vertices: Floats, azimuth: Floats) -> Floats:
    """Turn each mesh about the vertical: (n, n_vertex, 3) and (n,), rad."""
    cos, sin = np.cos(azimuth)[:, None], np.sin(azimuth)[:, None]
    x, y, z = vertices[..., 0], vertices[..., 1], vertices[..., 2]
    turned: Floats = np.stack((cos * x - sin * y, sin * x + cos * y, z), axis=-1)
    return turned
