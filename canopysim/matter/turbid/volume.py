"""A volume filled with leaves: its shape, how much leaf area it holds, and at which heights."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Kind = Literal["box", "ellipsoid", "row along x", "row along y"]


@dataclass(frozen=True, eq=False)
class Volume:
    """Leaves of one kind, spread over a box, an ellipsoid or a row of elliptic section.

    Parameters
    ----------
    name : str
        Such as ``slab-1`` or ``ellipsoid-03``.
    kind : str
        "box", "ellipsoid", "row along x" or "row along y" (elliptic cylinders).
    centre, half : (3,) ndarray, m
        Middle and half extents, world frame.
    density : (n_height,) ndarray, m2 m-3
        One-sided leaf area per volume at equally spaced heights from bottom to top, straight
        between them; at one height it is the same all over the volume.
    angles : (n_step + 1,) ndarray
        Quantiles of the cosine of leaf inclination, see `inclination`.
    leaf : str
        Kind of leaf, a name in ``scene.leaves``.
    clumping : float
        Factor of the density that light meets: below 1 where leaves stand in tufts.
    """

    name: str
    kind: Kind
    centre: Floats
    half: Floats
    density: Floats
    angles: Floats
    leaf: str
    clumping: float = 1.0

    @property
    def low(self) -> Floats:
        """Lowest corner (3,) of the box around it, m."""
        return self.centre - self.half

    @property
    def high(self) -> Floats:
        """Highest corner (3,) of the box around it, m."""
        return self.centre + self.half

    @property
    def size(self) -> float:
        """Volume, m3."""
        return float(sections(self.kind, self.half, np.array([-1.0, 1.0]))[0])

    @property
    def leaf_area(self) -> float:
        """One-sided leaf area, m2."""
        return float(area_below(self, self.high[2:])[0])

    def at_height(self, z: ArrayLike) -> Floats:
        """Leaf area density at heights within the volume, m2 m-3; 0 above and below it."""
        heights = np.linspace(self.low[2], self.high[2], len(self.density))
        return np.interp(np.asarray(z, np.float64), heights, self.density, left=0.0, right=0.0)


def _antiderivatives(kind: Kind, t: Floats) -> tuple[Floats, Floats]:
    """Integrals of S dt and t S dt from the middle, where S(t) is the relative level section.

    t runs from -1 at the bottom to 1 at the top; S(0) is 1.
    """
    if kind == "box":
        return t, t**2 / 2
    if kind == "ellipsoid":
        return t - t**3 / 3, t**2 / 2 - t**4 / 4
    under = np.maximum(0.0, 1.0 - t**2)
    return (t * np.sqrt(under) + np.arcsin(t)) / 2, -(under**1.5) / 3


def _scale(kind: Kind, half: Floats) -> float:
    """Greatest level section times half the height: m2 m."""
    section = 4.0 * half[0] * half[1]
    if kind == "ellipsoid":
        section *= np.pi / 4
    return float(section * half[2])


def sections(kind: Kind, half: Floats, t: Floats) -> Floats:
    """Volume between neighbouring levels.

    Parameters
    ----------
    kind : str
        As in `Volume`.
    half : (3,) ndarray, m
        Half extents.
    t : (n + 1,) ndarray
        Levels from -1 at the bottom to 1 at the top, ascending.

    Returns
    -------
    (n,) ndarray, m3
    """
    return np.diff(_antiderivatives(kind, t)[0]) * _scale(kind, half)


def area_below(volume: Volume, heights: ArrayLike) -> Floats:
    """Leaf area of a volume below heights, exactly.

    Parameters
    ----------
    volume : Volume
        Its density is straight between its heights, its level section a known function.
    heights : (n,) array_like, m
        In any order.

    Returns
    -------
    (n,) ndarray, m2
    """
    nodes = np.linspace(-1.0, 1.0, len(volume.density))
    slope = np.diff(volume.density) / np.diff(nodes)
    at_zero = volume.density[:-1] - slope * nodes[:-1]
    t = np.clip((np.asarray(heights, np.float64) - volume.centre[2]) / volume.half[2], -1.0, 1.0)
    piece = np.clip(np.searchsorted(nodes, t, side="right") - 1, 0, len(slope) - 1)
    zeroth, first = _antiderivatives(volume.kind, nodes)
    whole = at_zero * np.diff(zeroth) + slope * np.diff(first)
    before = np.concatenate([[0.0], np.cumsum(whole)])
    zeroth_t, first_t = _antiderivatives(volume.kind, t)
    part = at_zero[piece] * (zeroth_t - zeroth[piece]) + slope[piece] * (first_t - first[piece])
    return np.asarray((before[piece] + part) * _scale(volume.kind, volume.half))


def volume_area_by_layer(volume: Volume, edges: ArrayLike) -> Floats:
    """Leaf area of a volume in each layer.

    Parameters
    ----------
    volume : Volume
        Any.
    edges : (n_layer + 1,) array_like, m
        Ascending; what lies beyond the ends counts to the end layers.

    Returns
    -------
    (n_layer,) ndarray, m2
        Top layer first; the sum is the whole leaf area.
    """
    inner = np.asarray(edges, np.float64)[1:-1]
    upwards = np.diff(np.concatenate([[0.0], area_below(volume, inner), [volume.leaf_area]]))
    return np.maximum(upwards[::-1], 0.0)


def inside(volume: Volume, points: Floats) -> NDArray[np.bool_]:
    """Tell which points (n, 3), m, lie in a volume."""
    t = (points - volume.centre) / volume.half
    if volume.kind == "ellipsoid":
        return np.asarray((t**2).sum(axis=1) <= 1.0)
    within = (np.abs(t) <= 1.0).all(axis=1)
    if volume.kind == "row along x":
        within &= t[:, 1] ** 2 + t[:, 2] ** 2 <= 1.0
    elif volume.kind == "row along y":
        within &= t[:, 0] ** 2 + t[:, 2] ** 2 <= 1.0
    return np.asarray(within)
