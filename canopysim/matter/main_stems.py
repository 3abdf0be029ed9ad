"""The lines along which the stems of a plant grow, and where leaves leave them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.vectors import cross

if TYPE_CHECKING:
    from canopysim.matter.planting import Site
    from canopysim.scene.schema_matter import Plant

Floats = NDArray[np.float64]

LIFT = 1e-3
"""m; least height of a stem's foot above the floor, so that no two faces lie in one another."""


def by_rank(profile: tuple[float, ...] | None, n_node: int, n_grown: int) -> Floats:
    """Values at the lowest nodes of a stem of `n_node`, interpolated: (n_grown,); 1 without any."""
    if profile is None:
        return np.ones(n_grown)
    rank = np.linspace(0.0, 1.0, n_node) if n_node > 1 else np.array([0.5])
    stations = np.linspace(0.0, 1.0, len(profile))
    values: Floats = np.interp(rank[:n_grown], stations, profile)
    return values


def main_stems(
    site: Site, plant: Plant, grown: Floats, turn: float
) -> list[tuple[Floats, Floats, Floats, Floats]]:
    """Axis points, nodes, upward directions at the nodes, and the sideways vector, stem by stem.

    One stem stands upright, with its first leaf at ``first_leaf_height``. Several leave the foot at
    that height by ``branch_angle`` from the vertical, evenly all round, and straighten to upright
    at their tips, as stems in a stand do; their first leaf is one internode above the fork. Each
    internode has the share `grown` of its length that the leaf above it has of its size, beside
    what its rank makes it.
    """
    foot = np.array([site.x, site.y, max(site.z, LIFT)])
    fork = np.array([site.x, site.y, max(site.z + plant.first_leaf_height, foot[2])])
    up, aside = np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0])
    tip = plant.stem_radius  # the last petiole leaves from inside the stem
    count = np.arange(len(grown))
    grown = grown * by_rank(plant.internode_by_node, plant.nodes, len(grown))
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
        stems.append((axis, node, upward, cross(up, outwards)))
    return stems
