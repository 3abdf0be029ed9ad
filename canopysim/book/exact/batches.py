"""Mean and error of batches that are alike but for chance."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def mean_of(sums: Array, n: Array) -> tuple[float, float]:
    """Mean of batches and its standard error, from rows (n_row,) that hold n batches each.

    The variance of a batch is the mean over rows of n times the square of how far a row's mean is
    off; unknown (NaN) from one row, or where nothing was counted.
    """
    sums, n = sums[n > 0], n[n > 0]
    if len(n) == 0:
        return np.nan, np.nan
    mean = sums.sum() / n.sum()
    if len(n) == 1 or not sums.any():
        return mean, np.nan
    one = sum(k * (s / k - mean) ** 2 for s, k in zip(sums, n, strict=True)) / (len(n) - 1)
    return mean, np.sqrt(one / n.sum())
