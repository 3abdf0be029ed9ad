"""Errors of figures that are no plain ratio: each batch left out once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def leave_one_out(rows: Array) -> Array:
    """Means over all batches but one, (n_batch, ...), from the batches (n_batch, ...)."""
    n = len(rows)
    if n < 2:
        return np.full(rows.shape, np.nan)
    return np.asarray((rows.sum(axis=0) - rows) / (n - 1), np.float64)


def jackknife_error(replicates: Array) -> Array:
    """Find the standard error of a smooth figure from its values with one batch left out each.

    Parameters
    ----------
    replicates : numpy.ndarray (n_batch, ...)
        The figure of each row of `leave_one_out`.

    Returns
    -------
    numpy.ndarray (...)
        √((n − 1)/n · Σ (value − mean)²) (Tukey 1958, Ann. Math. Stat. 29:614; Efron and Stein 1981,
        Ann. Stat. 9:586); NaN for one batch. For a mean it is the standard error of the mean.
    """
    n = len(replicates)
    if n < 2:
        return np.full(replicates.shape[1:], np.nan)
    squares = ((replicates - replicates.mean(axis=0)) ** 2).sum(axis=0)
    return np.asarray(np.sqrt(squares * (n - 1) / n), np.float64)
