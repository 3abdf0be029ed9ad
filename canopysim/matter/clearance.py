"""Room for every leaf: turned about its stem, or raised, until it keeps off walls and its stems."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.growth import Growth, grow
from canopysim.matter.pierced import extent, pierced
from canopysim.matter.placing import petiole_ends, place_blades
from canopysim.matter.planting import Site

if TYPE_CHECKING:
    from canopysim.scene.schema import Scene
    from canopysim.scene.schema_matter import Plant

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Leaves = NDArray[np.intp]

CLEARANCE = 1e-3
"""m; kept between every leaf or stem and the walls, floor and ceiling."""
_STEP = np.arange(1, 181)
TURNS = np.deg2rad(1.0) * np.concatenate(([0], np.stack((_STEP, -_STEP), axis=1).ravel()))
"""Turns at which a leaf looks for room, nearest first, to both sides: 0, +1, -1, +2, ... deg."""
LOOKS = (17, 65, 161)
"""Numbers of turns after which leaves that have found room stop looking."""
LIFTS = np.deg2rad([side * angle for angle in range(5, 46, 5) for side in (1.0, -1.0)])
"""Angles by which a leaf that no turn helps is raised or lowered at its base, smallest first."""
LIFTED_TURNS = np.deg2rad([0.0, *(side * k for k in range(15, 181, 15) for side in (1.0, -1.0))])
HEADINGS = np.deg2rad([side * angle for angle in range(5, 181, 5) for side in (1.0, -1.0)])
"""Turns of a whole plant whose stems look for room, nearest first."""


@dataclass(frozen=True, eq=False)
class Settled:
    """A plant whose leaves have found their places.

    Parameters
    ----------
    growth : Growth
        The plant, with the blades that were raised or lowered.
    azimuth : (n_leaf,) ndarray, rad
        Where each leaf points.
    walled : (n,) int ndarray
        Leaves that would have reached into the walls, floor or ceiling as they grew.
    stuck : (n,) int ndarray
        Those of them that fit nowhere.
    """

    growth: Growth
    azimuth: Floats
    walled: Leaves
    stuck: Leaves


def room_of(scene: Scene) -> Floats:
    """Where leaves and stems of a scene may be: (2, 3), m, lower ends and upper ends.

    Through sides that repeat they may go on for ever, where the canopy wraps.
    """
    room = np.array([np.zeros(3), scene.enclosure.size])
    room += CLEARANCE * np.array([[1.0], [-1.0]])
    if scene.canopy is not None and scene.canopy.wrap:
        for axis, extent_name in enumerate(("width", "depth")):
            if extent_name in scene.enclosure.repeat:
                room[:, axis] = -np.inf, np.inf
    return room


def settle(growth: Growth, factor: float, room: Floats) -> Settled:
    """Find room for leaves that have none where they would like to grow.

    Parameters
    ----------
    growth : Growth
        The plant.
    factor : float
        Enlargement of its blades.
    room : (2, 3) ndarray, m
        From `room_of`.

    Returns
    -------
    Settled
        Each leaf at the nearest azimuth at which it keeps off the enclosure and no stem of its own
        plant passes through its blade; where there is none, at the nearest at which it keeps off
        the enclosure. A leaf without any is raised or lowered at its base by as little as helps, by
        up to 45 degrees. All this is rigid: no area changes.
    """
    azimuth = growth.azimuth.copy()
    everyone = np.arange(len(azimuth))
    blades = leaves_at(growth, everyone, azimuth, factor)
    cramped = ~_fits(growth, blades, room)
    searching = everyone[cramped | pierced(growth, blades)]
    fallback = np.full(len(azimuth), -1)  # the first turn that keeps off the enclosure

    # All of them look at once, a few turns each time: most find room near by.
    for first, last in pairwise((0, *LOOKS, len(TURNS))):
        if len(searching) == 0:
            break
        shape = (len(searching), last - first)
        tried = growth.azimuth[searching][:, None] + TURNS[first:last]
        blades = leaves_at(growth, np.repeat(searching, shape[1]), tried.ravel(), factor)
        fits = _fits(growth, blades, room)
        whole = fits.copy()
        whole[fits] = ~pierced(growth, blades[fits])
        fits, whole = fits.reshape(shape), whole.reshape(shape)
        new = fits.any(axis=1) & (fallback[searching] < 0)
        fallback[searching[new]] = first + fits[new].argmax(axis=1)
        found = whole.any(axis=1)
        azimuth[searching[found]] = tried[found, whole[found].argmax(axis=1)]
        searching = searching[~found]

    partly = searching[fallback[searching] >= 0]
    azimuth[partly] = growth.azimuth[partly] + TURNS[fallback[partly]]
    stuck = searching[fallback[searching] < 0]
    growth, stuck = _lifted(growth, azimuth, stuck, factor, room)
    return Settled(growth, azimuth, everyone[cramped], stuck)


def _lifted(
    growth: Growth, azimuth: Floats, stuck: Leaves, factor: float, room: Floats
) -> tuple[Growth, Leaves]:
    """Raise or lower leaves at their bases; `azimuth` is changed in place. Give who stays stuck."""
    for lift in LIFTS:
        if len(stuck) == 0:
            break
        tried = _pitched(growth, stuck, lift)
        n_turn = len(LIFTED_TURNS)
        turns = growth.azimuth[stuck][:, None] + LIFTED_TURNS
        blades = leaves_at(tried, np.repeat(stuck, n_turn), turns.ravel(), factor)
        fits = _fits(tried, blades, room).reshape(len(stuck), n_turn)
        found = fits.any(axis=1)
        if found.any():
            azimuth[stuck[found]] = turns[found, fits[found].argmax(axis=1)]
            growth = _pitched(growth, stuck[found], lift)
            stuck = stuck[~found]
    return growth, stuck


def _pitched(growth: Growth, leaf: Leaves, angle: float) -> Growth:
    """Turn some blades upwards about their bases."""
    cos, sin = np.cos(angle), np.sin(angle)

    def turned(points: Floats) -> Floats:
        points = points.copy()
        x, z = points[leaf][..., 0], points[leaf][..., 2]
        points[leaf, :, 0] = cos * x - sin * z
        points[leaf, :, 2] = sin * x + cos * z
        return points

    rachis = None if growth.rachis is None else turned(growth.rachis)
    return replace(growth, blades=turned(growth.blades), rachis=rachis)


def grow_inside(site: Site, plant: Plant, seed: int, room: Floats) -> Growth:
    """Grow a plant, turned as a whole where one of its stems would meet a wall.

    Parameters
    ----------
    site, plant, seed
        As for `canopysim.matter.growth.grow`.
    room : (2, 3) ndarray, m
        From `room_of`.

    Returns
    -------
    Growth
        At the nearest heading at which all stems keep off the enclosure; unturned if there is none.
    """
    first = grow(site, plant, seed)
    if plant.branches == 1 or stems_inside(first, room):
        return first
    for turn in HEADINGS:
        turned = grow(site, plant, seed, turn)
        if stems_inside(turned, room):
            return turned
    return first


def stems_inside(growth: Growth, room: Floats) -> bool:
    """Whether all stems of a plant keep clear of the enclosure."""
    stems = np.concatenate([vertices for vertices, _ in growth.stems])
    return bool(inside(stems[None], room)[0])


def leaves_at(growth: Growth, leaf: Leaves, azimuth: Floats, factor: float) -> Floats:
    """Blades of some leaves at given azimuths, world frame: (n, n_vertex, 3), m."""
    _, base = petiole_ends(growth, leaf, azimuth)
    return place_blades(growth, leaf, azimuth, base, factor)


def _fits(growth: Growth, blades: Floats, room: Floats) -> Flags:
    """Whether blades, and the ends of their petioles, keep clear of the enclosure."""
    around = growth.plant.petiole_radius * np.array([[-1.0, -1.0, -1.0], [1.0, 1.0, 1.0]])
    fits = inside(blades, room) & inside(blades[:, :1] + around, room)
    if growth.plant.leaflets is not None:
        # Leaflets begin at the rachis: its end, and where it bends.
        leaflet = blades.shape[1] // (2 * growth.plant.leaflets.pairs + 1)
        starts = blades[:, ::leaflet] if growth.plant.leaflets.bend else blades[:, -leaflet:][:, :1]
        fits &= inside(starts + around[0], room) & inside(starts + around[1], room)
    return fits


def inside(vertices: Floats, room: Floats) -> Flags:
    """Whether every vertex of each mesh lies in the room: (n, n_vertex, 3) -> (n,)."""
    low, high = extent(vertices)
    fits: Flags = np.all((low >= room[0]) & (high <= room[1]), axis=1)
    return fits
