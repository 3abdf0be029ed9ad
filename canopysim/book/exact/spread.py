"""A mean over canopies with the errors of light and of plants, from canopies traced alone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike


def mean_with_two_errors(canopies: Sequence[ArrayLike]) -> tuple[float, float, float]:
    """Mean of canopies, its error by the light and its error by the plants.

    Parameters
    ----------
    canopies : sequence of (n_batch,) float64
        A figure of each canopy in each batch, in the same unit; as many batches of each.

    Returns
    -------
    value, light, plants : float
        A random figure of one canopy has the variance of the plants and that of its light; what
        the batches of each canopy tell of the second is taken off the variance between canopies
        (one-way analysis of variance, random effects). 0 where nothing is left.
    """
    each = np.asarray(canopies, np.float64)
    n_canopy, n_batch = each.shape
    means = each.mean(axis=1)
    within = each.var(axis=1, ddof=1) / n_batch
    between = max(means.var(ddof=1) - within.mean(), 0.0)
    light = np.sqrt(each.mean(axis=0).var(ddof=1) / n_batch)
    return float(means.mean()), float(light), float(np.sqrt(between / n_canopy))
