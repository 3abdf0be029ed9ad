"""Flowers and fruit of one plant: where they hang, how large they are at its stage.

A plant's age is counted in leaves, as in `canopysim.matter.stage`: what stands at node k (from 0)
has the age a = s N - k. It comes when a exceeds ``after``, and has the share
(a - after) / (full_after - after), at most 1, of its full-grown length, width and stalk.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.pierced import extent
from canopysim.matter.placing import stalk_ends
from canopysim.matter.planting import draws
from canopysim.matter.solids import unit_solid
from canopysim.matter.stage import LEAST_GROWN
from canopysim.matter.stalks import Faces, prisms, repeat_faces
from canopysim.matter.vectors import cross

if TYPE_CHECKING:
    from canopysim.matter.growth import Growth
    from canopysim.scene.schema_bearing import Bearing

Floats = NDArray[np.float64]
Mesh = tuple[Floats, Faces]

STALK_RADIUS = 0.7
"""Of the stalks, as a share of the petioles' radius (assumed)."""
STALK_SIDES = 3
SPREAD = 1.0
"""rad; a stalk leaves the stem opposite to its leaf, within this to either side (assumed)."""
FIRST_SHARE = 0.4
"""Share of the stalk at which the first of several sits."""
OWN_STREAM = 1 << 32
"""Added to a stem's number: random numbers of what it bears, apart from those of its leaves."""
N_DRAW = 4
_TURNS = np.deg2rad([0.0, *(side * turn for turn in range(15, 181, 15) for side in (1.0, -1.0))])


@dataclass(frozen=True, eq=False)
class Borne:
    """What one plant bears.

    Parameters
    ----------
    solids : list of (surface, mesh)
        Closed meshes, world frame, m; one for each entry of ``bears`` that is there.
    stalks : list of mesh
        Closed prisms.
    n_stuck : int
        Flowers and fruit that found no room.
    """

    solids: list[tuple[str, Mesh]]
    stalks: list[Mesh]
    n_stuck: int


def bear(growth: Growth, azimuth: Floats, seed: int, room: Floats) -> Borne:
    """Grow the flowers and fruit of a plant.

    Parameters
    ----------
    growth : Growth
        The plant.
    azimuth : (n_leaf,) ndarray, rad
        Of its leaves in their places.
    seed : int
        The canopy's seed.
    room : (2, 3) ndarray, m
        Lower and upper ends of where all may be.

    Returns
    -------
    Borne
        Each stalk opposite to its leaf, or turned as little as keeps what it carries off the walls.
        What would reach into the floor lies on it.
    """
    plant = growth.plant
    found = Borne([], [], 0)
    if not plant.bears:
        return found
    age = (1.0 if plant.stage is None else plant.stage) * plant.nodes - growth.rank
    # One of the leaves at each node stands for it.
    first = np.unique(growth.stem * 1000 + growth.rank, return_index=True)[1]
    chance = np.zeros((len(age), N_DRAW))
    for stem in range(1, int(growth.stem.max()) + 1):
        mine = growth.stem == stem
        numbers = draws(seed, growth.site, OWN_STREAM + stem, plant.nodes, N_DRAW)
        chance[mine] = numbers[growth.rank[mine]]
    n_stuck = 0
    for bearing in plant.bears:
        node = growth.rank[first] + 1 - bearing.first_node
        grown = np.minimum((age[first] - bearing.after) / bearing.grows_over, 1.0)
        there = (node >= 0) & (node % bearing.every == 0) & (grown >= LEAST_GROWN)
        if bearing.gone_after is not None:
            there &= age[first] < bearing.gone_after
        if not there.any():
            continue
        rows = first[there]
        vary = 2.0 * chance[rows] - 1.0
        heading = azimuth[rows] + np.pi + SPREAD * vary[:, 0]
        size = grown[there] * (1.0 + plant.variation * vary[:, 1])
        angle = bearing.stalk_angle * (1.0 + plant.variation * vary[:, 2])
        solids, start, end = _in_room(growth, bearing, rows, heading, size, angle, room)
        n_stuck += int((~_inside(solids, room)).sum())
        n_copy = solids.shape[0] * solids.shape[1]
        faces = repeat_faces(unit_solid(bearing.shape)[1], n_copy, solids.shape[2])
        found.solids.append((bearing.surface, (solids.reshape(-1, 3), faces)))
        if bearing.stalk_length > 0:
            radius = STALK_RADIUS * plant.petiole_radius * np.minimum(grown[there] + 0.3, 1.0)
            found.stalks.append(prisms(start, end, radius, STALK_SIDES))
    return Borne(found.solids, found.stalks, n_stuck)


def _in_room(
    growth: Growth,
    bearing: Bearing,
    rows: NDArray[np.intp],
    heading: Floats,
    size: Floats,
    angle: Floats,
    room: Floats,
) -> tuple[Floats, Floats, Floats]:
    """Solids (n, number, n_vertex, 3) and both ends of their stalks, turned to where there is room.

    Where there is none they are left unturned.
    """
    floor = float(room[0, 2])
    placed = _placed(growth, bearing, rows, heading, size, angle, floor)
    lost = np.flatnonzero(~_inside(placed[0], room))
    for turn in _TURNS[1:]:
        if len(lost) == 0:
            break
        tried = _placed(
            growth, bearing, rows[lost], heading[lost] + turn, size[lost], angle[lost], floor
        )
        found = _inside(tried[0], room)
        for array, new in zip(placed, tried, strict=True):
            array[lost[found]] = new[found]
        lost = lost[~found]
    return placed


def _inside(solids: Floats, room: Floats) -> NDArray[np.bool_]:
    """Whether all that a stalk carries lies in the room: (n, number, n_vertex, 3) to (n,)."""
    low, high = extent(solids.reshape(len(solids), -1, 3))
    answer: NDArray[np.bool_] = np.all((low >= room[0]) & (high <= room[1]), axis=1)
    return answer


def _placed(
    growth: Growth,
    bearing: Bearing,
    rows: NDArray[np.intp],
    heading: Floats,
    size: Floats,
    angle: Floats,
    floor: float,
) -> tuple[Floats, Floats, Floats]:
    """Solids and both ends of their stalks at given headings; lifted on to the floor."""
    length = np.maximum(bearing.stalk_length * size, 1e-6)
    start, end = stalk_ends(
        growth.node[rows], growth.upward[rows], growth.plant.stem_radius, heading, angle, length
    )
    solids = _along(bearing, start, end, size)
    lift = np.maximum(floor - solids[..., 2].reshape(len(solids), -1).min(axis=1), 0.0)
    if not lift.any():
        return solids, start, end
    end[:, 2] += lift
    solids = _along(bearing, start, end, size)
    # A stalk that was raised at its end raises what sits half-way by less.
    solids[..., 2] += np.maximum(floor - solids[..., 2].min(axis=2, keepdims=True), 0.0)
    return solids, start, end


def _along(bearing: Bearing, start: Floats, end: Floats, size: Floats) -> Floats:
    """Solids of one kind along stalks: (n, number, n_vertex, 3)."""
    unit, _ = unit_solid(bearing.shape)
    along = end - start
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    side = np.stack((-along[:, 1], along[:, 0], 0.0 * along[:, 0]), axis=1)
    flat = np.linalg.norm(side, axis=1, keepdims=True)
    side = np.where(flat < 1e-9, np.array([1.0, 0.0, 0.0]), side / np.maximum(flat, 1e-9))
    axis = np.tile(np.array([0.0, 0.0, -1.0]), (len(along), 1)) if bearing.hangs else along
    # Both are square to the axis: the side is level and square to the stalk.
    other = cross(axis, side)

    number = bearing.number
    share = np.linspace(FIRST_SHARE, 1.0, number) if number > 1 else np.ones(1)
    row = np.where(np.arange(number) % 2 == 0, 0.5, -0.5) * bearing.width * (number > 1)
    if number > 1:
        row[-1] = 0.0
    at = start[:, None] + share[:, None] * (end - start)[:, None]
    at = at + (row * size[:, None])[..., None] * side[:, None]
    x, y, z = (unit[:, k, None] for k in range(3))
    shape = bearing.width * (x * side[:, None] + y * other[:, None])
    shape = size[:, None, None] * (shape + bearing.length * z * axis[:, None])
    solids: Floats = at[:, :, None] + shape[:, None]
    return solids
