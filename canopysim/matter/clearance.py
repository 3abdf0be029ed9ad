"""Room for every leaf: turned about its stem until it keeps off the walls and its own stems."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.growth import Growth, grow, petiole_ends, place_blades
from canopysim.matter.planting import Site

if TYPE_CHECKING:
    from canopysim.scene.schema_matter import Plant

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

CLEARANCE = 1e-3
"""m; kept between every leaf or stem and the walls, floor and ceiling."""
TURN_STEP = np.deg2rad(1.0)
"""Leaves look for room in steps of this much to either side."""
HEADINGS = np.deg2rad([side * angle for angle in range(5, 181, 5) for side in (1.0, -1.0)])
"""Turns of a whole plant whose stems look for room, nearest first."""


def turn_clear(growth: Growth, factor: float, box: Floats) -> tuple[Floats, NDArray[np.intp]]:
    """Turn leaves that have no room where they would like to grow.

    Parameters
    ----------
    growth : Growth
        The plant.
    factor : float
        Enlargement of its blades.
    box : (3,) ndarray, m
        Width, depth and height of the enclosure.

    Returns
    -------
    azimuth : (n_leaf,) ndarray, rad
        The nearest azimuth at which a leaf keeps off the enclosure and no stem of its own plant
        passes through its blade; where there is none, the nearest at which it keeps off the
        enclosure. Turning is rigid: no area changes.
    stuck : (n,) int ndarray
        Leaves that fit nowhere.
    """
    azimuth = growth.azimuth.copy()
    everyone = np.arange(len(azimuth))
    blades = leaves_at(growth, everyone, azimuth, factor)
    cramped = ~_fits(growth, blades, box) | pierced(growth, blades)

    # Nearest first, to both sides in turn: 0, +1, -1, +2, -2, ... steps.
    step = np.arange(1, round(np.pi / TURN_STEP) + 1)
    turns = TURN_STEP * np.concatenate(([0], np.stack((step, -step), axis=1).ravel()))
    stuck = []
    for leaf in everyone[cramped]:
        tried = growth.azimuth[leaf] + turns
        blades = leaves_at(growth, np.full(len(tried), leaf), tried, factor)
        fits = np.flatnonzero(_fits(growth, blades, box))
        if len(fits) == 0:
            stuck.append(leaf)
            continue
        whole = fits[~pierced(growth, blades[fits])]
        azimuth[leaf] = tried[whole[0] if len(whole) else fits[0]]
    return azimuth, np.array(stuck, dtype=np.intp)


def grow_inside(site: Site, plant: Plant, seed: int, box: Floats) -> Growth:
    """Grow a plant, turned as a whole where one of its stems would meet a wall.

    Parameters
    ----------
    site, plant, seed
        As for `canopysim.matter.growth.grow`.
    box : (3,) ndarray, m
        Width, depth and height of the enclosure.

    Returns
    -------
    Growth
        At the nearest heading at which all stems keep off the enclosure; unturned if there is none.
    """
    first = grow(site, plant, seed)
    for turn in (0.0, *HEADINGS) if plant.branches > 1 else ():
        turned = grow(site, plant, seed, turn)
        stems = np.concatenate([vertices for vertices, _ in turned.stems])
        if inside(stems[None], box)[0]:
            return turned
    return first


def leaves_at(growth: Growth, leaf: NDArray[np.intp], azimuth: Floats, factor: float) -> Floats:
    """Blades of some leaves at given azimuths, world frame: (n, n_vertex, 3), m."""
    _, base = petiole_ends(growth, leaf, azimuth)
    return place_blades(growth, leaf, azimuth, base, factor)


def _fits(growth: Growth, blades: Floats, box: Floats) -> Flags:
    """Whether blades, and the ends of their petioles, keep clear of the enclosure."""
    around = growth.plant.petiole_radius * np.array([[-1.0, -1.0, -1.0], [1.0, 1.0, 1.0]])
    return inside(blades, box) & inside(blades[:, :1] + around, box)


def inside(vertices: Floats, box: Floats) -> Flags:
    """Whether every vertex of each mesh keeps clear of the enclosure: (n, n_vertex, 3) -> (n,)."""
    low, high = vertices.min(axis=1), vertices.max(axis=1)
    fits: Flags = np.all((low >= CLEARANCE) & (high <= box - CLEARANCE), axis=1)
    return fits


def pierced(growth: Growth, blades: Floats) -> Flags:
    """Whether the axis of a stem of the plant passes through a blade.

    Parameters
    ----------
    growth : Growth
        The plant.
    blades : (n, n_vertex, 3) ndarray, m
        Blades in the world frame.

    Returns
    -------
    (n,) bool ndarray

    Notes
    -----
    The meeting of a piece of axis with a triangle is that of Moeller & Trumbore 1997, J. Graphics
    Tools 2:21. Neighbours' stems are not looked at, so that plants do not depend on each other.
    """
    start = np.concatenate([axis[:-1] for axis in growth.axes])
    end = np.concatenate([axis[1:] for axis in growth.axes])
    # Boxes first: few blades come near a stem.
    low, high = blades.min(axis=1)[:, None], blades.max(axis=1)[:, None]
    near = (low <= np.maximum(start, end)) & (high >= np.minimum(start, end))
    blade, piece = np.nonzero(near.all(axis=2))

    corners = blades[blade][:, growth.grid.faces]
    origin, along = start[piece, None], (end - start)[piece, None]
    side_u, side_v = corners[:, :, 1] - corners[:, :, 0], corners[:, :, 2] - corners[:, :, 0]
    across = np.cross(along, side_v)
    volume = (side_u * across).sum(axis=-1)
    # A triangle seen edge-on is not met; its neighbours are.
    scale = 1.0 / np.where(volume == 0.0, np.inf, volume)
    offset = origin - corners[:, :, 0]
    turned = np.cross(offset, side_u)
    u = (offset * across).sum(axis=-1) * scale
    v = (along * turned).sum(axis=-1) * scale
    t = (side_v * turned).sum(axis=-1) * scale
    in_triangle = (volume != 0.0) & (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0)
    met = (in_triangle & (t >= 0.0) & (t <= 1.0)).any(axis=1)

    answer = np.zeros(len(blades), dtype=np.bool_)
    answer[blade[met]] = True
    return answer
