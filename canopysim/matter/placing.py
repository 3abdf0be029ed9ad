"""A plant's leaves in their places: petioles, blades and rachises at given azimuths."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.leaflets import RACHIS_RADIUS
from canopysim.matter.stalks import Faces, join, prisms

if TYPE_CHECKING:
    from canopysim.matter.growth import Growth

Floats = NDArray[np.float64]

PETIOLE_SIDES = 4


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
        As of `stalk_ends`: the blade's base is at `end`.
    """
    return stalk_ends(
        growth.node[leaf],
        growth.upward[leaf],
        growth.plant.stem_radius,
        azimuth,
        growth.petiole_angle[leaf],
        growth.petiole_length[leaf],
    )


def stalk_ends(
    node: Floats, up: Floats, stem_radius: float, azimuth: Floats, angle: Floats, length: Floats
) -> tuple[Floats, Floats]:
    """Both ends of stalks that leave a stem.

    Parameters
    ----------
    node, up : (n, 3) ndarray, m and unit vectors
        Where each leaves its stem's axis, and the stem's direction there.
    stem_radius : float, m
    azimuth, angle : (n,) ndarray, rad
        Where each points, from +x towards +y, and how far from the stem's direction.
    length : (n,) ndarray, m

    Returns
    -------
    start, end : (n, 3) ndarray, m
        `start` lies inside the stem; the part outside, from the stem's surface to `end`, has the
        stated length and the stated angle from the stem's upward direction.
    """
    outwards = np.stack((np.cos(azimuth), np.sin(azimuth), np.zeros_like(azimuth)), axis=-1)
    outwards = outwards - (outwards * up).sum(axis=1, keepdims=True) * up
    outwards /= np.linalg.norm(outwards, axis=1, keepdims=True)
    angle = angle[:, None]
    direction = np.cos(angle) * up + np.sin(angle) * outwards
    surface = node + stem_radius * outwards
    # Half-way to the axis, but never far along a stem that a steep stalk hugs.
    sunk = 0.5 * stem_radius / np.maximum(np.abs(np.sin(angle)), 0.5)
    end = surface + length[:, None] * direction
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
            line = end[:, None] + _turned(growth.rachis * factor, azimuth)
            for k in range(line.shape[1] - 1):
                # Bent ones taper: what is joined to a piece is thinner than it.
                share = RACHIS_RADIUS - 0.4 * k / line.shape[1]
                meshes.append(prisms(line[:, k], line[:, k + 1], share * radius, PETIOLE_SIDES))
    return join(meshes)


def _turned(vertices: Floats, azimuth: Floats) -> Floats:
    """Turn each mesh about the vertical: (n, n_vertex, 3) and (n,), rad."""
    cos, sin = np.cos(azimuth)[:, None], np.sin(azimuth)[:, None]
    x, y, z = vertices[..., 0], vertices[..., 1], vertices[..., 2]
    turned: Floats = np.stack((cos * x - sin * y, sin * x + cos * y, z), axis=-1)
    return turned
