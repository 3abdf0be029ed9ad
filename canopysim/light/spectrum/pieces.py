"""Curves over wavelength in straight pieces, jumps allowed, and integrals of their products."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

# Eight points integrate polynomials up to degree 15 exactly. Divisions by the wavelength converge
# to rounding on cells of this width: the pole at zero leaves less than 1e-19 from 100 nm on.
_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(8)
WIDEST_CELL_NM = 25.0


@dataclass(frozen=True, eq=False)
class Pieces:
    """A curve that is straight between nodes and may jump at them; zero outside.

    Parameters
    ----------
    nodes : (n_piece + 1,) array, nm
        Ascending; the last may be infinite if the last piece is level. Empty for no curve at all.
    ends : (n_piece, 2) array
        Value at the left and the right end of each piece, approached from inside.

    Raises
    ------
    ValueError
        If the shapes do not fit, nodes do not ascend, or a value is not finite.
    """

    nodes: FloatArray
    ends: FloatArray

    def __post_init__(self) -> None:
        nodes = np.array(self.nodes, dtype=np.float64)
        ends = np.array(self.ends, dtype=np.float64)
        if nodes.ndim != 1 or ends.shape != (max(len(nodes) - 1, 0), 2) or len(nodes) == 1:
            raise ValueError(f"{nodes.shape} nodes do not fit {ends.shape} ends of pieces")
        if not np.all(np.diff(nodes) > 0):
            raise ValueError("the wavelengths of a curve must ascend")
        if not np.isfinite(ends).all():
            raise ValueError("the values of a curve must be finite")
        for name, array in (("nodes", nodes), ("ends", ends)):
            array.setflags(write=False)  # curves are shared
            object.__setattr__(self, name, array)

    def __eq__(self, other: object) -> bool:
        """Compare nodes and values."""
        if not isinstance(other, Pieces):
            return NotImplemented
        return np.array_equal(self.nodes, other.nodes) and np.array_equal(self.ends, other.ends)

    def __hash__(self) -> int:
        """Hash nodes and values, so that a curve can key a table of averages."""
        return hash((self.nodes.tobytes(), self.ends.tobytes()))

    @classmethod
    def nothing(cls) -> Pieces:
        """Make the curve that is zero everywhere."""
        return cls(np.empty(0), np.empty((0, 2)))

    @classmethod
    def from_points(cls, wavelength_nm: npt.ArrayLike, value: npt.ArrayLike) -> Pieces:
        """Join points by straight lines.

        Parameters
        ----------
        wavelength_nm, value : (n,) array
            At least two points, wavelengths ascending.

        Returns
        -------
        Pieces
            Zero before the first and after the last point.
        """
        values = np.asarray(value, dtype=np.float64)
        return cls(
            np.asarray(wavelength_nm, dtype=np.float64), np.stack([values[:-1], values[1:]], 1)
        )

    @classmethod
    def from_ranges(cls, ranges: Sequence[tuple[float, float, float]]) -> Pieces:
        """Hold one value over each range; zero between ranges that do not touch.

        Parameters
        ----------
        ranges : sequence of (low, high, value)
            nm, nm and the value; ascending, not overlapping, at least one.
        """
        nodes = [ranges[0][0]]
        values = []
        for low, high, value in ranges:
            if low > nodes[-1]:
                nodes.append(low)
                values.append(0.0)
            elif low < nodes[-1]:
                raise ValueError(f"the range from {low:g} nm overlaps the one before it")
            nodes.append(high)
            values.append(value)
        return cls(np.array(nodes), np.stack([values, values], 1))

    def at(self, wavelength_nm: npt.ArrayLike) -> FloatArray:
        """Value at wavelengths; at a jump that of the longer side, at the last node its own.

        Parameters
        ----------
        wavelength_nm : array, nm
            Of any shape.

        Returns
        -------
        array of that shape
        """
        x = np.asarray(wavelength_nm, dtype=np.float64)
        if self.nodes.size == 0:
            return np.zeros_like(x)
        inside = (x >= self.nodes[0]) & (x <= self.nodes[-1])
        return np.where(inside, self._along(self._piece(x), x), 0.0)

    def on(self, nodes: FloatArray) -> FloatArray:
        """Values at both ends of cells that no node of the curve cuts, approached from inside.

        Parameters
        ----------
        nodes : (n_cell + 1,) array, nm
            Ascending; every node of the curve between the first and the last is among them.

        Returns
        -------
        (n_cell, 2) array
        """
        cells = np.stack([nodes[:-1], nodes[1:]], 1)
        if self.nodes.size == 0:
            return np.zeros_like(cells)
        middle = cells.mean(1)
        inside = (middle > self.nodes[0]) & (middle < self.nodes[-1])
        values = self._along(self._piece(middle)[:, None], cells)
        return np.where(inside[:, None], values, 0.0)

    def _piece(self, x: FloatArray) -> IntArray:
        found: IntArray = np.searchsorted(self.nodes, x, side="right") - 1
        return np.clip(found, 0, len(self.ends) - 1)

    def _along(self, piece: IntArray, x: FloatArray) -> FloatArray:
        left, right = self.ends[piece, 0], self.ends[piece, 1]
        start = self.nodes[piece]
        # In this form a level piece keeps its value to the last bit.
        values: FloatArray = left + (x - start) / (self.nodes[piece + 1] - start) * (right - left)
        return values


def weighted_sum(parts: Sequence[tuple[Pieces, float]]) -> Pieces:
    """Add curves, each times a factor; exact, on the union of their nodes."""
    nodes = np.unique(np.concatenate([curve.nodes for curve, _ in parts]))
    if nodes.size == 0:
        return Pieces.nothing()
    ends = np.zeros((len(nodes) - 1, 2))
    for curve, factor in parts:
        ends += factor * curve.on(nodes)
    return Pieces(nodes, ends)


def cells_of_bands(edges: FloatArray, knots: FloatArray) -> tuple[FloatArray, IntArray]:
    """Cut bands into cells in which every curve is smooth.

    Parameters
    ----------
    edges : (n_band + 1,) array, nm
        Finite, ascending.
    knots : array, nm
        Where any of the curves bends or jumps, in any order.

    Returns
    -------
    nodes : (n_cell + 1,) array, nm
        All edges and all knots between them; no cell is wider than `WIDEST_CELL_NM`.
    first : (n_band,) array
        First cell of each band.
    """
    inside = knots[(knots > edges[0]) & (knots < edges[-1])]
    even = [np.arange(low, high, WIDEST_CELL_NM) for low, high in pairwise(edges)]
    nodes = np.unique(np.concatenate([edges, inside, *even]))
    first: IntArray = np.searchsorted(nodes, edges[:-1])
    return nodes, first


def integrate(
    value: Callable[[FloatArray], FloatArray], edges: npt.ArrayLike, knots: FloatArray
) -> FloatArray:
    """Integrate over bands: exact but for rounding for products of straight pieces.

    Parameters
    ----------
    value : function of an array of wavelengths, nm
        Between knots a polynomial of degree 15 at most, or one divided by the wavelength.
    edges : (n_band + 1,) array, nm
        Finite, ascending, not below 100 nm.
    knots : array, nm
        Where the function bends or jumps.

    Returns
    -------
    (n_band,) array
        Integral over each band, per nm times nm. Gauss points lie inside their cells, so the value
        at a jump never counts; terms of one sign are never subtracted.
    """
    bounds = np.asarray(edges, dtype=np.float64)
    nodes, first = cells_of_bands(bounds, knots)
    half = 0.5 * np.diff(nodes)
    points = 0.5 * (nodes[1:] + nodes[:-1])[:, None] + half[:, None] * _POINTS
    per_cell = half * (value(points) @ _WEIGHTS)
    sums: FloatArray = np.add.reduceat(per_cell, first)
    return sums
