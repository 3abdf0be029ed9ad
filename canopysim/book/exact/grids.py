"""What solutions on ever finer grids tend to."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def extrapolated(sizes: Sequence[int], found: Sequence[Array]) -> tuple[Array, float]:
    """Extrapolate three solutions whose error falls with the square of the number of patches.

    Parameters
    ----------
    sizes : (3,) int
        Patches across, rising.
    found : three ndarrays
        Of one shape.

    Returns
    -------
    ndarray
        From the two finest (L. F. Richardson 1911, Phil. Trans. R. Soc. A 210, 307).
    float
        Largest difference to what the two coarsest say.
    """
    coarse, fine = (
        (sizes[k + 1] ** 2 * found[k + 1] - sizes[k] ** 2 * found[k])
        / (sizes[k + 1] ** 2 - sizes[k] ** 2)
        for k in (0, 1)
    )
    return np.asarray(fine), float(np.abs(fine - coarse).max())
