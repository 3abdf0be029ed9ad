"""Compound leaves: pairs of leaflets along a rachis, and one more at its end.

Leaf frame as in `canopysim.matter.blade`. All leaflets are blades of one shape. The first pair
leaves the rachis at its base, the others follow at equal distances, the last leaflet ends it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.blade import BladeGrid, bend_blades
from canopysim.matter.stalks import repeat_faces

if TYPE_CHECKING:
    from canopysim.scene.schema_plant import Leaflets

Floats = NDArray[np.float64]

RACHIS_RADIUS = 0.8
"""Of the rachis, as a share of the petiole's radius (assumed)."""


def compound_grid(leaflet: BladeGrid, n_pair: int) -> BladeGrid:
    """Lay out a compound leaf.

    Parameters
    ----------
    leaflet : BladeGrid
        Layout of one leaflet.
    n_pair : int
        Pairs of leaflets beside the one at the end.

    Returns
    -------
    BladeGrid
        Of all leaflets: pair by pair from the leaf's base, the left one first, the end one last.
    """
    n_leaflet = 2 * n_pair + 1
    return BladeGrid(
        np.tile(leaflet.along, n_leaflet),
        np.tile(leaflet.across, n_leaflet),
        repeat_faces(leaflet.faces, n_leaflet, len(leaflet.along)),
        leaflet.n_segment,
    )


def bend_leaflets(
    leaflet: BladeGrid,
    leaflets: Leaflets,
    *,
    length: Floats,
    width: Floats,
    rachis: Floats,
    inclination: Floats,
    curvature: Floats,
    fold: float,
    ripple: tuple[int, float] = (0, 0.0),
) -> tuple[Floats, Floats]:
    """Vertices of many compound leaves that share one layout.

    Parameters
    ----------
    leaflet : BladeGrid
        Layout of one leaflet.
    leaflets : Leaflets
        How many pairs, at which angle, of which size, along how bent a rachis.
    length, width : (n_leaf,) ndarray, m
        Of the leaflet at the end.
    rachis : (n_leaf,) ndarray, m
        Length of the rachis.
    inclination : (n_leaf,) ndarray, rad
        Of the rachis at its base, below the horizontal (+ droops).
    curvature : (n_leaf,) ndarray, rad
        Of every leaflet, away from the plane that the leaf's rachis and base span.
    fold : float, rad
        Of every leaflet.
    ripple : int and float
        Of every leaflet's margin.

    Returns
    -------
    vertices : (n_leaf, n_vertex, 3) ndarray, m
        In the order of `compound_grid`. Each leaflet is the one at the end, made smaller and
        turned, so areas add up to ``1 + 2 sum(size**2)`` times that one's.
    line : (n_leaf, n_point, 3) ndarray, m
        Points along the rachis from its base to its end: its straight pieces add up to `rachis`.
    """
    level = np.zeros_like(inclination)
    end = bend_blades(
        leaflet, length=length, width=width, inclination=level, curvature=curvature, fold=fold,
        ripple=ripple,
    )  # fmt: skip
    n_pair = leaflets.pairs
    share = np.arange(n_pair + 1) / n_pair
    line = _bent_line(rachis, inclination, leaflets.bend, n_pair)
    lean = inclination[:, None] + leaflets.bend * share
    sizes = np.interp(share[:-1], np.linspace(0.0, 1.0, len(leaflets.size)), leaflets.size)
    cos, sin = np.cos(leaflets.angle), np.sin(leaflets.angle)
    pieces = []
    for pair, size in enumerate(sizes):
        x, y, z = (size * end[..., axis] for axis in range(3))
        for side in (1.0, -1.0):
            turned = (cos * x - side * sin * y, side * sin * x + cos * y, z)
            pieces.append(_leaning(turned, lean[:, pair], line[:, pair]))
    pieces.append(_leaning((end[..., 0], end[..., 1], end[..., 2]), lean[:, -1], line[:, -1]))
    straight = line[:, [0, -1]] if leaflets.bend == 0.0 else line
    return np.concatenate(pieces, axis=1), straight


def _bent_line(length: Floats, inclination: Floats, bend: float, n_piece: int) -> Floats:
    """Points of lines in the leaf's upright plane that bend evenly: (n_leaf, n_piece + 1, 3)."""
    droop = inclination[:, None] + bend * (np.arange(n_piece) + 0.5) / n_piece
    step = np.stack((np.cos(droop), np.zeros_like(droop), -np.sin(droop)), axis=-1)
    step *= (length / n_piece)[:, None, None]
    start = np.zeros((len(length), 1, 3))
    line: Floats = np.concatenate((start, np.cumsum(step, axis=1)), axis=1)
    return line


def _leaning(mesh: tuple[Floats, Floats, Floats], lean: Floats, at: Floats) -> Floats:
    """Tip leaflets downwards about the leaf's y axis, then put them in their places."""
    x, y, z = mesh
    cos, sin = np.cos(lean)[:, None], np.sin(lean)[:, None]
    leaning = (cos * x + sin * z + at[:, :1], y + at[:, 1:2], cos * z - sin * x + at[:, 2:])
    placed: Floats = np.stack(leaning, axis=-1)
    return placed
