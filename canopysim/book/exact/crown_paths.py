"""Light in a crown that scatters, followed leaf by leaf: no G, no free paths, no tree.

In a small step s a flight meets leaf area density times s times |n.d| of the leaves whose normal is
n. So steps are drawn as if every leaf stood across the flight everywhere in the box about the crown
and leaves were as dense as at their densest; a leaf drawn there, by its inclination and turned
anyhow, is met with the probability that its real density and |n.d| have of that, else the flight
goes on (Woodcock et al. 1965, ANL-7050, 557). What is met keeps its share of the weight and sends
the rest on by Lambert's law, from one of its sides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopysim.book.exact.backward import FAINT, lambert
from canopysim.book.exact.crowns import SHAPES
from canopysim.book.exact.leaves import Density, Side, inclinations

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Crown:
    """A body of leaves.

    Attributes
    ----------
    shape : str
        Key of `SHAPES`.
    middle, half : (3,) float
        m.
    density : float
        Leaf area that light meets, mean over the body: clumping is in it, m2/m3.
    by_height : (float, float)
        At its bottom and top, up to a factor, straight in between.
    angles : callable
        Density over inclination.
    upper, lower : (reflectance, transmittance)
        Of what meets that side.
    """

    shape: str
    middle: Sequence[float]
    half: Sequence[float]
    density: float
    by_height: tuple[float, float]
    angles: Density
    upper: Side
    lower: Side

    def fill(self, p: Array) -> Array:
        """Density at points (n, 3) as a share of the densest; 0 outside."""
        inside = (p - np.asarray(self.middle)) / np.asarray(self.half)
        low, high = self.by_height
        here = low + (high - low) * (inside[:, 2] + 1) / 2
        return np.asarray(np.where(SHAPES[self.shape](inside.T), here / max(low, high), 0.0))

    @property
    def densest(self) -> float:
        """m2/m3."""
        low, high = self.by_height
        return self.density * max(low, high) / ((low + high) / 2)


def through_box(crown: Crown, o: Array, d: Array) -> tuple[Array, Array]:
    """Where flights enter and leave the box about a crown, (n,) each; they miss it if in > out."""
    with np.errstate(divide="ignore", invalid="ignore"):
        a = (np.asarray(crown.middle) - np.asarray(crown.half) - o) / d
        b = (np.asarray(crown.middle) + np.asarray(crown.half) - o) / d
    return np.maximum(np.minimum(a, b).max(1), 0.0), np.maximum(a, b).min(1)


def follow(
    crown: Crown, room: Sequence[float], cuts: Sequence[float], o: Array, d: Array,
    rng: np.random.Generator,
) -> tuple[Array, Array]:  # fmt: skip
    """Follow packets of weight 1 / n until a black face of the room takes them.

    Parameters
    ----------
    room : (3,) float
        Its extents, m.
    cuts : sequence of float
        Heights between layers, from the bottom up, without the ends; m.
    o, d : (n, 3) ndarray
        Where they start and go.

    Returns
    -------
    leaves : (n_layer, 2) ndarray
        What upper and lower sides take, top layer first.
    faces : (6,) ndarray
        What left, right, front, back, floor and ceiling take.
    """
    n, normals = len(o), _Normals(crown.angles)
    size = np.asarray(room)
    leaves, faces = np.zeros((len(cuts) + 1, 2)), np.zeros(6)
    w = np.full(n, 1.0 / n)
    while len(w):
        # The next leaf of each, at a distance t, if any.
        t, end = through_box(crown, o, d)
        met, normal = np.zeros(len(w), bool), np.zeros_like(o)
        going = np.flatnonzero(t < end)
        while len(going):
            t[going] += rng.exponential(1.0 / crown.densest, len(going))
            going = going[t[going] < end[going]]
            drawn = normals.draw(len(going), rng)
            shown = np.abs((drawn * d[going]).sum(1))
            real = rng.random(len(going)) < shown * crown.fill(o[going] + t[going, None] * d[going])
            met[going[real]], normal[going[real]] = True, drawn[real]
            going = going[~real]
        # Those that meet none end on a face.
        out, way = o[~met], d[~met]
        with np.errstate(divide="ignore"):
            ends = np.where(way > 0, (size - out) / way, -out / way)
        axis = ends.argmin(1)
        far = way[np.arange(len(way)), axis] > 0
        faces += np.bincount(2 * axis + far, w[~met], 6)

        o, d, normal, w = (o + t[:, None] * d)[met], d[met], normal[met], w[met]
        side = ((d * normal).sum(1) > 0).astype(int)
        layer = len(cuts) - np.searchsorted(np.asarray(cuts), o[:, 2])
        back = np.array([crown.upper[0], crown.lower[0]])[side]
        passed = np.array([crown.upper[1], crown.lower[1]])[side]
        taken = np.bincount(2 * layer + side, w * (1 - back - passed), 2 * len(leaves))
        leaves += taken.reshape(-1, 2)
        w = w * (back + passed)
        # Normals are of the upper side: light goes back to the side that it came from, or not.
        lit = np.where(side == 0, 1.0, -1.0)
        goes_back = rng.random(len(w)) * (back + passed) < back
        d = lambert((lit * np.where(goes_back, 1.0, -1.0))[:, None] * normal, rng)
        faint = w < FAINT / n
        on = ~faint | (rng.random(len(w)) * FAINT / n < w)
        w = np.where(faint, FAINT / n, w)[on]
        o, d = o[on], d[on]
    return leaves, faces


class _Normals:
    """Normals of upper sides: by inclination, turned anyhow."""

    def __init__(self, angles: Density) -> None:
        angle, weight = inclinations(angles)
        self.edge = np.append(angle - angle[0], np.pi / 2)
        self.below = np.append(0.0, np.cumsum(weight))

    def draw(self, n: int, rng: np.random.Generator) -> Array:
        """So many, (n, 3)."""
        a = np.interp(rng.random(n), self.below, self.edge)
        turn = 2 * np.pi * rng.random(n)
        return np.stack([np.sin(a) * np.cos(turn), np.sin(a) * np.sin(turn), np.cos(a)], 1)
