"""Sums of a curved function over noisy leaf light, with the bias of that noise taken out.

Let x̂ be the light of a triangle from n batches, its true value μ. A function h of it is off in the
mean: E h(x̂) = h(μ) + a₁/n + a₂/n² + …, with a₁ = ½ h''(μ) times the variance of one batch. For a
concave h such as photosynthesis a₁ is below zero: noise makes leaves look less productive. The bias
need not be known: the same batches in two halves, or four quarters, show it 2 and 4 times as large
(the second-order term 4 and 16 times). With the sums S₁, S₂ and S₄ over whole, halves and quarters,

    (8 S₁ − 6 S₂ + S₄) / 3

is free of both (Richardson's extrapolation; Efron 1982, The Jackknife, for halves 2 S₁ − S₂). How
far it is from 2 S₁ − S₂ says what the last term did, and so what further terms may do: where that
is not small the run is too short for its triangles. The same holds for shares of leaf area beyond a
limit: a step is not smooth, but its sum over the spread of light in a canopy is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from canopysim.analysis.jackknife import jackknife_error

Array = NDArray[np.float64]
Sums = Callable[[Array], Array]


@dataclass(frozen=True)
class NoiseFree:
    """Sums whose bias by noise is taken out.

    Attributes
    ----------
    value : numpy.ndarray (n_sum,)
        Second-order extrapolation with four batches or more; the first-order one with two or three.
    std_err : numpy.ndarray (n_sum,)
        With each row of batches left out once; NaN with fewer than five rows. For shares of area
        beyond a limit it is on the wide side, by about twice.
    raw : numpy.ndarray (n_sum,)
        As the noisy light has it.
    remainder : numpy.ndarray (n_sum,)
        Absolute difference of the two orders; NaN with fewer than four batches.
    """

    value: Array
    std_err: Array
    raw: Array
    remainder: Array


def noise_free(sums: Sums, rows: Array, batches: Array) -> NoiseFree:
    """Take the bias of noise out of sums over leaves.

    Parameters
    ----------
    sums : callable
        From light (..., n_leaf) to sums (n_sum,); it may be curved, and no part of it may depend on
        the light of the run in any other way.
    rows : numpy.ndarray (n_row, ..., n_leaf)
        Light, summed over the batches of each row.
    batches : numpy.ndarray (n_row,)
        Batches in each row.

    Returns
    -------
    NoiseFree
    """
    used = batches > 0
    rows, batches = rows[used], batches[used]
    value, first, raw = _orders(sums, rows, batches)
    error = np.full_like(raw, np.nan)
    if len(rows) > 4:
        # A row is emptied, not taken away: the others stay in their parts, or the replicates would
        # differ by more than the row.
        replicates = []
        for row in range(len(rows)):
            fewer = np.where(np.arange(len(rows)) == row, 0.0, batches)
            replicates.append(_orders(sums, rows, fewer)[0])
        error = jackknife_error(np.array(replicates))
    enough = len(rows) >= 4
    remainder = np.abs(value - first) if enough else np.full_like(raw, np.nan)
    return NoiseFree(value, error, raw, remainder)


def _orders(sums: Sums, rows: Array, batches: Array) -> tuple[Array, Array, Array]:
    """Best, first-order and raw sums."""
    whole = _mean_of_parts(sums, rows, batches, 1)
    if len(rows) < 2:
        return whole, whole, whole
    first = 2.0 * whole - _mean_of_parts(sums, rows, batches, 2)
    if len(rows) < 4:
        return first, first, whole
    halves, quarters = (_mean_of_parts(sums, rows, batches, n) for n in (2, 4))
    return (8.0 * whole - 6.0 * halves + quarters) / 3.0, first, whole


def _mean_of_parts(sums: Sums, rows: Array, batches: Array, n_part: int) -> Array:
    """Take the sums of each part of the batches by itself, weighed by its batches.

    Weighed so, the parts' biases add to `n_part` times that of the whole, however uneven they are.
    """
    found = []
    for part in range(n_part):
        mine = slice(part, None, n_part)
        count = batches[mine].sum()
        if count > 0:
            used = (batches[mine] > 0).astype(np.float64)
            light = np.tensordot(used, rows[mine], axes=(0, 0)) / count
            found.append(sums(light) * (count / batches.sum()))
    return np.asarray(np.sum(found, axis=0), np.float64)
