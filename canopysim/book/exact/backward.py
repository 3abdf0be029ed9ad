"""Light followed backwards: from where it is counted to the panel that sent it, by reciprocity.

A path starts at a spot of a floor's cell or of a leaf's side, in a direction by Lambert's law, and
goes against the light. Where it crosses the panel from its lit side it collects the panel's
radiance, and goes on: the panel stops nothing. Where it meets a surface, the light that leaves that
side is what the side reflects and what the other side lets through; the path carries the sum of
both, goes on from one of the two sides by their shares, again by Lambert's law, and ends by chance
where little is left. Pi times the mean of what paths collect is the flux density.

Nothing is shared with a forward trace: no launch, no absorption, no tree, no weights in integers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopysim.book.exact.frames import rotation

Array = NDArray[np.float64]
FAINT = 0.05
NUDGE = 1e-9


@dataclass(frozen=True)
class Sheet:
    """A rectangle.

    Attributes
    ----------
    middle : (3,) ndarray
        m.
    along, across : (3,) ndarray
        Unit vectors of its sides; their cross product is the normal of its upper side.
    length, width : float
        m.
    reflect, transmit : (float, float)
        Of what meets the upper and the lower side.
    """

    middle: Array
    along: Array
    across: Array
    length: float
    width: float
    reflect: tuple[float, float] = (0.0, 0.0)
    transmit: tuple[float, float] = (0.0, 0.0)

    @property
    def normal(self) -> Array:
        """Of its upper side."""
        return np.asarray(np.cross(self.along, self.across))

    @property
    def corners(self) -> Array:
        """Counter-clockwise seen from the upper side, (4, 3)."""
        a, b = self.along * self.length / 2, self.across * self.width / 2
        return np.asarray(self.middle + np.array([-a - b, a - b, a + b, b - a]))

    def spots(self, u: Array, v: Array) -> Array:
        """Points on it, (n, 3), for u and v from 0 to 1."""
        return np.asarray(
            self.middle
            + ((u - 0.5) * self.length)[:, None] * self.along
            + ((v - 0.5) * self.width)[:, None] * self.across
        )

    def distance(self, o: Array, d: Array) -> Array:
        """How far rays (n, 3) go until they meet it, infinite where they do not; (n,)."""
        with np.errstate(divide="ignore", invalid="ignore"):
            t = ((self.middle - o) @ self.normal) / (d @ self.normal)
            at = o + t[:, None] * d - self.middle
            hit = (np.abs(at @ self.along) <= self.length / 2) & (
                np.abs(at @ self.across) <= self.width / 2
            )
        return np.asarray(np.where(hit & (t > NUDGE), t, np.inf))


def sheet(
    middle: Sequence[float], length: float, width: float,
    turn: float, pitch: float, tilt: float, **matter: tuple[float, float],
) -> Sheet:  # fmt: skip
    """Give a rectangle that lay level, upper side up, and was turned, pitched and tilted."""
    axes = rotation(turn, pitch, tilt)
    return Sheet(np.array(middle), axes[:, 0], axes[:, 1], length, width, **matter)


@dataclass(frozen=True)
class Room:
    """A box of matte faces with sheets and one luminous panel in it.

    Attributes
    ----------
    size : (3,) float
        Width, depth, height, m.
    faces : (3, 2) ndarray
        Reflectance of the faces at 0 and at the far end of x, y and z.
    leaves : sequence of Sheet
        Any.
    panel : Sheet
        It shines from its lower side.
    flux : float
        Of the panel.
    """

    size: tuple[float, float, float]
    faces: Array
    leaves: Sequence[Sheet]
    panel: Sheet
    flux: float

    @property
    def radiance(self) -> float:
        """Of the panel's lit side."""
        return self.flux / (np.pi * self.panel.length * self.panel.width)


def lambert(normal: Array, rng: np.random.Generator) -> Array:
    """Directions by Lambert's law about normals, (n, 3): the normal plus a point of the sphere."""
    ball = rng.normal(size=normal.shape)
    ball /= np.linalg.norm(ball, axis=1)[:, None]
    way = normal + ball
    return np.asarray(way / np.linalg.norm(way, axis=1)[:, None])


def collect(room: Room, o: Array, normal: Array, rng: np.random.Generator) -> Array:
    """Follow paths from spots and give what they bring home; (n,).

    Parameters
    ----------
    o : (n, 3) ndarray
        Where they start.
    normal : (n, 3) ndarray
        About which their directions follow Lambert's law.

    Returns
    -------
    (n,) ndarray
        In units of the panel's radiance.
    """
    size = np.asarray(room.size)
    brought = np.zeros(len(o))
    path, carried = np.arange(len(o)), np.ones(len(o))
    d = lambert(normal, rng)
    while len(path):
        # The nearest of the faces and leaves.
        with np.errstate(divide="ignore"):
            ends = np.where(d > 0, (size - o) / d, -o / d)
        axis = ends.argmin(1)
        far = np.take_along_axis(ends, axis[:, None], 1)[:, 0]
        leaf = np.full(len(path), -1)
        for k, one in enumerate(room.leaves):
            t = one.distance(o, d)
            leaf = np.where(t < far, k, leaf)
            far = np.minimum(far, t)
        # The panel shines towards its lower side: against the light one comes from there.
        lit = (room.panel.distance(o, d) < far) & (d @ room.panel.normal > 0)
        np.add.at(brought, path[lit], carried[lit])

        o = o + far[:, None] * d
        # A face: its normal points back; what it reflects is all that leaves it.
        rows = np.arange(len(path))
        positive = d[rows, axis] > 0
        normal = np.zeros_like(o)
        normal[rows, axis] = np.where(positive, -1.0, 1.0)
        keep = room.faces[axis, positive.astype(int)]
        for k, one in enumerate(room.leaves):
            here = np.flatnonzero(leaf == k)
            # 0 where the path is on the upper side.
            side = (d[here] @ one.normal > 0).astype(int)
            reflected = np.array(one.reflect)[side]
            passed = np.array(one.transmit)[1 - side]
            both = reflected + passed
            keep[here] = both
            other = rng.random(len(here)) * both < passed
            sign = np.where(side == 0, 1.0, -1.0) * np.where(other, -1.0, 1.0)
            normal[here] = sign[:, None] * one.normal
        carried = carried * keep
        # Faint paths go on by chance, and then carry so much more.
        faint = carried < FAINT
        goes_on = ~faint | (rng.random(len(path)) * FAINT < carried)
        carried = np.where(faint, FAINT, carried)[goes_on]
        path, o, normal = path[goes_on], o[goes_on], normal[goes_on]
        d = lambert(normal, rng)
    return brought


def flux_density(
    room: Room, target: Sheet, side: int, n: int, rng: np.random.Generator
) -> tuple[float, float]:
    """Flux density that falls on one side of a rectangle, and its standard error.

    Parameters
    ----------
    room : Room
        With its panel.
    target : Sheet
        One of the leaves, or a cell of the floor.
    side : int
        0 for its upper, 1 for its lower side.
    n : int
        Paths.
    """
    normal = target.normal * (1.0, -1.0)[side]
    total, square, chunk = 0.0, 0.0, 1 << 15
    for first in range(0, n, chunk):
        m = min(chunk, n - first)
        spots = target.spots(rng.random(m), rng.random(m)) + NUDGE * normal
        found = collect(room, spots, np.broadcast_to(normal, (m, 3)), rng)
        total += found.sum()
        square += (found**2).sum()
    mean = total / n
    error = np.sqrt((square / n - mean**2) / (n - 1))
    scale = np.pi * room.radiance
    return float(scale * mean), float(scale * error)
