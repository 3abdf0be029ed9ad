"""Room for every leaf: turned about its stem until it keeps off the walls and its own stems."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.growth import Growth, grow
from canopysim.matter.placing import petiole_ends, place_blades
from canopysim.matter.planting import Site

if TYPE_CHECKING:
    from canopysim.scene.schema_matter import Plant

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

CLEARANCE = 1e-3
"""m; kept between every leaf or stem and the walls, floor and ceiling."""
_STEP = np.arange(1, 181)
TURNS = np.deg2rad(1.0) * np.concatenate(([0], np.stack((_STEP, -_STEP), axis=1).ravel()))
"""Turns at which a leaf looks for room, nearest first, to both sides: 0, +1, -1, +2, ... deg."""
LOOKS = (17, 65, 161)
"""Numbers of turns after which leaves that have found room stop looking."""
HEADINGS = np.deg2rad([side * angle for angle in range(5, 181, 5) for side in (1.0, -1.0)])
"""Turns of a whole plant whose stems look for room, nearest first."""


def turn_clear(
    growth: Growth, factor: float, box: Floats
) -> tuple[Floats, NDArray[np.intp], NDArray[np.intp]]:
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
    walled : (n,) int ndarray
        Leaves that would have reached into the walls, floor or ceiling as they grew.
    stuck : (n,) int ndarray
        Those of them that fit nowhere.
    """
    azimuth = growth.azimuth.copy()
    everyone = np.arange(len(azimuth))
    blades = leaves_at(growth, everyone, azimuth, factor)
    cramped = ~_fits(growth, blades, box)
    searching = everyone[cramped | pierced(growth, blades)]
    fallback = np.full(len(azimuth), -1)  # the first turn that keeps off the enclosure

    # All of them look at once, a few turns each time: most find room near by.
    for first, last in pairwise((0, *LOOKS, len(TURNS))):
        if len(searching) == 0:
            break
        shape = (len(searching), last - first)
        tried = growth.azimuth[searching][:, None] + TURNS[first:last]
        blades = leaves_at(growth, np.repeat(searching, shape[1]), tried.ravel(), factor)
        fits = _fits(growth, blades, box)
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
    return azimuth, everyone[cramped], searching[fallback[searching] < 0]


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
    if plant.branches == 1 or _stems_inside(first, box):
        return first
    for turn in HEADINGS:
        turned = grow(site, plant, seed, turn)
        if _stems_inside(turned, box):
            return turned
    return first


def _stems_inside(growth: Growth, box: Floats) -> bool:
    """Whether all stems of a plant keep clear of the enclosure."""
    stems = np.concatenate([vertices for vertices, _ in growth.stems])
    return bool(inside(stems[None], box)[0])


def leaves_at(growth: Growth, leaf: NDArray[np.intp], azimuth: Floats, factor: float) -> Floats:
    """Blades of some leaves at given azimuths, world frame: (n, n_vertex, 3), m."""
    _, base = petiole_ends(growth, leaf, azimuth)
    return place_blades(growth, leaf, azimuth, base, factor)


def _fits(growth: Growth, blades: Floats, box: Floats) -> Flags:
    """Whether blades, and the ends of their petioles, keep clear of the enclosure."""
    around = growth.plant.petiole_radius * np.array([[-1.0, -1.0, -1.0], [1.0, 1.0, 1.0]])
    fits = inside(blades, box) & inside(blades[:, :1] + around, box)
    if growth.plant.leaflets is not None:
        # Leaflets begin at the rachis: its end, and where it bends.
        leaflet = blades.shape[1] // (2 * growth.plant.leaflets.pairs + 1)
        starts = blades[:, ::leaflet] if growth.plant.leaflets.bend else blades[:, -leaflet:][:, :1]
        fits &= inside(starts + around[0], box) & inside(starts + around[1], box)
    return fits


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
    answer = np.zeros(len(blades), dtype=np.bool_)
    if len(blades) == 0:
        return answer
    start = np.concatenate([axis[:-1] for axis in growth.axes])
    end = np.concatenate([axis[1:] for axis in growth.axes])
    # Boxes first: few blades come near a stem.
    low, high = blades.min(axis=1), blades.max(axis=1)
    least, most = np.minimum(start, end), np.maximum(start, end)
    near = np.ones((len(blades), len(start)), dtype=np.bool_)
    for axis in range(3):
        near &= (low[:, axis, None] <= most[:, axis]) & (high[:, axis, None] >= least[:, axis])
    blade, piece = np.nonzero(near)

    # Components first, so that each is one long array.
    corners = np.ascontiguousarray(np.moveaxis(blades[blade][:, growth.grid.faces], (2, 3), (0, 1)))
    origin, along = start[piece].T[:, :, None], (end - start)[piece].T[:, :, None]
    side_u, side_v = corners[1] - corners[0], corners[2] - corners[0]
    across = _cross(along, side_v)
    volume = _dot(side_u, across)
    # A triangle seen edge-on is not met; its neighbours are.
    scale = 1.0 / np.where(volume == 0.0, np.inf, volume)
    offset = origin - corners[0]
    turned = _cross(offset, side_u)
    u = _dot(offset, across) * scale
    v = _dot(along, turned) * scale
    t = _dot(side_v, turned) * scale
    in_triangle = (volume != 0.0) & (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0)
    met = (in_triangle & (t >= 0.0) & (t <= 1.0)).any(axis=1)

    answer[blade[met]] = True
    return answer


def _cross(a: Floats, b: Floats) -> Floats:
    """Cross products; the first axis holds x, y, z."""
    return np.stack(
        (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])
    )


def _dot(a: Floats, b: Floats) -> Floats:
    """Dot products; the first axis holds x, y, z."""
    product: Floats = a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
    return product
