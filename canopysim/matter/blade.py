"""The surface of one leaf: a strip along a bent midrib, two halves folded upwards.

Leaf frame: the blade's base at the origin, +x outwards along the leaf, +y to its left, +z up. Every
triangle's normal points to the upper (adaxial) side, whatever the bend.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopysim.matter.vectors import cross

Floats = NDArray[np.float64]

LEAST_WIDTH = 0.01
"""Share of the greatest width below which a blade is not pinched between its ends: no slivers."""


@dataclass(frozen=True, eq=False)
class BladeGrid:
    """Where the vertices of a blade lie on it, and how they are joined.

    Parameters
    ----------
    along : (n_vertex,) ndarray
        Share of the midrib from base (0) to tip (1).
    across : (n_vertex,) ndarray
        Signed distance from the midrib, in units of the blade's greatest width; + is left.
    faces : (n_face, 3) int32 ndarray
        Wound upper side out.
    n_segment : int
        Straight pieces of the midrib.
    """

    along: Floats
    across: Floats
    faces: NDArray[np.int32]
    n_segment: int


def blade_grid(outline: Sequence[float], n_triangle: int) -> BladeGrid:
    """Lay out a blade of a given outline with a given number of triangles.

    Parameters
    ----------
    outline : sequence of float
        Widths at equally spaced stations from base to tip, relative to each other. A first or last
        width of 0 makes that end pointed.
    n_triangle : int
        Wanted count. Both halves are alike, so an odd count gains one; two blunt ends need 4.

    Returns
    -------
    BladeGrid
        Its flat area over length times greatest width is the mean of the outline, exactly,
        whatever the number of triangles.
    """
    widths = np.asarray(outline, dtype=np.float64) / np.max(outline)
    stations = np.linspace(0.0, 1.0, len(widths))
    blunt_base, blunt_tip = widths[0] > 0.0, widths[-1] > 0.0
    n_blunt = int(blunt_base) + int(blunt_tip)

    # Per half, a strip has as many triangles as inner midrib vertices + inner edge vertices + blunt
    # ends; the edge gets the odd one, as it carries the outline.
    n_inner = max((n_triangle + 1) // 2, n_blunt, 1) - n_blunt
    n_midrib = n_inner // 2
    n_edge = n_inner - n_midrib
    midrib = np.linspace(0.0, 1.0, n_midrib + 2)
    edge = np.linspace(0.0, 1.0, n_edge + 2)
    edge_width = np.interp(edge, stations, widths)
    edge_width[1:-1] = np.maximum(edge_width[1:-1], LEAST_WIDTH)
    # Too few stations cut corners off the outline: widen, so that coarse leaves keep their area.
    edge_width *= np.trapezoid(widths, stations) / np.trapezoid(edge_width, edge)

    kept = slice(None if blunt_base else 1, None if blunt_tip else -1)
    edge, edge_width = edge[kept], edge_width[kept]
    along = np.concatenate((midrib, edge, edge))
    across = np.concatenate((np.zeros(len(midrib)), 0.5 * edge_width, -0.5 * edge_width))
    left = _stitch(midrib, edge, edge_index=len(midrib))
    right = _stitch(midrib, edge, edge_index=len(midrib) + len(edge))[:, [0, 2, 1]]
    return BladeGrid(along, across, np.concatenate((left, right)), len(midrib) - 1)


def _stitch(midrib: Floats, edge: Floats, edge_index: int) -> NDArray[np.int32]:
    """Fill the strip between midrib and left edge.

    Every piece of the edge is joined to a midrib vertex beside it, never to one before or after:
    so no triangle turns over where the outline is hollow.
    """
    faces = []
    i = j = 0
    while i < len(midrib) - 1 or j < len(edge) - 1:
        here, there = i, edge_index + j
        if j < len(edge) - 1 and edge[j] <= midrib[i]:
            j += 1
            faces.append((here, edge_index + j, there))
        else:
            i += 1
            faces.append((here, i, there))
    return np.array(faces, dtype=np.int32)


def bend_blades(
    grid: BladeGrid,
    *,
    length: Floats,
    width: Floats,
    inclination: Floats,
    curvature: Floats,
    fold: float,
    ripple: tuple[int, float] = (0, 0.0),
) -> Floats:
    """Vertices of many blades that share one grid.

    Parameters
    ----------
    grid : BladeGrid
        Shared layout.
    length, width : (n_leaf,) ndarray, m
        Midrib length and greatest width.
    inclination : (n_leaf,) ndarray, rad
        Of the midrib at its base, below the horizontal (+ droops).
    curvature : (n_leaf,) ndarray, rad
        Turn of the midrib's direction from base to tip, downwards, even along its length.
    fold : float, rad
        Angle of each half above the plane across the midrib.
    ripple : int and float
        Waves along each margin, and the height of their crests as a share of half the width.

    Returns
    -------
    (n_leaf, n_vertex, 3) ndarray, m
        In the leaf frame. The midrib's straight pieces add up to `length`.
    """
    n = grid.n_segment
    middle = (np.arange(n) + 0.5) / n
    droop = inclination[:, None] + curvature[:, None] * middle
    step = np.stack((np.cos(droop), np.zeros_like(droop), -np.sin(droop)), axis=-1)
    step *= (length / n)[:, None, None]
    spine = np.concatenate((np.zeros((len(length), 1, 3)), np.cumsum(step, axis=1)), axis=1)

    # Edge vertices hang on the midrib's polyline, so that halves and midrib fit without a crack.
    piece = np.minimum((grid.along * n).astype(np.intp), n - 1)
    on_midrib = spine[:, piece] + step[:, piece] * (grid.along * n - piece)[:, None]

    droop = inclination[:, None] + curvature[:, None] * grid.along
    half_width = width[:, None] * grid.across
    waves, crest = ripple
    raised = np.sin(fold) + crest * np.sin(2.0 * np.pi * waves * grid.along)
    lift = np.abs(half_width) * raised
    off_midrib = np.stack(
        (lift * np.sin(droop), half_width * np.cos(fold), lift * np.cos(droop)), axis=-1
    )
    bent: Floats = on_midrib + off_midrib
    return bent


def triangle_areas(vertices: Floats, faces: NDArray[np.int32]) -> Floats:
    """One-sided areas of triangles.

    Parameters
    ----------
    vertices : (..., n_vertex, 3) ndarray, m
        One mesh, or many that share `faces`.
    faces : (n_face, 3) int ndarray
        Vertex indices.

    Returns
    -------
    (..., n_face) ndarray, m2
    """
    a, b, c = (vertices[..., faces[:, k], :] for k in range(3))
    areas: Floats = 0.5 * np.linalg.norm(cross(b - a, c - a), axis=-1)
    return areas
