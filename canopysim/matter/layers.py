"""Slices of a canopy by height: where they are, and how much leaf lies in each."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from canopysim.matter.blade import triangle_areas

if TYPE_CHECKING:
    from canopysim.scene.schema_matter import Canopy

Floats = NDArray[np.float64]


def layer_edges(canopy_spec: Canopy, z_min: float, z_max: float) -> Floats:
    """Heights that part the layers, from the bottom to the top.

    Parameters
    ----------
    canopy_spec : Canopy
        Its ``layers`` is a count of equally high layers, or boundary heights above the floor (m).
    z_min, z_max : float, m
        Lowest and highest leaf vertex.

    Returns
    -------
    (n_layer + 1,) ndarray, m
        Ascending. Where stated boundaries do not cover the leaves, the lowest or the highest layer
        is drawn out to the outermost leaf, so that every leaf belongs to a layer.

    Raises
    ------
    ValueError
        If the leaves have no height to divide, or fewer than two boundaries are stated, or they
        do not ascend.
    """
    if isinstance(canopy_spec.layers, int):
        if not z_max > z_min:
            raise ValueError(
                f"leaves that all lie at {z_min:g} m cannot be cut into layers of equal height; "
                "give the layers' boundary heights instead"
            )
        return np.linspace(z_min, z_max, canopy_spec.layers + 1)
    edges = np.array(canopy_spec.layers, dtype=np.float64)
    if len(edges) < 2 or np.any(np.diff(edges) <= 0.0):
        raise ValueError("layers need at least two boundary heights, each above the one before")
    edges[0] = min(edges[0], z_min)
    edges[-1] = max(edges[-1], z_max)
    return edges


def area_by_layer(vertices: Floats, faces: NDArray[np.int32], edges: ArrayLike) -> Floats:
    """One-sided area of triangles in each layer, every triangle clipped exactly.

    Parameters
    ----------
    vertices : (n_vertex, 3) ndarray, m
        World frame, z up.
    faces : (n_face, 3) int ndarray
        Vertex indices.
    edges : (n_layer + 1,) array_like, m
        From `layer_edges`, ascending. What lies beyond the ends counts to the end layers.

    Returns
    -------
    (n_layer,) ndarray, m2
        Layer 0 is the top one. The sum is the whole area; a level triangle that lies in a boundary
        belongs to the layer below it, as what lies in a counting plane is below that plane.
    """
    inner = np.asarray(edges, dtype=np.float64)[1:-1]
    areas = triangle_areas(vertices, faces)
    heights = np.sort(vertices[faces, 2], axis=1)
    low, _, high = np.ascontiguousarray(heights.T)
    below = []
    for height in inner:
        # Only what a level cuts is clipped; up to it lies all that ends there, level leaves too.
        cut = np.flatnonzero((low < height) & (high > height))
        clipped = float(areas[cut] @ share_below(heights[cut], height))
        below.append(float(areas[high <= height].sum()) + clipped)
    total = float(areas.sum())
    # Differences of a running sum: nothing is counted twice or lost.
    upwards = np.diff(np.array([0.0, *below, total]))
    return np.maximum(upwards[::-1], 0.0)


def share_below(heights: Floats, height: float) -> Floats:
    """Share of each triangle's area that lies below a height.

    Parameters
    ----------
    heights : (n_face, 3) ndarray, m
        Heights of the corners, ascending along the last axis; the lowest and the highest differ.
    height : float, m
        The level, between them.

    Returns
    -------
    (n_face,) ndarray

    Notes
    -----
    A level cuts a corner off a triangle. The corner's share is the product of the shares at which
    the level cuts the two sides that meet in it.
    """
    low, middle, high = heights.T
    # Below the middle corner the lowest corner is cut off, above it the highest one. Held to that
    # range, no share exceeds 1.
    under = np.minimum(height, middle) - low
    over = high - np.maximum(height, middle)
    span = high - low
    cut_low = (under / span) * (under / np.where(middle > low, middle - low, 1.0))
    cut_high = (over / span) * (over / np.where(high > middle, high - middle, 1.0))
    share: Floats = np.where(height <= middle, cut_low, 1.0 - cut_high)
    return share


def cumulative_lai(areas: ArrayLike, ground_area: float) -> Floats:
    """Leaf area index from the canopy's top down to the bottom of each layer.

    Parameters
    ----------
    areas : (n_layer,) array_like, m2
        One-sided leaf areas, top layer first.
    ground_area : float, m2
        Ground that the canopy stands on.

    Returns
    -------
    (n_layer,) ndarray, m2 m-2
    """
    return np.cumsum(np.asarray(areas, dtype=np.float64)) / ground_area
