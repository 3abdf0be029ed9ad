"""How a plant is built: main stems, nodes, and a leaf at every node, not yet in its place."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.blade import BladeGrid, bend_blades, blade_grid, triangle_areas
from canopysim.matter.leaflets import bend_leaflets, compound_grid
from canopysim.matter.main_stems import by_rank, main_stems
from canopysim.matter.planting import Site, draws
from canopysim.matter.stage import at_stage, grown_shares
from canopysim.matter.stalks import Faces, tube

if TYPE_CHECKING:
    from canopysim.scene.schema_matter import Plant

Floats = NDArray[np.float64]

STEM_SIDES = 6
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
    rachis : (n_leaf, n_point, 3) ndarray, m, or None
        Points along each compound leaf's rachis, in the leaf frame.
    stem, rank : (n_leaf,) int ndarray
        The main stem of each leaf, from 1, and its node, from 0 at the bottom.
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
    rachis: Floats | None
    stem: NDArray[np.intp]
    rank: NDArray[np.intp]

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
    plant, n_node = at_stage(plant, grown), len(grown)
    each = plant.leaves_per_node
    n_leaf = n_node * each
    shared = draws(seed, site, 0, 1, 2)[0]
    plant_turn = turn + 2.0 * np.pi * shared[0]
    plant_size = 1.0 + plant.variation * (2.0 * shared[1] - 1.0)
    rank = np.repeat(np.arange(n_node), each)
    round_node = 2.0 * np.pi / each * np.tile(np.arange(each), n_node)

    axes: list[Floats] = []
    stems: list[tuple[Floats, Faces]] = []
    nodes, upwards, azimuths, chance = [], [], [], []
    for number, (axis, node, upward, sideways) in enumerate(
        main_stems(site, plant, grown, plant_turn)
    ):
        axes.append(axis)
        stems.append(tube(axis, plant.stem_radius, sideways, STEM_SIDES))
        if len(node) == 0:
            continue  # the foot below the fork
        u = draws(seed, site, number + 1, n_leaf, N_DRAW)
        start = plant_turn + (2.0 * np.pi * u[0, 7] if plant.branches > 1 else 0.0)
        nodes.append(node[rank])
        upwards.append(upward[rank])
        azimuths.append(start + plant.spiral * rank + round_node)
        chance.append(u)

    # From here on a row is a leaf.
    def ranked(profile: tuple[float, ...] | None) -> Floats:
        return np.tile(by_rank(profile, plant.nodes, n_node)[rank], plant.branches)

    vary = plant.variation * (2.0 * np.concatenate(chance) - 1.0)
    size = ranked(plant.size_by_node) * plant_size * (1.0 + vary[:, 0])
    size = np.maximum(size, LEAST_SIZE) * np.tile(grown[rank], plant.branches)
    stem = np.repeat(np.arange(len(nodes)), n_leaf) + len(axes) - len(nodes) + 1
    kept = np.concatenate(nodes)[:, 2] - site.z >= site.pruned_below
    chosen = {
        "node": np.concatenate(nodes),
        "upward": np.concatenate(upwards),
        "azimuth": np.concatenate(azimuths) + plant.spiral * vary[:, 3],
        "petiole_angle": ranked(plant.petiole_angle) * (1.0 + vary[:, 4]),
        "petiole_length": plant.petiole_length * size * ranked(plant.petiole_by_node),
        "stem": stem,
        "rank": np.tile(rank, plant.branches),
    }
    grid, blades, rachis = _blades(
        plant,
        size=size[kept],
        inclination=(ranked(plant.blade_angle) + 0.5 * np.pi * vary[:, 1])[kept],
        curvature=(ranked(plant.curvature) * (1.0 + vary[:, 2]))[kept],
    )
    return Growth(
        site=site,
        plant=plant,
        grid=grid,
        axes=axes,
        stems=stems,
        blades=blades,
        rachis=rachis,
        **{key: values[kept] for key, values in chosen.items()},
    )


def _blades(
    plant: Plant, *, size: Floats, inclination: Floats, curvature: Floats
) -> tuple[BladeGrid, Floats, Floats | None]:
    """Layout, vertices in the leaf frame, and rachises of leaves of given sizes and angles."""
    grid = _shared_grid(plant.outline, plant.triangles_per_leaf)
    length, width = plant.blade_length * size, plant.blade_width * size
    ripple = (0, 0.0) if plant.ripple is None else (plant.ripple.waves, plant.ripple.height)
    if plant.leaflets is None:
        blades = bend_blades(
            grid,
            length=length,
            width=width,
            inclination=inclination,
            curvature=curvature,
            fold=plant.fold,
            ripple=ripple,
        )
        return grid, blades, None
    blades, rachis = bend_leaflets(
        grid,
        plant.leaflets,
        length=length,
        width=width,
        rachis=plant.leaflets.rachis_length * size,
        inclination=inclination,
        curvature=curvature,
        fold=plant.fold,
        ripple=ripple,
    )
    return _shared_compound(grid, plant.leaflets.pairs), blades, rachis
