"""How densely leaves stand at each height of a volume, relative to the greatest density."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
N_HEIGHT = 65
"""Heights from bottom to top at which a density is held; straight between them."""


def even_heights() -> Floats:
    """Give the same density at every height."""
    return np.ones(N_HEIGHT)


def beta_heights(p: float, q: float) -> Floats:
    """Give densities in proportion to x^(p-1) (1-x)^(q-1), x from 0 at the bottom to 1 at the top.

    Parameters
    ----------
    p, q : float
        At least 1 each: equal ones have most leaves half-way up, a larger p higher up.

    Returns
    -------
    (N_HEIGHT,) ndarray
        The greatest of them is 1.
    """
    x = np.linspace(0.0, 1.0, N_HEIGHT)
    density = np.ones(N_HEIGHT)
    density *= x ** (p - 1.0)
    density *= (1.0 - x) ** (q - 1.0)
    density /= density.max()
    return density


def listed_heights(shares: ArrayLike) -> Floats:
    """Give densities listed at equally spaced heights, the bottom first, straight between them."""
    share = np.asarray(shares, np.float64)
    at = np.linspace(0.0, len(share) - 1.0, N_HEIGHT)
    density: Floats = np.interp(at, np.arange(len(share)), share / np.max(share))
    return density
